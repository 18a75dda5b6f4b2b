"""The frame ring: written once, leased, never overwritten while leased, losses counted."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.scripted_source import info

from liveview.engine.ring import FEWEST_SLOTS, FrameRing
from liveview.model import FrameStamp

SMALL = info(16, 10)


def put(ring: FrameRing, number: int) -> bool:
    slot = ring.claim()
    if slot is None:
        return False
    slot.pixels[:] = number % 251
    ring.publish(slot, FrameStamp(number, number / 100), number / 100)
    return True


def ring_of(slots: int) -> FrameRing:
    ring = FrameRing(SMALL, slots * 160 / 1e6)
    assert ring.slots == slots
    return ring


def test_empty_ring_gives_nothing():
    ring = ring_of(8)
    assert ring.newest() is None
    assert ring.following(-1) is None
    assert ring.between(0.0, 10) == []
    assert ring.seconds == 0.0


def test_memory_is_what_was_asked_and_never_less_than_a_few_slots():
    assert FrameRing(SMALL, 0.1).slots == 100_000 // 160
    assert FrameRing(SMALL, 0.0001).slots == FEWEST_SLOTS


def test_oldest_is_overwritten_and_time_span_follows():
    ring = ring_of(10)
    for number in range(25):
        assert put(ring, number)
    first = ring.following(-1)
    assert first is not None
    assert first.sequence == 15
    assert ring.seconds == pytest.approx(0.09)
    assert ring.lost == 0


def test_leased_frame_keeps_its_pixels():
    ring = ring_of(8)
    put(ring, 7)
    lease = ring.newest()
    assert lease is not None
    for number in range(100, 140):
        assert put(ring, number)
    assert np.all(lease.frame.pixels == 7)
    lease.release()
    lease.release()
    for number in range(140, 160):
        assert put(ring, number)
    assert ring.lost == 0


def test_pixels_of_a_lease_cannot_be_written():
    ring = ring_of(8)
    put(ring, 1)
    lease = ring.newest()
    assert lease is not None
    with pytest.raises(ValueError, match="read-only"):
        lease.frame.pixels[0, 0] = 9


def test_all_leased_loses_the_new_frame_and_counts_it():
    ring = ring_of(8)
    for number in range(8):
        put(ring, number)
    leases = ring.between(0.0, 7)
    assert [lease.frame.number for lease in leases] == list(range(8))
    assert not put(ring, 8)
    assert not put(ring, 9)
    assert ring.lost == 2
    leases[3].release()
    assert put(ring, 10)
    assert ring.lost == 2


def test_overlapping_events_share_frames():
    ring = ring_of(12)
    for number in range(12):
        put(ring, number)
    first = ring.between(0.02, 8)
    second = ring.between(0.06, 11)
    shared = {lease.sequence for lease in first} & {lease.sequence for lease in second}
    assert shared == {6, 7, 8}
    for lease in first:
        lease.release()
    for number in range(12, 18):
        put(ring, number)
    assert [lease.frame.number for lease in second] == [6, 7, 8, 9, 10, 11]
    assert all(np.all(lease.frame.pixels == lease.frame.number) for lease in second)


def test_half_filled_ring_gives_what_there_is():
    ring = ring_of(50)
    for number in range(5):
        put(ring, number)
    assert [lease.frame.number for lease in ring.between(-10.0, 99)] == [0, 1, 2, 3, 4]


def test_abandoned_slot_is_used_again():
    ring = ring_of(8)
    for number in range(100):
        slot = ring.claim()
        assert slot is not None
        ring.abandon(slot)
        assert put(ring, number)
    assert ring.lost == 0


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("pnofr"), st.integers(0, 20)), max_size=120))
def test_any_order_of_writing_leasing_and_releasing(steps):
    """Leased pixels never change; every frame is captured or counted as lost; no slot vanishes."""
    ring = ring_of(8)
    held = []
    written = lost = 0
    for what, value in steps:
        if what == "p":
            if put(ring, written):
                written += 1
            else:
                lost += 1
        elif what in "no":
            lease = ring.newest() if what == "n" else ring.following(-1)
            if lease is not None:
                held.append(lease)
        elif what == "f":
            held.extend(ring.between((written - value) / 100, written))
        elif what == "r" and held:
            held.pop(value % len(held)).release()
        assert all(np.all(lease.frame.pixels == lease.frame.number % 251) for lease in held)
    assert (ring.captured, ring.lost) == (written, lost)
    for lease in held:
        lease.release()
    for number in range(3 * ring.slots):
        assert put(ring, number)
    assert len(ring.between(-1.0, 10**9)) == ring.slots


def test_reader_and_writer_threads_agree():
    ring = ring_of(16)
    wrong: list[int] = []
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            lease = ring.newest()
            if lease is not None:
                if not np.all(lease.frame.pixels == lease.frame.number % 251):
                    wrong.append(lease.frame.number)
                lease.release()

    reader = threading.Thread(target=read)
    reader.start()
    for number in range(3000):
        put(ring, number)
    done.set()
    reader.join()
    assert wrong == []
    assert ring.lost == 0


def test_a_stretch_of_time_ends_where_it_is_asked_to():
    ring = ring_of(10)
    for number in range(20):
        assert put(ring, number)
    leases = ring.between(0.12, 19, until_s=0.15)
    assert [lease.frame.number for lease in leases] == [12, 13, 14, 15]
    for lease in leases:
        lease.release()
