"""Cameras: OpenCV captures on real files and streams stand in for a device, and faulty drivers."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support.fault_table import Fault
from support.media import noise, smooth, write_video
from support.mjpeg_server import MjpegServer

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.imaging.cv import cv2
from liveview.model import SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.camera import CameraSource, Device, plain, request
from liveview.sources.devices import CameraDevice, find_cameras, match_camera
from liveview.sources.drivertime import TRUST_AFTER, DriverTime
from liveview.sources.formats import DRIVER_FRAMES
from liveview.sources.frozen import FrozenWatch
from liveview.sources.listing import list_cameras


class Driver:
    """A capture device with a driver's manners: delivers what it is given, remembers requests."""

    def __init__(self, pictures: list[Any], props: dict[int, float] | None = None) -> None:
        self.pictures = pictures
        self.props = {cv2.CAP_PROP_FPS: 100.0, **(props or {})}
        self.asked: list[tuple[int, float]] = []
        self.released = False
        self.granted: set[int] | None = None
        self._at = -1

    def get(self, prop: int, /) -> float:
        return self.props.get(prop, 0.0)

    def set(self, prop: int, value: float, /) -> bool:
        self.asked.append((prop, value))
        if self.granted is None or prop in self.granted:
            self.props[prop] = value
        return True

    def grab(self) -> bool:
        self._at += 1
        return self._at < len(self.pictures)

    def retrieve(self, image: Any = None, /) -> tuple[bool, Any]:
        picture = self.pictures[self._at]
        return picture is not None, picture

    def release(self) -> None:
        self.released = True


def camera(
    device: Device, clock: Callable[[], float] = time.monotonic, **settings: Any
) -> CameraSource:
    return CameraSource(
        "0", Camera(**settings), clock=clock, opener=lambda wanted: (device, "bench camera")
    )


def capture_of(place: str) -> Device:
    device = cv2.VideoCapture(place, cv2.CAP_FFMPEG)
    assert device.isOpened()
    return device


def test_a_real_capture_delivers_its_pictures(tmp_path: Path) -> None:
    pictures = smooth(48, 64, 6)
    path = write_video(
        tmp_path / "clip.mkv", pictures, form="yuv420p", codec="libx264", options={"crf": "1"}
    )
    source = camera(capture_of(str(path)), delay_s=0.5)
    before = time.monotonic()
    info = source.open()
    try:
        assert (info.kind, info.name, info.live) == (SourceKind.CAMERA, "bench camera", True)
        assert info.shape == (48, 64, 3)
        assert info.rate_hz == pytest.approx(30)
        stamp = source.grab()
        assert stamp is not None
        out = np.empty(info.shape, info.dtype)
        source.read_into(out)
        # studio range and coding cost a code or two
        assert np.abs(out[24, 32].astype(int) - pictures[1][24, 32]).max() <= 3
        assert before - 0.5 <= stamp.time_s <= time.monotonic() - 0.5
        with pytest.raises(SourceStalled, match="delivers no pictures"):
            while source.grab():
                pass
    finally:
        source.close()
        source.close()


@pytest.mark.slow
def test_a_real_capture_on_a_stream_that_changes_size() -> None:
    with MjpegServer([np.full((48, 64, 3), 90, np.uint8)], rate_hz=100) as server:
        source = camera(capture_of(server.url))
        try:
            source.open()
            server.show([np.full((64, 48, 3), 90, np.uint8)])
            # OpenCV scales to the first size or delivers the new one: never a wrong shape
            try:
                for _ in range(50):
                    assert source.grab() is not None
            except FormatChanged as error:
                assert "changed its picture" in str(error)
        finally:
            source.close()


@pytest.mark.fault(
    "a camera is not there, or another program holds it",
    says="the camera does not open",
    then="said with what to check; the next source is tried",
)
def test_there_is_no_camera_here_or_it_opens(fault: Fault) -> None:
    source = CameraSource("99", Camera(), clock=time.monotonic)
    with pytest.raises(InputUnreadable, match=fault.says):
        source.open()
    source.close()


def test_queue_then_format_come_before_size_and_rate() -> None:
    driver = Driver(noise((24, 32, 3), 3))
    camera(driver, width=640, height=480, rate_hz=120, format="yuyv").open()
    order = [prop for prop, _ in driver.asked]
    assert order == [
        cv2.CAP_PROP_BUFFERSIZE,
        cv2.CAP_PROP_FOURCC,
        cv2.CAP_PROP_FRAME_WIDTH,
        cv2.CAP_PROP_FRAME_HEIGHT,
        cv2.CAP_PROP_FPS,
    ]
    assert driver.asked[0][1] == DRIVER_FRAMES
    assert driver.asked[1][1] == cv2.VideoWriter.fourcc(*"YUYV")


