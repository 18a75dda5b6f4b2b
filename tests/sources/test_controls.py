"""Camera controls judged by light, on devices with the manners of real drivers.

Each device takes its scene from a real capture on a real file and exposes it: light times
exposure, noise, clipping, a transfer curve, and frames that lag behind their settings.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from support.sensor import AUTO, EXPOSURE, GAIN, Sensor

from liveview.errors import SourceStalled
from liveview.imaging.cv import cv2
from liveview.settings import Camera
from liveview.sources.camera import CameraSource
from liveview.sources.controls import (
    POWERS_OF_TWO,
    TENTHS_OF_MS,
    Control,
    Hold,
    hold_all,
    hold_exposure,
    look,
    set_exposure,
    set_gain,
    switch_off,
)
from liveview.sources.exposed import ExposureWatch


def test_an_obedient_camera_is_locked_at_the_seconds_asked_for(sensors: Any) -> None:
    sensor = sensors()
    control = set_exposure(sensor, 0.008)
    assert control == Control("exposure", Hold.LOCKED, pytest.approx(0.008))
    assert sensor.exposure_s == pytest.approx(0.008)
    assert control.words == "exposure 8 ms locked"


def test_powers_of_two_say_what_was_asked_for(sensors: Any) -> None:
    sensor = sensors(backend=cv2.CAP_DSHOW, manual_code=0.25)
    control = set_exposure(sensor, 0.010)
    assert control.hold is Hold.LOCKED
    assert control.value == pytest.approx(2**-7)
    assert sensor.exposure_s == pytest.approx(2**-7)


def test_a_driver_that_only_pretends_is_found_out(sensors: Any) -> None:
    control = set_exposure(sensors(obeys=False), 0.008)
    assert control.hold is Hold.NOT_VERIFIED
    assert "does not follow" in control.words


def test_a_driver_that_does_not_even_pretend(sensors: Any) -> None:
    control = set_exposure(sensors(obeys=False, remembers=False), 0.008)
    assert control.hold is Hold.NOT_CONTROLLABLE
    assert control.value is None


def test_an_automatic_that_cannot_be_switched_off(sensors: Any) -> None:
    control = set_exposure(sensors(manual_code=None), 0.008)
    assert control.hold is not Hold.LOCKED


def test_no_scale_no_control(sensors: Any) -> None:
    sensor = sensors(backend=cv2.CAP_AVFOUNDATION)
    assert set_exposure(sensor, 0.008).hold is Hold.NOT_CONTROLLABLE
    assert hold_exposure(sensor).hold is Hold.NOT_CONTROLLABLE


@pytest.mark.parametrize(("light", "words"), [(1e-5, "too dark"), (400.0, "too bright")])
def test_a_picture_that_cannot_tell_is_said(sensors: Any, light: float, words: str) -> None:
    control = set_exposure(sensors(light=light), 0.008)
    assert control.hold is Hold.NOT_VERIFIED
    assert words in control.reason


def test_holding_keeps_the_light_the_automatic_had_found(sensors: Any) -> None:
    sensor = sensors(light=0.6)
    before = look(sensor, drop=30)
    control = hold_exposure(sensor)
    after = look(sensor)
    assert control.hold is Hold.LOCKED
    # the corrections end within 5 % of the mean code
    assert after.mean == pytest.approx(before.mean, rel=0.06)
    assert sensor.props[AUTO] == 1.0


def test_gain_is_checked_by_light_too(sensors: Any) -> None:
    sensor = sensors()
    assert set_exposure(sensor, 0.008).hold is Hold.LOCKED
    assert set_gain(sensor, 12.0) == Control("gain", Hold.LOCKED, 12.0)
    assert set_gain(sensors(obeys=False, remembers=False), 12.0).hold is not Hold.LOCKED


def test_everything_at_once(sensors: Any) -> None:
    found = {control.name: control.hold for control in hold_all(sensors(), 0.008, 12.0)}
    assert found == {
        "automatic white balance off": Hold.NOT_VERIFIED,
        "automatic focus off": Hold.NOT_VERIFIED,
        "gain": Hold.LOCKED,
        "exposure": Hold.LOCKED,
    }


def test_a_camera_source_locks_what_the_settings_ask(sensors: Any) -> None:
    sensor = sensors()
    camera = Camera(exposure_s=0.008, gain=12.0)
    source = CameraSource("0", camera, clock=float, opener=lambda wanted: (sensor, "bench"))
    info = source.open()
    assert info.exposure_s == pytest.approx(0.008)
    assert info.gain == 12.0
    assert "exposure 8 ms locked" in info.note
    assert [control.name for control in source.controls][-2:] == ["exposure", "gain"]
    assert source.grab() is not None
    source.close()


def test_a_camera_left_alone_claims_nothing(sensors: Any) -> None:
    sensor = sensors()
    source = CameraSource("0", Camera(), clock=float, opener=lambda wanted: (sensor, "bench"))
    info = source.open()
    assert (info.exposure_s, info.gain, source.controls) == (None, None, ())
    assert sensor.props[AUTO] == 3.0
    source.close()


def test_holding_as_found_through_the_settings(sensors: Any) -> None:
    sensor = sensors()
    source = CameraSource(
        "0", Camera(hold=True), clock=float, opener=lambda wanted: (sensor, "bench")
    )
    info = source.open()
    assert info.exposure_s == pytest.approx(sensor.exposure_s)
    assert sensor.props[AUTO] == 1.0
    source.close()


def test_an_automatic_that_stays_on_is_said(sensors: Any) -> None:
    sensor = sensors(remembers=False)
    control = switch_off(sensor, "white balance", cv2.CAP_PROP_AUTO_WB)
    assert control.hold is Hold.NOT_CONTROLLABLE


def test_a_camera_that_dies_meanwhile(sensors: Any) -> None:
    sensor = sensors()
    sensor.dies_after = 10
    with pytest.raises(SourceStalled):
        set_exposure(sensor, 0.008)


@pytest.mark.parametrize("scale", [TENTHS_OF_MS, POWERS_OF_TWO])
@pytest.mark.parametrize("seconds", [1e-4, 5e-4, 1 / 1000, 1 / 60, 0.25, 1.0])
def test_scales_round_trip(scale: Any, seconds: float) -> None:
    back = scale.to_seconds(scale.to_value(seconds))
    assert scale.agrees(seconds, back)
    assert not scale.agrees(seconds, seconds * 3)


def test_scale_units_as_the_drivers_document_them() -> None:
    # V4L2 control documentation: exposure_time_absolute in units of 100 us
    assert TENTHS_OF_MS.to_value(0.0157) == 157
    # DirectShow CameraControl_Exposure: log base 2 seconds, -5 is 1/32 s
    assert POWERS_OF_TWO.to_seconds(-5) == 1 / 32


def camera_on(sensor: Sensor, camera: Camera, clock: Callable[[], float]) -> CameraSource:
    return CameraSource("bench", camera, clock=clock, opener=lambda wanted: (sensor, "bench"))


def test_a_hand_on_exposure_or_gain_is_noticed_while_the_camera_runs(sensors: Any) -> None:
    now_s = 0.0
    sensor = sensors()
    source = camera_on(sensor, Camera(exposure_s=0.01), lambda: now_s)
    before = source.open()
    try:
        for _ in range(3):
            now_s += 0.5
            assert source.grab() is not None
            assert source.info == before
        sensor.set(EXPOSURE, TENTHS_OF_MS.to_value(0.004))
        sensor.set(GAIN, 12.0)
        now_s += 1.1
        source.grab()
        assert source.info is not None
        assert source.info.exposure_s == pytest.approx(0.004)
        assert source.info.gain == 12.0
        assert source.info.camera_state.changes_from(before.camera_state) == ("exposure", "gain")
    finally:
        source.close()


def test_what_a_driver_rounds_or_does_not_know_is_no_change() -> None:
    class Answers:
        exposure, gain = 100.0, 10.0

        def get(self, prop: int, /) -> float:
            known = {EXPOSURE: self.exposure, GAIN: self.gain, cv2.CAP_PROP_BACKEND: cv2.CAP_V4L2}
            return known.get(prop, 0.0)

    device = Answers()
    watch = ExposureWatch(device)
    for exposure, gain in ((100.4, 10.2), (0.0, -1.0), (100.0, 10.0)):
        device.exposure, device.gain = exposure, gain
        assert watch.changed(exposure * 100 + gain) == {}
    device.exposure = 50.0
    assert watch.changed(20_000.0) == {"exposure_s": pytest.approx(0.005)}
    device.exposure = 100.0
    assert watch.changed(20_000.5) == {}  # asked too soon
    assert watch.changed(20_001.1) == {"exposure_s": pytest.approx(0.01)}
