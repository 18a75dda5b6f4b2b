"""The capture thread's body with a source that changes its pictures, on a clock made up here."""

from __future__ import annotations

import threading
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from support.scripted_source import info

from liveview.engine.board import Board
from liveview.engine.capture import (
    CALM_S,
    CHANGES_AT_ONCE,
    FIRST_RETRY_S,
    LONGEST_RETRY_S,
    Capture,
)
from liveview.engine.ring import FrameRing
from liveview.errors import FormatChanged
from liveview.model import FrameStamp, Pixels, SessionState, SourceInfo, SourceKind

SAYS = info()


class Host(threading.Event):
    """Clock and stop event in one: waiting moves the clock; it stops after some openings."""

    def __init__(self, openings: int) -> None:
        super().__init__()
        self.now_s = 100.0
        self.left = openings
        self.rests: list[float] = []
        self.board = Board()
        self.states: list[tuple[SessionState, tuple[str, ...]]] = []

    def wait(self, timeout: float | None = None) -> bool:
        assert timeout is not None
        self.states.append((self.board.state, self.board.words()))
        self.rests[-1] += timeout
        self.now_s += timeout
        return self.is_set()


class Restless:
    """Delivers one frame, then its pictures change."""

    def __init__(self, host: Host, runs_s: float, kind: SourceKind) -> None:
        self.host, self.runs_s, self.kind = host, runs_s, kind
        self.given = False

    def open(self) -> SourceInfo:
        self.host.rests.append(0.0)
        self.host.left -= 1
        if not self.host.left:
            self.host.set()
        return replace(SAYS, kind=self.kind)

    def grab(self) -> FrameStamp:
        if self.given:
            self.host.now_s += self.runs_s
            raise FormatChanged("the stream changed from A to B", "scripted")
        self.given = True
        return FrameStamp(0, self.host.now_s)

    def read_into(self, out: Pixels) -> None:
        out[:] = np.uint8(1)

    def close(self) -> None:
        pass


def rests(openings: int, runs_s: float, kind: SourceKind = SourceKind.STREAM) -> Host:
    """A source opened so often, each time for so long; what was rested after each opening."""
    host = Host(openings)
    capture = Capture(
        lambda: Restless(host, runs_s, kind),
        lambda says: FrameRing(says, 4),
        host.board,
        lambda: host.now_s,
    )
    capture(host)
    return host


def test_a_source_that_changes_again_and_again_is_given_rests_that_grow() -> None:
    found = rests(CHANGES_AT_ONCE + 9, runs_s=0.01).rests[:-1]
    assert found[:CHANGES_AT_ONCE] == [0.0] * CHANGES_AT_ONCE
    growing = found[CHANGES_AT_ONCE:]
    assert growing[0] == FIRST_RETRY_S
    assert all(later == min(2 * rest, LONGEST_RETRY_S) for rest, later in pairwise(growing))
    assert growing[-1] == LONGEST_RETRY_S


def test_it_says_so_meanwhile() -> None:
    host = rests(CHANGES_AT_ONCE + 2, runs_s=0.01)
    words = ("the stream changed from A to B again and again: trying again",)
    assert host.states == [(SessionState.STALLED, words)]


@pytest.mark.parametrize("runs_s", [CALM_S + 0.1, 3600.0])
def test_changes_far_apart_are_followed_at_once(runs_s: float) -> None:
    assert rests(4 * CHANGES_AT_ONCE, runs_s).rests == [0.0] * (4 * CHANGES_AT_ONCE)


@pytest.mark.parametrize(
    "kind", [SourceKind.VIDEO, SourceKind.IMAGES, SourceKind.TIFF, SourceKind.EVENT]
)
def test_a_recording_that_changes_ends_there_in_words(kind: SourceKind) -> None:
    host = rests(9, 0.01, kind)
    assert host.left == 8
    assert host.board.words() == (
        "the stream changed from A to B: the recording is read up to there",
    )
