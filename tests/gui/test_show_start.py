"""``liveview --show``: one step to a live picture on the audience's screen; faults in one line."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from support.program import PROGRAM, running


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*PROGRAM, *arguments], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.slow
def test_it_is_live_on_the_audiences_screen_in_one_step(tmp_path: Path, display: str) -> None:
    show = tmp_path / "evening.toml"
    show.write_text(
        "[camera]\nsource = 'simulated:candle'\nwidth = 320\nheight = 240\nrate = 30\n"
        f"[store]\nfolder = '{tmp_path}'\n"
        "[show]\ntitle = 'Air'\nsetup = 'small-telescope-mirror'\ncaptions = ['one']\n"
        "replay_by_itself = true\n",
        encoding="utf-8",
    )
    seen = tmp_path / "first-picture"
    env = {**os.environ, "LIVEVIEW_FIRST_PICTURE": str(seen)}
    with running("--show", str(show), env=env) as process:
        end = time.monotonic() + 40
        while not seen.exists():  # written when the audience's window has painted a picture
            assert process.poll() is None, process.communicate()[1]
            assert time.monotonic() < end, "no picture"
            time.sleep(0.05)
        time.sleep(1.0)
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=15)
    assert process.returncode == 0, errors
    assert errors.strip() == ""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "says", "code"),
    [
        ("[show]\n[show.keys]\nnext = 'F5'\n", "show.keys.next", 2),
        ("[show]\ncaptions = 'one'\n", "show.captions", 2),
        ("[camera]\nsource = 'gone.mkv'\n[show]\n", "gone.mkv", 3),
    ],
)
def test_a_wrong_show_is_one_line(
    tmp_path: Path, display: str, text: str, says: str, code: int
) -> None:
    show = tmp_path / "evening.toml"
    show.write_text(text, encoding="utf-8")
    result = run("--show", str(show))
    assert result.returncode == code
    assert len(result.stderr.strip().splitlines()) == 1
    assert says in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.slow
def test_a_show_and_a_set_up_together_are_refused(display: str) -> None:
    result = run("--show", "sparks", "--setup", "rig.toml")
    assert result.returncode == 2
    assert "show.setup" in result.stderr
