"""The simulated rig's camera as a handle on exposure, gain, automatic and delay."""

from __future__ import annotations

import pytest

from liveview.bench.scene import Scene
from liveview.model import Hold
from liveview.settings import Camera
from liveview.sources.simulated import SimulatedBench
from liveview.sources.simulated_camera import SimulatedCamera


def pair(camera: Camera | None = None, **sensor: object) -> tuple[SimulatedBench, SimulatedCamera]:
    scene = Scene().replaced("sensor", width=64, height=48, **sensor)
    bench = SimulatedBench(scene, clock=lambda: 0.0, live=False)
    return bench, SimulatedCamera(bench, camera or Camera())


def test_what_it_says_is_what_the_rig_has() -> None:
    bench, camera = pair(bits=12)
    reading = camera.reading()
    values = bench.values()
    assert reading.name.startswith("simulated: ")
    assert (reading.format, reading.stamps) == ("mono, 12 bit", "simulated")
    assert [(c.name, c.value, c.unit, c.hold) for c in reading.controls] == [
        ("exposure", values["exposure_s"], "s", Hold.LOCKED),
        ("gain", values["gain"], "times", Hold.LOCKED),
    ]
    assert camera.words == ()


def test_a_turn_reaches_the_next_frame() -> None:
    bench, camera = pair()
    camera.apply(Camera(exposure_s=0.002, gain=2.0))
    assert (bench.values()["exposure_s"], bench.values()["gain"]) == (0.002, 2.0)
    control = camera.reading().control("exposure")
    assert control is not None and control.value == 0.002


@pytest.mark.parametrize(("wished", "end"), [(1e-9, 0), (60.0, 1)])
def test_beyond_the_limits_the_limit_holds(wished: float, end: int) -> None:
    bench, camera = pair()
    camera.apply(Camera(exposure_s=wished))
    assert bench.values()["exposure_s"] == bench.limits()["exposure_s"][end]


def test_what_the_settings_did_not_turn_stays_as_the_hand_set_it() -> None:
    bench, camera = pair(Camera(exposure_s=0.002))
    bench.set("exposure_s", 0.003)
    camera.apply(Camera(exposure_s=0.002, gain=4.0))
    assert bench.values()["exposure_s"] == 0.003
    camera.apply(Camera(gain=None))
    assert bench.values()["gain"] == 4.0


def test_automatic_shows_and_holding_switches_it_off() -> None:
    bench, camera = pair()
    bench.set("auto_exposure", 1.0)
    control = camera.reading().control("exposure")
    assert control is not None and control.hold is Hold.AUTOMATIC
    camera.apply(Camera(hold=True))
    control = camera.reading().control("exposure")
    assert control is not None and control.hold is Hold.LOCKED
    assert bench.values()["auto_exposure"] == 0.0
    bench.set("auto_exposure", 1.0)
    camera.apply(Camera(hold=True, gain=2.0))  # holding is no news
    assert bench.values()["auto_exposure"] == 1.0


def test_the_delay_that_was_found_is_taken_off_the_stamps() -> None:
    bench, camera = pair(stamp_delay_s=0.05)
    camera.apply(Camera(delay_s=0.05))
    assert bench.delay_s == 0.05
    camera.disc_is(None)
    assert bench.delay_s == 0.05