def test_what_was_not_granted_is_said() -> None:
    driver = Driver([], {cv2.CAP_PROP_FRAME_WIDTH: 320, cv2.CAP_PROP_FPS: 30})
    driver.granted = {cv2.CAP_PROP_FOURCC}
    words = request(driver, Camera(width=640, rate_hz=120))
    assert "width 640 was asked for, 320 came" in words
    assert "rate 120 was asked for, 30 came" in words
    assert any("MJPG" in line for line in words), "compression is said"


def test_mono_formats_are_not_turned_into_colour() -> None:
    pictures = noise((24, 32), 2, 4095)
    driver = Driver(pictures)
    info = camera(driver, format="Y12").open()
    assert (cv2.CAP_PROP_CONVERT_RGB, 0) in driver.asked
    assert (info.channels, info.bits, info.white) == (1, 12, 4095)


@pytest.mark.fault(
    "a camera delivers damaged pictures",
    says="damaged pictures left out",
    then="left out and counted as lost",
)
def test_damaged_pictures_are_left_out_and_counted(fault: Fault) -> None:
    good = noise((24, 32), 4)
    source = camera(Driver([good[0], None, None, good[1], good[2]]))
    source.open()
    first, second = source.grab(), source.grab()
    assert first is not None
    assert second is not None
    assert (first.number, second.number) == (3, 4)
    assert source.warnings == (f"2 {fault.says}",)


def test_only_damaged_pictures_are_a_stall() -> None:
    source = camera(Driver([None] * 100))
    with pytest.raises(SourceStalled, match="damaged pictures only"):
        source.open()


def test_another_size_is_told() -> None:
    source = camera(Driver([*noise((24, 32), 2), *noise((32, 24), 1)]))
    source.open()
    source.grab()
    with pytest.raises(FormatChanged):
        source.grab()


@pytest.mark.parametrize(
    "picture",
    [np.zeros((1, 5000), np.uint8), np.zeros((24, 32, 2), np.uint8), np.zeros((24, 32), np.int32)],
)
def test_raw_bytes_are_no_picture(picture: NDArray[Any]) -> None:
    with pytest.raises(InputUnreadable, match="unsupported kind of picture"):
        plain(picture, "camera:0")
    assert plain(np.zeros((24, 32, 1), np.uint8), "camera:0").shape == (24, 32)


def test_the_depth_is_that_of_the_format_that_came() -> None:
    """A driver that gives 16 bits where 10 were asked for."""
    driver = Driver(noise((24, 32), 2, 65535))
    driver.granted = set()
    driver.props[cv2.CAP_PROP_FOURCC] = cv2.VideoWriter.fourcc(*"Y16 ")
    info = camera(driver, format="Y10").open()
    assert (info.bits, info.white) == (16, 65535)
    assert "format Y10 was asked for, Y16 came" in info.note
    silent = Driver(noise((24, 32), 2, 1023))
    silent.granted = set()
    assert camera(silent, format="Y10").open().white == 1023


def test_another_depth_while_it_runs_opens_it_anew() -> None:
    source = camera(Driver([*noise((24, 32), 2, 65535), *noise((24, 32), 2)]))
    source.open()
    source.grab()
    with pytest.raises(FormatChanged, match=r"from \(24, 32\) uint16 to \(24, 32\) uint8"):
        source.grab()


@pytest.mark.fault(
    "a camera delivers the same picture again and again and calls it success",
    says="the camera has repeated the same picture",
    then="opened again; a still and a capped lens are let pass",
)
def test_a_frozen_camera_is_found_out(fault: Fault) -> None:
    now = [0.0]
    moving = noise((24, 32), 3)
    driver = Driver([*moving, *[moving[-1]] * 400])
    source = camera(driver, clock=lambda: now[0])
    source.open()
    with pytest.raises(SourceStalled, match=fault.says):
        for _ in range(400):
            now[0] += 0.01
            source.grab()
    assert now[0] == pytest.approx(3.0, abs=0.1)


def test_a_still_and_a_capped_lens_are_no_freeze() -> None:
    still, watch = noise((24, 32), 1)[0], FrozenWatch()
    assert not any(watch.frozen(still, 0.1 * i) for i in range(100))
    watch = FrozenWatch()
    watch.frozen(still, 0.0)
    dark = np.zeros((24, 32), np.uint8)
    assert not any(watch.frozen(dark, 0.1 * i) for i in range(100))


def test_a_plausible_driver_clock_is_used_after_a_while() -> None:
    driver = DriverTime()
    for index in range(20):
        taken_s = 5000 + index * 0.01
        got = driver.session_s(taken_s, taken_s + 0.02, 7 + index * 0.01 + 0.02)
        if index < TRUST_AFTER - 1:
            assert got is None
        else:
            assert got == pytest.approx(7 + index * 0.01)
    assert driver.trusted


