"""Frames shown to the detectors in a thread of their own."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from liveview.commands.processing.watching import BEHIND, Watched, Watching
from liveview.engine.ring import FrameRing, RingLease
from liveview.model import Disc, FrameStamp, SourceInfo, SourceKind

INFO = SourceInfo(SourceKind.VIDEO, "test", 8, 6, 1, 8, 255, False)


class Catching:
    """Notes what it is told, and fails when it is told to."""

    def __init__(self, fails_at: int | None = None) -> None:
        self.told: list[object] = []
        self.fails_at = fails_at
        self.go_on = threading.Event()
        self.go_on.set()

    def set_disc(self, disc: Disc | None, ring: FrameRing) -> None:
        self.told.append(disc)

    def pause(self, paused: bool, ring: FrameRing) -> None:
        self.told.append(paused)

    def see(self, lease: RingLease, ring: FrameRing) -> None:
        assert self.go_on.wait(10.0)
        number = lease.frame.number
        lease.release()
        if number == self.fails_at:
            raise ValueError("told to fail")
        self.told.append(number)


def lease_of(ring: FrameRing, number: int) -> RingLease:
    slot = ring.claim()
    assert slot is not None
    ring.publish(slot, FrameStamp(number, number / 60), 0.0)
    lease = ring.newest()
    assert lease is not None
    return lease


def test_frames_discs_and_pauses_come_in_order() -> None:
    ring, catching = FrameRing(INFO, 0.001), Catching()
    watching = Watching(catching, ring)  # type: ignore[arg-type]
    disc = Disc(3, 3, 2)
    for number in range(3 * BEHIND):
        watching.see(Watched(lease_of(ring, number), disc, number == 1))
    watching.finish()
    assert catching.told[:5] == [disc, False, 0, True, 1]
    assert [x for x in catching.told if type(x) is int] == list(range(3 * BEHIND))


@pytest.mark.slow
def test_the_giver_waits_when_the_detectors_are_behind() -> None:
    ring, catching = FrameRing(INFO, 0.01), Catching()
    catching.go_on.clear()
    watching = Watching(catching, ring)  # type: ignore[arg-type]
    given = []

    def give() -> None:
        for number in range(2 * BEHIND):
            watching.see(Watched(lease_of(ring, number), None, False))
            given.append(number)

    giver = threading.Thread(target=give)
    giver.start()
    giver.join(0.3)
    assert giver.is_alive()
    assert len(given) <= BEHIND + 1
    catching.go_on.set()
    giver.join(10.0)
    watching.finish()
    assert [x for x in catching.told if type(x) is int] == list(range(2 * BEHIND))


def test_what_goes_wrong_there_is_raised_here() -> None:
    ring, catching = FrameRing(INFO, 0.001), Catching(fails_at=2)
    watching = Watching(catching, ring)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="told to fail"):
        for number in range(100):
            watching.see(Watched(lease_of(ring, number), None, False))
    watching.close()


def test_closing_gives_the_frames_back() -> None:
    ring, catching = FrameRing(INFO, 0.001), Catching()
    catching.go_on.clear()
    watching = Watching(catching, ring)  # type: ignore[arg-type]
    leases = [lease_of(ring, number) for number in range(3)]
    for lease in leases:
        watching.see(Watched(lease, None, False))
    threading.Timer(0.1, catching.go_on.set).start()
    watching.close()
    assert all(ring.claim() is not None for _ in range(ring.slots))
    assert np.array_equal(ring.lost, 0)
