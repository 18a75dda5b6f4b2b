"""The flash-and-click check on the simulated rig, whose camera is late by a set time."""

from __future__ import annotations

import numpy as np
import pytest
from support.waiting import wait_for

from liveview.bench.scene import Scene
from liveview.engine.clock import SessionClock
from liveview.engine.clockcheck import SIGMA, ClockReading
from liveview.engine.session import Session
from liveview.model import Frame
from liveview.optics.sound import sound_speed
from liveview.settings import Settings
from liveview.sources.simulated import SimulatedBench
from liveview.sources.simulated_camera import SimulatedCamera
from liveview.trigger.clock import Delay, Moment, find_delay
from liveview.trigger.flash import FlashDetector
from liveview.trigger.onset import OnsetDetector

DISTANCE_M = 1.0
PATH_S = DISTANCE_M / sound_speed(293.15)


def late_scene(
    late_s: float, *, sparks: bool, rate_hz: float = 60.0, candle: bool = False
) -> Scene:
    """A small camera that stamps late; its shutter is open most of the time.

    The air rests, unless a candle is asked for: its plume is most of the rendering.
    """
    made = Scene().replaced(
        "sensor",
        width=160,
        height=90,
        rate_hz=rate_hz,
        shutter="global",
        exposure_s=0.9 / rate_hz,
        stamp_delay_s=late_s,
    )
    made = made.replaced("microphone", distance_m=DISTANCE_M)
    data = made.flows.model_dump(by_alias=False)
    data["candle"] |= {"on": candle}
    data["spark"] |= {"on": sparks, "first_s": 2.0, "rate_hz": 0.8}
    return made.replaced("flows", **data).model_copy(update={"seconds": 14.0})


def checked(bench: SimulatedBench) -> Delay | None:
    """All of a scene that is not live through the detectors of the check."""
    camera, microphone = bench.frames(), bench.sound()
    info = camera.open()
    microphone.open()
    flash, onsets = FlashDetector(info, SIGMA), OnsetDetector()
    seen: list[Moment] = []
    heard: list[Moment] = []
    while (stamp := camera.grab()) is not None:
        pixels = np.empty(info.shape, info.dtype)
        camera.read_into(pixels)
        seen += [Moment(s.time_s, s.error_s) for s in flash.look(Frame(pixels, stamp, info.white))]
    seen += [Moment(s.time_s, s.error_s) for s in flash.flush()]
    while (block := microphone.read(1.0)) is not None:
        heard += [Moment(time_s, block.error_s) for time_s in onsets.hear(block)]
    return find_delay(seen, heard, PATH_S, path_error_s=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize(("late_s", "candle"), [(0.0, False), (0.043, False), (0.25, True)])
def test_a_late_camera_is_found_out(late_s: float, candle: bool) -> None:
    scene = late_scene(late_s, sparks=True, candle=candle)
    found = checked(SimulatedBench(scene, clock=lambda: 0.0, live=False))
    assert found is not None
    assert found.pairs >= 5
    # three standard uncertainties
    assert abs(found.delay_s - late_s) < 3 * found.error_s
    assert found.error_s < 0.005


@pytest.mark.slow
def test_taken_off_nothing_is_left() -> None:
    bench = SimulatedBench(late_scene(0.08, sparks=True), clock=lambda: 0.0, live=False)
    bench.delay_s = 0.08
    found = checked(bench)
    assert found is not None
    assert abs(found.delay_s) < 3 * found.error_s


@pytest.mark.slow
def test_a_session_finds_it_with_sparks_by_hand() -> None:
    clock = SessionClock()
    bench = SimulatedBench(late_scene(0.12, sparks=False, rate_hz=30.0), clock=clock, live=True)
    camera = SimulatedCamera(bench, Settings().camera)
    session = Session(
        Settings(), bench.frames, sound=bench.sound, rig=bench, camera=camera, clock=clock
    )
    session.start()
    try:
        check = session.check_clock(PATH_S, 1e-4)
        wait_for(lambda: check.reading.ready, 20)
        assert check.reading.hears
        before = clock()

        def spark_after(seconds: float) -> bool:
            nonlocal before
            if clock() - before > seconds:
                bench.set("spark_now", 1.0)
                before = clock()
            delay = check.reading.delay
            return delay is not None and delay.pairs >= 4

        wait_for(lambda: spark_after(1.5), 60)
        delay = check.reading.delay
        assert delay is not None
        assert abs(delay.delay_s - 0.12) < 3 * delay.error_s + 0.005
        check.stop()
        assert not check.alive
        session.apply(session.settings.replaced("camera", delay_s=delay.delay_s))
        assert bench.delay_s == delay.delay_s
    finally:
        session.stop()


@pytest.mark.slow
def test_a_session_that_stops_ends_the_check() -> None:
    clock = SessionClock()
    bench = SimulatedBench(late_scene(0.0, sparks=False, rate_hz=15.0), clock=clock, live=True)
    session = Session(Settings(), bench.frames, sound=bench.sound, rig=bench, clock=clock)
    session.start()
    first = session.check_clock(PATH_S, 0.0)
    second = session.check_clock(PATH_S, 0.0)
    assert not first.alive
    assert second.alive
    session.stop()
    assert not second.alive


def test_without_sound_it_says_so() -> None:
    clock = SessionClock()
    bench = SimulatedBench(late_scene(0.0, sparks=False, rate_hz=15.0), clock=clock, live=True)
    session = Session(Settings(), bench.frames, rig=bench, clock=clock)
    session.start()
    try:
        check = session.check_clock(PATH_S, 0.0)
        wait_for(lambda: check.reading != ClockReading(), 10)
        assert not check.reading.hears
        assert check.reading.delay is None
    finally:
        session.stop()
