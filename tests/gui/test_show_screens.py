"""Screens that disappear, return and are swapped: a real display whose screens are real to Qt.

The screens are RandR monitors of a display of our own; the program sees them come and go through
``QGuiApplication`` as it does with a projector's cable.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHILD = Path(__file__).with_name("screens_child.py")

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="screens are made with X11's RandR"
)


@pytest.fixture(scope="module")
def wide_display() -> Iterator[str]:
    """A display with room for two screens."""
    for program in ("Xvfb", "xrandr"):
        if shutil.which(program) is None:
            pytest.fail(f"{program} is missing: run './start test'")
    reading, writing = os.pipe()
    command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", "1280x480x24"]
    command += ["-nolisten", "tcp", "-noreset"]
    process = subprocess.Popen(
        command, pass_fds=(writing,), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            yield f":{answer.readline().strip()}"
    finally:
        process.terminate()
        process.wait(timeout=10)


@pytest.fixture(scope="module")
def facts(wide_display: str) -> dict[str, Any]:
    tests = str(CHILD.parent.parent)
    env = {**os.environ, "DISPLAY": wide_display, "QT_QPA_PLATFORM": "xcb", "PYTHONPATH": tests}
    result = subprocess.run(
        [sys.executable, str(CHILD)], env=env, capture_output=True, text=True, timeout=120,
        check=False,
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    return dict(json.loads(result.stdout.splitlines()[-1]))


def test_the_audience_gets_the_second_screen_whole(facts: dict[str, Any]) -> None:
    assert facts["screens"] == ["DESK", "HALL"]
    on = facts["on"]
    assert on["where"] == [640, 0, 640, 400]
    assert on["frame"] == [400, 640]
    assert not on["covers"]
    assert on["presenter"] == "DESK"


def test_a_screen_that_goes_never_puts_the_show_over_the_presenter(facts: dict[str, Any]) -> None:
    gone = facts["gone"]
    assert not gone["visible"]
    assert gone["waiting"] == "HALL"
    assert "HALL is gone" in gone["said"]
    assert "Screen gone" in gone["words"]
    assert facts["caption while gone"] == 0


def test_it_goes_on_where_it_was_when_the_screen_returns(facts: dict[str, Any]) -> None:
    back = facts["back"]
    assert back["where"] == [640, 0, 640, 400]
    assert back["waiting"] == ""
    assert "HALL is back" in back["said"]


def test_the_two_screens_can_be_swapped(facts: dict[str, Any]) -> None:
    swapped = facts["swapped"]
    assert swapped["where"] == [0, 0, 640, 480]
    assert swapped["frame"] == [480, 640]
    assert swapped["presenter"] == "HALL"


def test_one_screen_is_covered_and_escape_leads_back(facts: dict[str, Any]) -> None:
    one, back = facts["one screen"], facts["way back"]
    assert one["covers"]
    assert one["where"] == [0, 0, 640, 480]
    assert not back["visible"]
    assert not back["covers"]
