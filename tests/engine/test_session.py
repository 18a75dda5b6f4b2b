"""The session's threads against a scripted source: start, stop, stall, format, end, events."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import chain as joined
from itertools import repeat

import numpy as np
import pytest
from support.fault_table import Fault
from support.scripted_source import (
    Pause,
    ScriptedSound,
    ScriptedSource,
    Skip,
    Stuck,
    format_changed,
    gone,
    info,
    stalled,
)
from support.waiting import wait_for

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import BadRequest, InputUnreadable, SoundUnavailable, WorkerStuck
from liveview.model import (
    ArmState,
    CalibrationKind,
    Cause,
    Disc,
    EventStart,
    FrameSource,
    Lease,
    SessionState,
    SoundBlock,
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.settings import Settings

RNG = np.random.default_rng(5)


def scene(says: SourceInfo, level: float = 0.4) -> np.ndarray:
    """A bright round mirror on a dark ground with some noise."""
    y, x = np.mgrid[: says.height, : says.width]
    r = 0.45 * min(says.width, says.height)
    disc = np.hypot(x - says.width / 2 + 0.5, y - says.height / 2 + 0.5) < r
    light = np.where(disc, level, 0.02) * says.white
    noisy = light + RNG.normal(0, 0.01 * says.white, light.shape)
    return np.clip(noisy, 1, says.white - 1).astype(says.dtype)


def forever(says: SourceInfo, level: float = 0.4) -> Iterator[np.ndarray]:
    frames = [scene(says, level) for _ in range(16)]
    while True:
        yield from frames


class Kept:
    """An event sink that copies what it is given and gives the leases back at once."""

    def __init__(self) -> None:
        self.events: list[dict] = []
        self.open = False
        self.ended = threading.Event()

    def begin(self, start: EventStart) -> None:
        assert not self.open
        self.open = True
        self.events.append(
            {"start": start, "frames": [], "times": [], "sound": [], "marks": [], "complete": None}
        )

    def add_frame(self, lease: Lease) -> None:
        assert self.open
        self.events[-1]["frames"].append(lease.frame.number)
        self.events[-1]["times"].append(lease.frame.time_s)
        lease.release()

    def add_sound(self, block: SoundBlock) -> None:
        assert self.open
        self.events[-1]["sound"].append(block.start_s)

    def mark(self, spotted: Spotted) -> None:
        assert self.open
        self.events[-1]["marks"].append(spotted)

    def end(self, complete: bool) -> None:
        assert self.open
        self.open = False
        self.events[-1]["complete"] = complete
        self.ended.set()


class Rigged:
    """A session on scripted openings, stopped at the end of the test."""

    def __init__(self, *openings: Callable[[Callable[[], float]], FrameSource], **more) -> None:
        self.clock = SessionClock()
        self.sources: list[FrameSource] = []
        left = iter(openings)

        def make() -> FrameSource:
            try:
                source = next(left)(self.clock)
            except StopIteration:
                raise InputUnreadable("not there", "scripted") from None
            self.sources.append(source)
            return source

        self.sink = Kept()
        settings = more.pop("settings", Settings().replaced("store", ring_mb=8))
        self.session = Session(settings, make, sink=self.sink, clock=self.clock, **more)

    def __enter__(self) -> Session:
        self.session.start()
        return self.session

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            print(self.session.status())
        if self.session.status().state is not SessionState.STOPPED:
            self.session.stop()


def source(steps, says: SourceInfo | None = None):
    says = says or info()
    return lambda clock: ScriptedSource(says, steps, clock)


def quick(**catch) -> Settings:
    values = {"pre_trigger_s": 0.1, "post_trigger_s": 0.1, "learn_s": 0.1, "on": "flash"} | catch
    return Settings().replaced("store", ring_mb=8).replaced("catch", **values)


def test_runs_and_stops():
    says = info()
    rigged = Rigged(source(forever(says), says))
    with rigged as session:
        wait_for(lambda: session.newest() is not None)
        wait_for(lambda: session.status().counters.captured > 40)
        status = session.status()
        assert status.state is SessionState.RUNNING
        assert status.rate_hz == pytest.approx(200, rel=0.2)  # a shared machine's sleep
        assert status.words == ()
        assert status.ring_capacity_seconds == pytest.approx(
            8e6 / (64 * 48) / status.rate_hz, rel=0.2
        )
    status = session.status()
    assert status.state is SessionState.STOPPED
    assert status.counters.lost_ring == status.counters.lost_source == 0
    assert rigged.sources[0].closes == 1


def test_stop_before_anything_came():
    with Rigged(source([Pause(0.3)])) as session:
        session.stop()
    assert session.status().state is SessionState.STOPPED


def test_every_frame_is_watched_once():
    says = info(rate_hz=500.0, kind=SourceKind.VIDEO)
    frames = [scene(says) for _ in range(300)]
    with Rigged(source(frames, says)) as session:
        wait_for(lambda: session.status().state is SessionState.ENDED)
        wait_for(lambda: session.status().counters.watched == 300)
        counters = session.status().counters
        assert counters.captured == 300
        assert counters.missed_watch == 0
        wait_for(lambda: session.newest() and session.newest().stamp.number == 299)


def test_a_fast_source_is_worked_on_at_the_beat_and_watched_whole():
    says = info(rate_hz=500.0, kind=SourceKind.VIDEO)
    with Rigged(source([scene(says) for _ in range(300)], says)) as session:
        heard: list[int] = []
        session.announce(lambda: heard.append(session.newest().stamp.number), 0.05)
        wait_for(lambda: session.status().state is SessionState.ENDED)
        wait_for(lambda: session.status().counters.watched == 300)
        wait_for(lambda: session.newest().stamp.number == 299)
        # 0.6 s at a beat of 0.05 s, and those before the rate was known.
        assert 3 <= len(heard) < 100
        assert heard == sorted(set(heard))
        assert session.status().counters.missed_watch == 0


def test_nobody_is_told_of_readings_any_more_once_that_was_asked():
    says = info()
    with Rigged(source(forever(says), says)) as session:
        heard: list[int] = []
        session.announce(lambda: heard.append(1))
        wait_for(lambda: len(heard) > 2)
        session.announce(None)
        before = session.newest().stamp.number
        wait_for(lambda: session.newest().stamp.number > before + 2)
        told = len(heard)
        before = session.newest().stamp.number
        wait_for(lambda: session.newest().stamp.number > before + 5)
        assert len(heard) == told


def test_gaps_in_the_numbers_are_counted():
    says = info(kind=SourceKind.VIDEO)
    steps = [*repeat(scene(says), 10), Skip(7), *repeat(scene(says), 10), Skip(2), scene(says)]
    with Rigged(source(steps, says)) as session:
        wait_for(lambda: session.status().state is SessionState.ENDED)
        assert session.status().counters.captured == 21
        assert session.status().counters.lost_source == 9


def test_cannot_be_opened_says_why():
    with Rigged() as session:
        wait_for(lambda: session.status().state is SessionState.FAILED)
        assert session.status().words == ("scripted: not there",)


def test_stalled_source_comes_back_with_words():
    says = info()
    first = [*repeat(scene(says), 20), stalled(3)]
    rigged = Rigged(source(first, says), source(forever(says), says))
    with rigged as session:
        wait_for(lambda: session.status().state is SessionState.STALLED)
        assert "no frame for 3 s: trying again" in session.status().words
        wait_for(lambda: session.status().state is SessionState.RUNNING)
        wait_for(lambda: session.status().counters.captured > 40)
        assert session.status().words == ()
        wait_for(lambda: session.newest().stamp.number >= 20)
    assert [s.closes for s in rigged.sources] == [1, 1]


def test_stream_that_dies_is_tried_again():
    says = info(kind=SourceKind.STREAM)
    rigged = Rigged(
        source([*repeat(scene(says), 5)], says),
        source([*repeat(scene(says), 5), gone()], says),
        source(forever(says), says),
    )
    with rigged as session:
        wait_for(lambda: session.status().state is SessionState.STALLED)
        wait_for(lambda: len(rigged.sources) == 3)
        wait_for(lambda: session.status().state is SessionState.RUNNING)


def test_format_change_gets_a_new_ring_and_stale_calibration_is_said():
    small, large = info(64, 48), info(80, 60, channels=3)
    go = threading.Event()

    def until_go() -> Iterator:
        frames = forever(small)
        while not go.is_set():
            yield next(frames)
        yield format_changed()

    rigged = Rigged(
        source(until_go(), small),
        source((np.repeat(f[..., None], 3, 2) for f in forever(info(80, 60))), large),
    )
    with rigged as session:
        wait_for(lambda: session.newest() is not None)
        session.take(CalibrationKind.REFERENCE)
        wait_for(lambda: session.status().taking is None)
        assert session.status().has == {CalibrationKind.REFERENCE}
        go.set()
        wait_for(lambda: session.newest().picture.shape[:2] == (60, 80))
        status = session.status()
        assert status.source == large
        assert status.has == frozenset()
        assert "picture size" in status.calibration_words[0]
        assert session.calibration.reference is None


@pytest.mark.fault(
    "a driver never comes back from a call",
    says="did not end within",
    then="everything else stops in time; the thread is left behind",
)
def test_stuck_driver_is_reported_and_does_not_hang(fault: Fault):
    says = info()
    stuck = Stuck()
    with Rigged(source([*repeat(scene(says), 20), stuck], says)) as session:
        wait_for(lambda: session.status().counters.captured == 20)
        began = time.monotonic()
        with pytest.raises(WorkerStuck, match="capture"):
            session.stop(timeout_s=0.5)
        assert time.monotonic() - began < 2.0
        names = {thread.name for thread in threading.enumerate()}
        assert not names & {"watch", "chain", "sound"}
        assert any("capture" in words and fault.says in words for words in session.status().words)
    stuck.let_go.set()


@pytest.mark.fault(
    "a driver is silent without an error",
    says="the source does not answer",
    then="said with the seconds; goes on when it wakes",
)
def test_silent_driver_is_said(monkeypatch, fault: Fault):
    monkeypatch.setattr("liveview.engine.session.SILENT_AFTER_S", 0.1)
    says = info()
    stuck = Stuck()
    with Rigged(source([*repeat(scene(says), 5), stuck], says)) as session:
        wait_for(lambda: any(fault.says in words for words in session.status().words))
        stuck.let_go.set()


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


class Complaining(ScriptedSource):
    """A source that finds fault with its frames."""

    def __init__(self, *args, **more) -> None:
        super().__init__(*args, **more)
        self.warnings: tuple[str, ...] = ()


def test_what_a_source_found_wrong_is_on_the_screen():
    says = info()
    made: list[Complaining] = []

    def make(clock):
        made.append(Complaining(says, forever(says), clock))
        return made[-1]

    with Rigged(make) as session:
        wait_for(lambda: session.newest() is not None)
        assert session.status().words == ()
        made[0].warnings = ("2 frames were damaged", "3 frames were damaged")
        wait_for(lambda: session.status().words == ("3 frames were damaged",))


def test_half_filled_ring_keeps_what_there_is():
    says = info()
    rigged = Rigged(source(forever(says), says), settings=quick(pre_trigger_s=10))
    with rigged as session:
        wait_for(lambda: session.status().counters.captured > 10)
        session.trigger()
        assert rigged.sink.ended.wait(10)
    assert rigged.sink.events[0]["frames"][0] == 0


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


def test_event_is_cut_short_when_frames_stop_coming(monkeypatch):
    monkeypatch.setattr("liveview.engine.watch.CUT_AFTER_S", 0.2)
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


def flash_at(says: SourceInfo, when: set[int]) -> Iterator[np.ndarray]:
    for number, frame in enumerate(forever(says)):
        if number in when:
            yield np.clip(frame.astype(int) + says.white // 5, 0, says.white).astype(frame.dtype)
        else:
            yield frame


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


def test_calibration_taken_undone_and_refused():
    says = info()
    bright = iter(joined(forever(says)))
    with Rigged(source(bright, says)) as session:
        wait_for(lambda: session.newest() is not None)
        session.take(CalibrationKind.OPEN)
        with pytest.raises(BadRequest):
            session.take(CalibrationKind.DARK)
        wait_for(lambda: session.status().taking is None)
        assert session.status().has == {CalibrationKind.OPEN}
        assert session.calibration.open.frames == 32
        session.take(CalibrationKind.DARK)
        wait_for(lambda: session.status().taking is None)
        assert "too bright for a dark picture" in session.status().calibration_words[0]
        assert session.status().has == {CalibrationKind.OPEN}
        session.undo_take()
        assert session.status().has == frozenset()
        assert not session.status().can_undo


def test_settings_show_on_the_last_frame_of_an_ended_recording():
    says = info(kind=SourceKind.VIDEO)
    with Rigged(source([scene(says)] * 5, says)) as session:
        wait_for(lambda: session.status().state is SessionState.ENDED)
        wait_for(lambda: session.newest() is not None and session.newest().stamp.number == 4)
        session.apply(session.settings.replaced("enhance", view="plain"))
        wait_for(lambda: session.newest().view == "plain")
        session.take(CalibrationKind.DARK)
        wait_for(lambda: session.status().taking is None)
        assert "no frames come" in session.status().calibration_words[0]


def test_one_frame_recording():
    says = info(kind=SourceKind.VIDEO)
    with Rigged(source([scene(says)], says)) as session:
        wait_for(lambda: session.newest() is not None)
        wait_for(lambda: session.status().state is SessionState.ENDED)


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


class Turned(ScriptedSource):
    """A camera on whose exposure somebody else lays a hand; it says so in ``info``."""

    def __init__(self, says: SourceInfo, *args, **more) -> None:
        super().__init__(says, *args, **more)
        self.info = says


def test_another_exposure_makes_calibration_and_learnt_quiet_invalid():
    says = info(exposure_s=0.002, gain=4.0)
    made: list[Turned] = []

    def make(clock):
        made.append(Turned(says, joined(forever(says)), clock))
        return made[-1]

    with Rigged(make, settings=quick(learn_s=0.3)) as session:
        wait_for(lambda: session.newest() is not None)
        session.take(CalibrationKind.OPEN)
        wait_for(lambda: session.status().has == {CalibrationKind.OPEN})
        session.arm()
        wait_for(lambda: session.status().arm is ArmState.ARMED)
        made[0].info = replace(says, exposure_s=0.004, gain=6.0)
        wait_for(lambda: session.status().arm is ArmState.LEARNING)
        status = session.status()
        assert status.calibration_words == ("open no longer holds: exposure, gain changed",)
        assert status.has == frozenset()
        assert status.trigger.anew == "exposure and gain changed"
        assert status.arm_words.startswith("learning the quiet anew (exposure and gain changed)")
        wait_for(lambda: session.status().arm is ArmState.ARMED)
        assert made[0].opens == 1
        assert session.status().counters.lost_source == 0
        made[0].info = says
        wait_for(lambda: session.status().has == {CalibrationKind.OPEN})


def test_another_microphone_is_opened_at_once_and_sound_can_be_switched_off():
    says = info()
    wanted: list[Settings] = []
    made: list[ScriptedSound] = []
    clock = SessionClock()

    def blocks() -> Iterator[SoundBlock]:
        start_s = clock()
        for i in range(10_000):
            yield SoundBlock(np.full((480, 1), 0.1, np.float32), 48000.0, start_s + 0.01 * i)

    def make() -> ScriptedSound:
        if wanted and wanted[-1].sound.device == "none such":
            raise SoundUnavailable("there is no such microphone", "none such")
        made.append(ScriptedSound(blocks(), clock=clock))
        return made[-1]

    settings = quick()
    session = Session(
        settings,
        lambda: ScriptedSource(says, forever(says), clock),
        sound=make,
        sound_wanted=wanted.append,
        clock=clock,
    )
    session.start()
    try:
        wait_for(lambda: session.status().counters.sound_blocks > 3)
        session.apply(settings.replaced("sound", device="none such"))
        wait_for(lambda: any("no such microphone" in words for words in session.status().words))
        assert session.status().sound is None
        assert session.status().state is SessionState.RUNNING
        assert [source.closes for source in made] == [1]
        other = settings.replaced("sound", device="another")
        session.apply(other)
        wait_for(lambda: session.status().sound is not None)
        wait_for(lambda: not session.status().words)
        session.apply(other.replaced("catch", post_trigger_s=0.3))  # not about the sound
        session.apply(settings.replaced("sound", enabled=False))
        wait_for(lambda: session.status().sound is None)
        assert [source.closes for source in made] == [1, 1]
        assert session.status().words == ()
        session.apply(settings)
        wait_for(lambda: session.status().sound is not None)
        assert [w.sound.device for w in wanted] == ["none such", "another", "", ""]
    finally:
        session.stop()
    assert [source.closes for source in made] == [1, 1, 1]


class Hoarder(Kept):
    """A sink that gives no lease back until it is told to: a disk that does not come along."""

    def __init__(self) -> None:
        super().__init__()
        self.held: list[Lease] = []

    def add_frame(self, lease: Lease) -> None:
        self.held.append(lease)


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


def test_the_background_and_the_disc_are_taken_anew() -> None:
    with Rigged(source(forever(info()))) as session:
        wait_for(lambda: session.newest() is not None and session.newest().disc is not None)
        placed = Disc(20.0, 20.0, 10.0, by_hand=True)
        session.place_disc(placed)
        wait_for(lambda: session.newest().disc == placed)
        session.place_disc(None)
        wait_for(lambda: session.newest().disc != placed)
        session.retake_background()
        before = session.newest().stamp.number
        wait_for(lambda: session.newest().stamp.number > before)
        session.take(CalibrationKind.REFERENCE)
        session.cancel_take()
        wait_for(lambda: session.status().taking is None)
        assert session.status().has == frozenset()


def test_a_fault_in_the_picture_is_said_and_catching_goes_on() -> None:
    def broken(settings: Settings, says: SourceInfo):
        raise ZeroDivisionError("a fault of ours")

    rigged = Rigged(source(forever(info())), settings=quick(), make_chain=broken)
    with rigged as session:
        wait_for(lambda: any("picture stopped" in words for words in session.status().words))
        wait_for(lambda: session.status().ring_seconds > 0.15)
        session.trigger()
        assert rigged.sink.ended.wait(20)
        assert rigged.sink.events[0]["complete"] is True


def test_a_fault_in_capture_is_said() -> None:
    class Broken(ScriptedSource):
        def read_into(self, out: np.ndarray) -> None:
            raise ZeroDivisionError("a fault of ours")

    with Rigged(lambda clock: Broken(info(), forever(info()), clock)) as session:
        wait_for(lambda: session.status().state is SessionState.FAILED)
        assert "capture failed" in session.status().words[0]