@pytest.mark.parametrize("stamp", [0.0, 1.7e9, 4990.0, 5001.0])
def test_an_implausible_driver_clock_is_left_aside_for_good(stamp: float) -> None:
    driver = DriverTime()
    assert driver.session_s(stamp, 5000.0, 7.0) is None
    for index in range(20):
        assert driver.session_s(5000.1 + index, 5000.1 + index, 7.0) is None
    assert not driver.trusted


@pytest.mark.fault(
    "the camera driver's clock jumps back",
    says="(nothing)",
    then="left aside for good: the computer's own clock is used, with its larger error",
)
def test_a_driver_clock_that_jumps_back_is_dropped(fault: Fault) -> None:
    driver = DriverTime()
    for index in range(10):
        driver.session_s(100 + index * 0.01, 100 + index * 0.01, 0.0)
    assert driver.session_s(100.0, 100.2, 0.0) is None
    assert not driver.trusted


def test_frames_lost_before_us_show_in_the_drivers_clock() -> None:
    driver = DriverTime()
    lost = []
    at = 10.0
    for index in range(60):
        at += 0.01 * (4 if index == 40 else 1)
        driver.session_s(at, at, at)
        lost.append(driver.lost)
    assert lost[40] == 3
    assert sum(lost) == 3


def test_a_slower_rate_is_not_loss_for_ever() -> None:
    driver = DriverTime()
    at, lost = 10.0, 0
    for index in range(200):
        at += 0.01 if index < 50 else 0.02
        driver.session_s(at, at, at)
        lost += driver.lost
    assert lost <= 16, "until half of the window knows the new rate"


KNOWN = (
    CameraDevice(0, "Desk Cam", "/dev/video0", "046d:0825"),
    CameraDevice(2, "Desk Cam Wide", "/dev/video2", "046d:0826"),
    CameraDevice(4, "Rig", "/dev/video4", ""),
)


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        ("2", 2),
        ("Desk Cam", 0),
        ("desk cam w", 2),
        ("046D:0826", 2),
        ("/dev/video4", 4),
        ("rig", 4),
        ("7", 7),
    ],
)
def test_a_camera_is_found_by_what_stays_the_same(wanted: str, index: int) -> None:
    assert match_camera(wanted, KNOWN).index == index


def test_a_camera_that_is_not_there_or_not_clear() -> None:
    with pytest.raises(InputUnreadable, match="several cameras"):
        match_camera("desk", KNOWN)
    with pytest.raises(InputUnreadable, match="no such camera"):
        match_camera("moon", KNOWN)
    with pytest.raises(InputUnreadable, match="plug it in"):
        match_camera("moon", ())


def test_the_list_says_what_answers_and_why_not() -> None:
    def look(device: CameraDevice) -> SourceInfo:
        if device.index == 0:
            raise InputUnreadable("the camera does not open", "camera:0", "plug it in")
        return SourceInfo(SourceKind.CAMERA, "x", 640, 480, 3, 8, 255, True, 30.0)

    answers = list_cameras(find=lambda: KNOWN, look=look)
    assert [answer.answers for answer in answers] == [False, True, True]
    assert answers[0].words == "the camera does not open; plug it in"
    assert answers[1].words == "640 x 480, 8 bit colour, says 30 Hz"
    assert answers[1].address == "camera:Desk Cam Wide"


def test_this_computers_cameras_can_be_listed() -> None:
    for answer in list_cameras():
        assert answer.address.startswith("camera:")
        assert answer.words
    assert isinstance(find_cameras(), tuple)


class Queue(Driver):
    """A hundred frames a second on a clock of its own; what nobody fetches waits."""

    def __init__(self) -> None:
        super().__init__(noise((24, 32), 60))
        self.now_s = 0.0

    def clock(self) -> float:
        return self.now_s

    def grab(self) -> bool:
        there = super().grab()
        self.now_s = max(self.now_s, self.ready_s)
        return there

    @property
    def ready_s(self) -> float:
        return 0.01 * (self._at + 1)


def test_a_frame_that_waited_says_how_wrong_its_stamp_may_be() -> None:
    """Without the driver's stamps; the program is held up for 65 ms."""
    driver = Queue()
    source = camera(driver, driver.clock)
    source.open()
    late = []
    for number in range(30):
        if number == 10:
            driver.now_s += 0.065
        stamp = source.grab()
        assert stamp is not None
        late.append(stamp.time_s - driver.ready_s)
        assert late[-1] <= stamp.error_s + 1e-9
        assert stamp.error_s <= max(0.005, late[-1]) + 1e-9
    assert max(late) > 0.05 and late[-1] < 1e-9
    source.close()
