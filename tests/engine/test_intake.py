"""Rings of a source that is opened again and again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liveview.engine.board import Board
from liveview.engine.intake import Intake
from liveview.engine.ring import FrameRing
from liveview.model import FrameStamp, SourceInfo, SourceKind

INFO = SourceInfo(SourceKind.CAMERA, "test", 16, 8, 1, 8, 255, live=True, rate_hz=10.0)


def put(ring: FrameRing, number: int) -> None:
    slot = ring.claim()
    assert slot is not None
    slot.pixels[:] = number % 251
    ring.publish(slot, FrameStamp(number, number / 10.0), number / 10.0)


def test_counting_goes_on_when_the_format_changes() -> None:
    intake = Intake(lambda: None, Board())
    assert intake.feed is None
    assert (intake.captured, intake.lost) == (0, 0)
    assert intake.between(0.0, 1.0, 9) == ()
    first = intake.open(INFO, 4)
    put(first, 0)
    put(first, 1)
    assert intake.open(replace(INFO, name="again"), 4) is first
    other = intake.open(replace(INFO, width=32), 4)
    assert other is not first
    put(other, 2)
    assert intake.captured == 3
    seconds, capacity = intake.ring_seconds(None)
    assert capacity == other.slots / 10.0
    assert seconds <= capacity


def test_frames_between_are_copies() -> None:
    intake = Intake(lambda: None, Board())
    ring = intake.open(INFO, 4)
    for number in range(5):
        put(ring, number)
    taken = intake.between(0.1, 0.35, 2)
    assert [frame.number for frame in taken] == [1, 2]
    for number in range(5, 5 + ring.slots):
        put(ring, number)
    assert [int(np.asarray(frame.pixels)[0, 0]) for frame in taken] == [1, 2]
