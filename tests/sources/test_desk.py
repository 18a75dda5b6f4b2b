"""Wishes for a camera while it runs, on devices with the manners of real drivers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from support.sensor import EXPOSURE, GAIN, Sensor

from liveview.errors import FormatChanged
from liveview.imaging.cv import cv2
from liveview.model import Disc, Hold
from liveview.settings import Camera
from liveview.sources.camera import CameraSource
from liveview.sources.controls import TENTHS_OF_MS
from liveview.sources.desk import CameraDesk

SOON = 30
"""Frames in which a wish is granted and judged: drivers lag four, and five are looked at."""


class Running:
    """A camera, its desk and a clock that goes on with its frames."""

    def __init__(self, sensor: Sensor, camera: Camera) -> None:
        self.now_s = 0.0
        self.sensor = sensor
        self.desk = CameraDesk(camera)
        self.source = CameraSource(
            "bench", camera, clock=lambda: self.now_s, opener=self._open, desk=self.desk
        )
        self.info = self.source.open()
        self.out = np.empty(self.info.shape, self.info.dtype)

    def _open(self, wanted: str) -> tuple[Sensor, str]:
        return self.sensor, "bench camera"

    def run(self, frames: int = SOON) -> None:
        for _ in range(frames):
            self.now_s += 1 / 30
            assert self.source.grab() is not None
            self.source.read_into(self.out)

    def wish(self, **values: Any) -> None:
        self.desk.apply(self.desk.camera.model_copy(update=values))

    def hold(self, name: str) -> Hold:
        control = self.desk.reading().control(name)
        assert control is not None
        return control.hold


@pytest.fixture
def running(sensors: Any) -> Any:
    made: list[Running] = []

    def make(camera: Camera | None = None, **options: Any) -> Running:
        made.append(Running(sensors(**options), camera or Camera(exposure_s=0.01, gain=10.0)))
        return made[-1]

    yield make
    for one in made:
        one.source.close()


def test_exposure_is_turned_while_frames_go_on_and_verified_by_them(running: Any) -> None:
    camera = running()
    camera.run()
    assert camera.info.exposure_s == pytest.approx(0.01)
    before = camera.out.mean()
    camera.wish(exposure_s=0.005)
    camera.run(1)
    assert camera.hold("exposure") is Hold.CHANGING
    # the new exposure counts at once, so that a calibration at the old one holds no longer
    assert camera.source.info.exposure_s == pytest.approx(0.005)
    changed = camera.source.info.camera_state.changes_from(camera.info.camera_state)
    assert changed == ("exposure",)
    camera.run()
    assert camera.hold("exposure") is Hold.LOCKED
    assert camera.out.mean() < 0.85 * before


def test_a_driver_that_only_pretends_is_found_out_while_it_runs(running: Any) -> None:
    camera = running(obeys=False)
    camera.run()
    camera.wish(gain=20.0)
    camera.run()
    control = camera.desk.reading().control("gain")
    assert control.hold is Hold.NOT_VERIFIED
    assert "does not follow" in control.reason


def test_a_driver_that_forgets_is_not_controllable(running: Any) -> None:
    camera = running(Camera(), remembers=False, obeys=False)
    camera.run(5)
    camera.wish(focus=30.0)
    camera.run(3)
    assert camera.hold("focus") is Hold.NOT_CONTROLLABLE


def test_of_many_wishes_the_newest_counts_and_is_judged_once(running: Any) -> None:
    camera = running()
    camera.run()
    for seconds in (0.009, 0.008, 0.007, 0.004):
        camera.wish(exposure_s=seconds)
    camera.run(2)
    camera.wish(exposure_s=0.003)
    camera.run()
    assert camera.hold("exposure") is Hold.LOCKED
    assert camera.sensor.exposure_s == pytest.approx(0.003)


def test_white_balance_is_the_drivers_word_only(running: Any) -> None:
    camera = running()
    camera.sensor.props[cv2.CAP_PROP_WB_TEMPERATURE] = 4600.0
    camera.wish(white_balance_k=5200.0)
    camera.run(2)
    control = camera.desk.reading().control("white balance")
    assert (control.hold, control.value, control.unit) == (Hold.NOT_VERIFIED, 5200.0, "K")
    assert camera.sensor.props[cv2.CAP_PROP_AUTO_WB] == 0


@pytest.mark.parametrize(
    "wish",
    [{"format": "GREY"}, {"width": 640, "height": 480}, {"rate_hz": 15.0}, {"delay_s": 0.02}],
)
def test_format_size_rate_and_delay_need_another_opening(running: Any, wish: dict) -> None:
    camera = running()
    camera.run(5)
    camera.wish(**wish)
    with pytest.raises(FormatChanged, match="set anew"):
        camera.run(1)
    camera.desk.begin()
    assert not camera.desk.wants_anew


def test_what_is_no_control_disturbs_nothing(running: Any) -> None:
    camera = running()
    camera.run(3)
    camera.wish(f_number=5.6, channel="green")
    camera.run(3)
    assert camera.desk.take() == {}


def test_given_back_the_camera_may_change_its_exposure_again(running: Any) -> None:
    camera = running()
    camera.run(3)
    camera.wish(exposure_s=None, gain=None)
    with pytest.raises(FormatChanged):
        camera.run(1)
    sensor = camera.sensor
    again = CameraSource(
        "bench", Camera(), clock=lambda: 0.0, opener=camera._open, desk=camera.desk
    )
    assert sensor.props[cv2.CAP_PROP_AUTO_EXPOSURE] == 1.0
    info = again.open()
    assert sensor.props[cv2.CAP_PROP_AUTO_EXPOSURE] == 3.0
    assert info.exposure_s is None
    again.close()


def test_a_camera_that_cheats_is_told_in_words(running: Any) -> None:
    camera = running()
    height, width = camera.info.shape[:2]
    camera.desk.disc_is(Disc(width / 2, height / 2, 0.4 * height))
    camera.run(90)
    assert camera.desk.reading().watch.startswith("steady")
    assert camera.desk.words == ()
    camera.sensor.cheat = 0.75
    camera.run(60)
    reading = camera.desk.reading()
    assert reading.cheats
    assert "the camera went down in brightness by 2" in reading.watch
    assert "hold exposure and gain" in camera.desk.words[0]


def test_a_turn_by_hand_is_no_cheating(running: Any) -> None:
    camera = running()
    height, width = camera.info.shape[:2]
    camera.desk.disc_is(Disc(width / 2, height / 2, 0.4 * height))
    camera.run(90)
    camera.wish(exposure_s=0.006)
    for _ in range(30):
        camera.run(5)
        assert not camera.desk.reading().cheats


def test_an_exposure_that_the_driver_reports_as_changed_is_not_called_locked(running: Any) -> None:
    camera = running()
    camera.run(40)
    camera.sensor.props[EXPOSURE] = TENTHS_OF_MS.to_value(0.002)
    camera.sensor.props[GAIN] = 10.0
    camera.run(40)
    assert camera.hold("exposure") is Hold.AUTOMATIC
    assert camera.source.info.exposure_s == pytest.approx(0.002)
