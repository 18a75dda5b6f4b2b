"""Events of a session on a scripted source: what is kept, and what cuts it short."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import repeat

import numpy as np
import pytest
from support.scripted_source import (
    ScriptedSound,
    ScriptedSource,
    Stuck,
    info,
)
from support.session_rig import Kept, Rigged, flash_at, forever, quick, scene, source
from support.waiting import wait_for

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import SoundUnavailable
from liveview.model import (
    ArmState,
    Cause,
    Lease,
    SessionState,
    SoundBlock,
    SourceKind,
)


@pytest.mark.slow
def test_hand_trigger_keeps_before_and_after():
    says = info()
    rigged = Rigged(source(forever(says), says), settings=quick())
    with rigged as session:
        wait_for(lambda: session.status().ring_seconds > 0.3)
        at_s = rigged.clock()
        session.trigger()
        assert rigged.sink.ended.wait(10)
        (asked,) = session.status().recent
        assert asked.cause is Cause.HAND
        assert asked.time_s == pytest.approx(at_s, abs=0.02)
    event = rigged.sink.events[0]
    assert event["start"].cause is Cause.HAND
    assert event["complete"] is True
    assert event["times"][0] == pytest.approx(at_s - 0.1, abs=0.02)
    assert event["times"][-1] == pytest.approx(at_s + 0.1, abs=0.02)
    numbers = event["frames"]
    assert numbers == list(range(numbers[0], numbers[-1] + 1))


def test_half_filled_ring_keeps_what_there_is():
    says = info()
    rigged = Rigged(source(forever(says), says), settings=quick(pre_trigger_s=10))
    with rigged as session:
        wait_for(lambda: session.status().counters.captured > 10)
        session.trigger()
        assert rigged.sink.ended.wait(10)
    assert rigged.sink.events[0]["frames"][0] == 0


@pytest.mark.slow
def test_event_is_cut_short_by_the_end_of_a_recording():
    says = info(kind=SourceKind.VIDEO)
    rigged = Rigged(source([*repeat(scene(says), 60)], says), settings=quick(post_trigger_s=10))
    with rigged as session:
        wait_for(lambda: session.status().counters.captured > 20)
        session.trigger()
        wait_for(lambda: session.status().state is SessionState.ENDED)
        assert rigged.sink.ended.wait(10)
    assert rigged.sink.events[0]["complete"] is False
    assert rigged.sink.events[0]["frames"][-1] == 59


def test_event_is_cut_short_by_stop_and_by_disarm():
    says = info()
    for ending in ("stop", "disarm"):
        rigged = Rigged(source(forever(says), says), settings=quick(post_trigger_s=10))
        with rigged as session:
            wait_for(lambda s=session: s.newest() is not None)
            session.trigger()
            wait_for(lambda r=rigged: bool(r.sink.events))
            getattr(session, ending)()
            assert rigged.sink.ended.wait(10)
        assert rigged.sink.events[0]["complete"] is False


@pytest.mark.slow
def test_event_is_cut_short_when_frames_stop_coming(monkeypatch):
    monkeypatch.setattr("liveview.engine.eventbuilder.HOLE_S", 0.2)
    says = info()
    stuck = Stuck()
    rigged = Rigged(
        source([*repeat(scene(says), 60), stuck], says), settings=quick(post_trigger_s=10)
    )
    with rigged as session:
        wait_for(lambda: session.status().counters.captured > 20)
        session.trigger()
        assert rigged.sink.ended.wait(10)
        assert rigged.sink.events[0]["complete"] is False
        stuck.let_go.set()


@pytest.mark.slow
def test_flash_is_caught_with_the_frames_around_it():
    says = info()
    rigged = Rigged(source(flash_at(says, {150}), says), settings=quick())
    with rigged as session:
        session.arm()
        wait_for(lambda: session.status().arm is ArmState.ARMED)
        assert rigged.sink.ended.wait(10)
        assert session.status().recent[0].frame == 150
    event = rigged.sink.events[0]
    assert event["start"].cause is Cause.FLASH
    assert event["start"].spotted.frame == 150
    assert 150 - 21 <= event["frames"][0] <= 150 - 18
    after_s = event["times"][-1] - event["times"][event["frames"].index(150)]
    # Frames are watched in blocks of up to 0.05 s: so much more may be kept, never less.
    assert 0.1 - 0.006 <= after_s <= 0.1 + 0.055


@pytest.mark.slow
def test_sound_comes_with_the_event_and_its_loss_does_not_stop_the_flash():
    says = info()
    block = np.zeros((480, 1), np.float32)
    clock = SessionClock()

    def blocks() -> Iterator[SoundBlock | Exception]:
        start_s = clock()
        for i in range(60):
            yield SoundBlock(block, 48000.0, start_s + 0.01 * i)
        yield SoundUnavailable("the device went away")

    rigged = Rigged(source(forever(says), says), settings=quick(), sound=None)
    sound = ScriptedSound(blocks(), clock=clock)
    rigged.clock = clock
    session = Session(
        quick(),
        lambda: ScriptedSource(says, forever(says), clock),
        sound=lambda: sound,
        sink=rigged.sink,
        clock=clock,
    )
    session.start()
    try:
        wait_for(lambda: session.status().counters.sound_blocks > 20)
        wait_for(lambda: session.status().ring_seconds > 0.15)
        assert session.status().sound_level == 0.0
        session.trigger()
        assert rigged.sink.ended.wait(10)
        event = rigged.sink.events[0]
        assert event["sound"][0] == pytest.approx(event["times"][0], abs=0.02)
        assert event["sound"][-1] >= event["times"][-1] - 0.02
        wait_for(lambda: any("no sound" in words for words in session.status().words))
        assert session.status().state is SessionState.RUNNING
    finally:
        session.stop()


class Hoarder(Kept):
    """A sink that gives no lease back until it is told to: a disk that does not come along."""

    def __init__(self) -> None:
        super().__init__()
        self.held: list[Lease] = []

    def add_frame(self, lease: Lease) -> None:
        self.held.append(lease)


@pytest.mark.slow
def test_frames_without_a_slot_are_counted_and_capture_goes_on() -> None:
    says = info(512, 512, kind=SourceKind.CAMERA)
    clock = SessionClock()
    sink = Hoarder()
    session = Session(
        quick(pre_trigger_s=0, post_trigger_s=30),
        lambda: ScriptedSource(says, forever(says), clock),
        sink=sink,
        clock=clock,
    )
    session.start()
    try:
        session.trigger()
        wait_for(lambda: session.status().counters.lost_ring > 5)
        assert session.status().state is SessionState.RUNNING
        for lease in sink.held:
            lease.release()
        sink.held.clear()
        before = session.status().counters.captured
        wait_for(lambda: session.status().counters.captured > before + 5)
    finally:
        session.stop()
        for lease in sink.held:
            lease.release()


@pytest.mark.slow
def test_a_stretch_of_frames_is_copied_out_of_the_memory():
    with Rigged(source(forever(info()))) as session:
        wait_for(lambda: (found := session.newest()) is not None and found.stamp.time_s > 0.3)
        newest = session.newest()
        assert newest is not None
        now = newest.stamp.time_s
        frames = session.frames_between(now - 0.1, now)
        assert len(frames) > 3
        assert all(now - 0.1 <= frame.time_s <= now for frame in frames)
        numbers = [frame.number for frame in frames]
        assert numbers == sorted(numbers)
        assert numbers[-1] == newest.stamp.number
        assert all(frame.pixels.base is None for frame in frames)  # copies, not the ring's memory
        assert len(session.frames_between(now - 0.1, now, most=2)) == 2
        assert session.frames_between(now + 10, now + 11) == ()


@pytest.mark.slow
def test_an_event_begins_after_a_hole_in_the_frames_before_it(monkeypatch):
    monkeypatch.setattr("liveview.engine.eventbuilder.HOLE_S", 0.2)
    says = info()
    stuck = Stuck()
    rigged = Rigged(
        source([*repeat(scene(says), 30), stuck, *repeat(scene(says), 400)], says),
        settings=quick(pre_trigger_s=10),
    )
    with rigged as session:
        wait_for(lambda: session.status().counters.captured == 30)
        before_s = rigged.clock()
        wait_for(lambda: rigged.clock() > before_s + 0.4)
        stuck.let_go.set()
        wait_for(lambda: session.status().counters.captured > 40)
        session.trigger()
        assert rigged.sink.ended.wait(10)
    (event,) = rigged.sink.events
    assert event["complete"] is True
    assert event["frames"][0] == 30
    assert max(np.diff(event["times"])) < 0.2
