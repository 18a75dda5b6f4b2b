"""The program as a process: with a display, without one, ended from outside."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from PyQt6.QtCore import QRect
from PyQt6.QtWidgets import QApplication, QWidget
from support.program import PROGRAM, environment, show_and_end

from liveview.app import _fit_to_screen
from liveview.gui.display import display_problem


def run(*arguments: str, env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*PROGRAM, *arguments], env=env, capture_output=True, text=True, timeout=60, check=False
    )


def one_line(text: str) -> bool:
    return len(text.strip().splitlines()) == 1 and "Traceback" not in text


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="X11 and Wayland only")
def test_without_a_display_it_says_so_in_one_line() -> None:
    env = environment(DISPLAY=None, WAYLAND_DISPLAY=None, QT_QPA_PLATFORM=None)
    result = run("--source", "simulated", env=env)
    assert result.returncode == 1
    assert one_line(result.stderr)
    assert "no display" in result.stderr
    assert "liveview process" in result.stderr


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="X11 only")
def test_a_display_that_does_not_answer_is_no_crash() -> None:
    result = run(env=environment(DISPLAY=":4387", WAYLAND_DISPLAY=None, QT_QPA_PLATFORM=None))
    assert result.returncode == 1
    assert one_line(result.stderr)
    assert ":4387" in result.stderr


def test_a_display_that_answers_is_no_problem(display: str) -> None:
    assert display_problem() is None


@pytest.mark.parametrize(
    ("room", "size", "fills"),
    [
        (QRect(0, 0, 2560, 1440), (1440, 900), False),
        (QRect(0, 0, 1280, 800), (1280, 800), True),
        (QRect(0, 30, 1920, 900), (1440, 900), True),
        (QRect(0, 0, 1440, 2000), (1440, 900), True),
    ],
)
def test_the_frame_hangs_over_no_edge_of_the_screen(
    app: QApplication, room: QRect, size: tuple[int, int], fills: bool
) -> None:
    """Where a title bar would have no place, the window manager fills the screen with it."""
    screen = SimpleNamespace(availableGeometry=lambda: room)
    window = QWidget()
    _fit_to_screen(window, cast(Any, SimpleNamespace(primaryScreen=lambda: screen)))
    assert window.isMaximized() is fills
    assert (window.width(), window.height()) == size


@pytest.mark.slow
def test_wrong_settings_are_one_line(tmp_path: Path, display: str) -> None:
    setup = tmp_path / "rig.toml"
    setup.write_text("[rig]\nmirror_diameter = '-3 mm'\n", encoding="utf-8")
    result = run("--setup", str(setup), env=environment())
    assert result.returncode == 2
    assert one_line(result.stderr)
    assert "mirror_diameter" in result.stderr


@pytest.mark.slow
def test_a_recording_that_is_not_there_is_one_line(tmp_path: Path, display: str) -> None:
    result = run("--source", str(tmp_path / "gone.mkv"), env=environment())
    assert result.returncode == 3
    assert one_line(result.stderr)


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_opens_and_ends_when_asked(number: signal.Signals, tmp_path: Path, display: str) -> None:
    settings = tmp_path / "rig.toml"
    settings.write_text(
        f"[camera]\nwidth = 320\nheight = 240\nrate = 30\n[store]\nfolder = '{tmp_path}'\n",
        encoding="utf-8",
    )
    seen = tmp_path / "first-picture"
    code, errors = show_and_end(
        "--source", "simulated", "--setup", str(settings), env=environment(), seen=seen, how=number
    )
    assert code == 0, errors
    assert errors.strip() == ""
