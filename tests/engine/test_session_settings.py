"""Calibration and settings of a running session, and what makes them invalid."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain as joined

import numpy as np
import pytest
from support.scripted_source import (
    ScriptedSound,
    ScriptedSource,
    format_changed,
    info,
)
from support.session_rig import Rigged, forever, quick, scene, source
from support.waiting import wait_for

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import BadRequest, SoundUnavailable
from liveview.model import (
    ArmState,
    CalibrationKind,
    Disc,
    SessionState,
    SoundBlock,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings


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


@pytest.mark.slow
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


class Turned(ScriptedSource):
    """A camera on whose exposure somebody else lays a hand; it says so in ``info``."""

    def __init__(self, says: SourceInfo, *args, **more) -> None:
        super().__init__(says, *args, **more)
        self.info = says


@pytest.mark.slow
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


class Slow(ScriptedSource):
    """A source whose opening takes until it is let go."""

    def __init__(self, *args: object) -> None:
        super().__init__(*args)
        self.let_go = threading.Event()

    def open(self) -> SourceInfo:
        self.let_go.wait(20)
        return super().open()


def test_settings_changed_while_no_source_is_open_all_count_and_none_is_refused():
    says = info()
    rigged = Rigged(lambda clock: Slow(says, forever(says), clock))
    with rigged as session:
        wait_for(lambda: bool(rigged.sources))
        for number in range(200):
            session.apply(quick(sensitivity_sigma=5.0 + number / 100))
        session.arm()
        rigged.sources[0].let_go.set()
        wait_for(lambda: session.status().arm is ArmState.ARMED)
        # At 6.99 in place of 5.00 noise alone triggers e^(6.99^2/2 - 5^2/2) times less often.
        rate_hz = session.status().trigger.noise_rate_hz
        assert rate_hz == pytest.approx(3 * says.rate_hz * math.exp(-(6.99**2) / 2))


def test_what_was_heard_stays_known_while_the_microphone_is_opened_anew():
    says = info()
    opened = []
    go = threading.Event()
    silence = np.zeros((480, 1), np.float32)

    def sound() -> ScriptedSound:
        opened.append(True)
        if len(opened) > 1:
            go.wait(20)
            raise SoundUnavailable("gone", "scripted")
        now_s = rigged.clock()
        run = (SoundBlock(silence, 48000.0, now_s + 0.01 * i) for i in range(3000))
        return ScriptedSound(run, clock=rigged.clock)

    rigged = Rigged(source(forever(says), says), settings=quick(), sound=sound)
    with rigged as session:
        wait_for(lambda: session.status().counters.sound_blocks > 3)
        session.apply(quick().replaced("sound", rate_hz=44100.0))
        wait_for(lambda: len(opened) > 1)
        assert session.status().sound is None
        session.trigger()
        wait_for(lambda: bool(rigged.sink.events) and rigged.sink.ended.is_set())
        go.set()
    (event,) = rigged.sink.events
    assert event["start"].sound is not None
    assert event["sound"]
