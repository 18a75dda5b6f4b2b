"""Newest value, sound ring, bell and board."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from liveview.engine.bell import Bell
from liveview.engine.board import Board
from liveview.engine.clock import SessionClock, iso_at, wall_minus
from liveview.engine.mailbox import Mailbox
from liveview.engine.memory import ring_megabytes
from liveview.engine.soundring import SoundRing
from liveview.model import SessionState, SoundBlock


def block(start_s: float, lost: int = 0, level: float = 0.1) -> SoundBlock:
    return SoundBlock(np.full((480, 1), level, np.float32), 48000.0, start_s, lost_before=lost)


def test_mailbox_keeps_the_newest_and_counts_the_unread():
    box: Mailbox[int] = Mailbox()
    assert box.get() is None
    for value in (1, 2, 3):
        box.put(value)
    assert box.get() == 3
    assert box.get() == 3
    assert box.replaced == 2
    assert box.count == 3


def test_mailbox_wait_gives_up_and_wakes_up():
    box: Mailbox[int] = Mailbox()
    assert box.wait(0, 0.01) is None
    thread = threading.Timer(0.05, box.put, [5])
    thread.start()
    assert box.wait(0, 5.0) == 5
    thread.join()


def test_bell_rung_between_two_waits_is_not_missed():
    bell = Bell()
    heard = bell.count
    bell.ring()
    assert bell.wait(heard, 10.0) == heard + 1
    assert bell.wait(heard + 1, 0.01) == heard + 1


def test_board_keeps_one_line_a_topic():
    board = Board()
    board.enter(SessionState.STALLED, "no frame for 3 s: trying again")
    board.say("sound", "no sound")
    board.say("source", "no frame for 4 s: trying again")
    assert board.words() == ("no sound", "no frame for 4 s: trying again")
    board.enter(SessionState.RUNNING, "")
    assert board.words() == ("no sound",)


def test_sound_ring_reaches_back_and_counts():
    ring = SoundRing(0.1)
    assert ring.until_s is None
    for i in range(50):
        ring.add(block(i * 0.01, lost=3 if i == 20 else 0, level=0.01 * i))
    assert ring.count == 50
    assert ring.lost_samples == 3
    assert ring.peak == pytest.approx(0.49)
    assert ring.until_s == pytest.approx(0.5)
    assert ring.since(0.0, 99)[0].start_s == pytest.approx(0.40, abs=0.011)
    assert [b.start_s for b in ring.since(0.455, 47)] == pytest.approx([0.45, 0.46, 0.47])


def test_sound_ring_following_skips_what_was_dropped():
    ring = SoundRing(0.05)
    for i in range(20):
        ring.add(block(i * 0.01))
    numbers = [n for n, _ in ring.following(-1)]
    assert numbers[-1] == 19
    assert numbers == list(range(numbers[0], 20))
    assert ring.following(19) == []
    assert [n for n, _ in ring.following(17)] == [18, 19]


def test_clock_and_wall():
    times = iter([100.0, 102.5, 103.0])
    clock = SessionClock(lambda: next(times), lambda: 0.0)
    assert clock() == pytest.approx(2.5)
    assert wall_minus(clock, lambda: 1000.0) == pytest.approx(997.0)
    assert iso_at(1.7e9 + 0.25)[19:23] == ".250"


def test_ring_memory_is_limited_in_words():
    assert ring_megabytes(1024, 8000) == (1024, "")
    given, words = ring_megabytes(6000, 8000)
    assert given == 4000
    assert "4000 MB" in words
