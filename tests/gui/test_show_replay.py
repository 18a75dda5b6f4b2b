"""Slow replays: from the memory frame by frame, from an event on the disk, and what cannot be."""

from __future__ import annotations

import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtWidgets import QApplication
from support.review_events import RATE_HZ, SPARK_FRAME, record_event
from support.scripted_source import info

from liveview.gui.review_reader import Sight
from liveview.gui.show_replay import EventTape, Manner, MemoryTape, Stretch, Tape
from liveview.model import Calibration, Disc, Frame, FrameStamp
from liveview.settings import Settings

SAYS = info(96, 72, rate_hz=100.0, transfer="linear")
DISC = Disc(48.0, 36.0, 30.0)
MANNER = Manner(Settings(), SAYS, Calibration(), DISC)


def frame(number: int) -> Frame:
    rng = np.random.default_rng(number)
    pixels = np.clip(rng.normal(110, 2, (72, 96)), 1, 254).astype(np.uint8)
    return Frame(pixels, FrameStamp(number, number / 100), 255)


def memory(first: int, last: int) -> Callable[[float, float], tuple[Frame, ...]]:
    def fetch(since_s: float, until_s: float) -> tuple[Frame, ...]:
        return tuple(
            frame(k) for k in range(first, last + 1) if since_s <= k / 100 <= until_s + 1e-9
        )

    return fetch


def play(tape: Tape, step_s: float = 0.05, *, most: int = 2000) -> list[int]:
    """Let it play; the frames shown, in order."""
    seen: list[int] = []
    end = time.monotonic() + 30
    for _ in range(most):
        tape.advance(step_s)
        there = tape.shown
        if there is not None and (not seen or seen[-1] != there[0].stamp.number):
            seen.append(there[0].stamp.number)
        if tape.over:
            return seen
        assert time.monotonic() < end, "it did not end"
        time.sleep(0.002)
    raise AssertionError("it did not end")


def test_every_frame_of_the_stretch_is_shown_once_in_order() -> None:
    tape = MemoryTape(memory(0, 200), Stretch(1.0, 0.05, 0.10, Fraction(1, 20)), MANNER)
    try:
        seen = play(tape)
    finally:
        tape.finish(2.0)
    assert tape.fault == ""
    assert seen == list(range(95, 111))


@pytest.mark.slow
def test_its_time_stands_still_while_a_picture_is_not_ready() -> None:
    tape = MemoryTape(memory(0, 200), Stretch(1.0, 0.05, 0.10, Fraction(4)), MANNER)
    try:
        seen = play(tape, step_s=0.001, most=20000)
    finally:
        tape.finish(2.0)
    assert seen[0] == 95
    assert seen[-1] == 110
    assert seen == sorted(seen)


def test_a_spark_that_the_memory_has_lost_is_said() -> None:
    tape = MemoryTape(memory(500, 600), Stretch(1.0, 0.05, 0.10, Fraction(1, 20)), MANNER)
    try:
        assert play(tape) == []
        assert "no longer holds" in tape.fault
    finally:
        tape.finish(2.0)


def test_it_can_be_ended_before_it_began() -> None:
    tape = MemoryTape(memory(0, 200), Stretch(1.0, 0.5, 0.5, Fraction(1, 100)), MANNER)
    tape.finish(2.0)
    assert tape.fault == ""


@pytest.mark.slow
def test_an_event_on_the_disk_plays_its_stretch_about_the_spark(
    app: QApplication, tmp_path: Path
) -> None:
    path = record_event(tmp_path)
    step = 1 / RATE_HZ
    tape = EventTape(path, Stretch(0.0, 3 * step, 5 * step, Fraction(1, 1000)), Sight())
    try:
        seen = play(tape, step_s=0.05)
    finally:
        tape.finish(2.0)
    assert tape.fault == ""
    assert seen[0] == pytest.approx(SPARK_FRAME - 3, abs=1)
    assert seen[-1] == pytest.approx(SPARK_FRAME + 5, abs=1)
    assert seen == sorted(seen)


def test_an_event_that_is_not_there_is_said(app: QApplication, tmp_path: Path) -> None:
    tape = EventTape(tmp_path / "gone", Stretch(0.0, 0.1, 0.1, Fraction(1, 40)), Sight())
    try:
        assert play(tape) == []
        assert "gone" in tape.fault
    finally:
        tape.finish(2.0)
