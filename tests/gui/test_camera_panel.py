"""The camera's controls in words, and turned by keys on a real session with a driver's manners."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, simulated

from liveview.engine.clock import SessionClock
from liveview.engine.clockcheck import ClockReading
from liveview.engine.session import Session
from liveview.gui.camera_panel import hidden_words
from liveview.gui.camera_words import CameraRow, control_value, rows_of, stops
from liveview.gui.clock_sheet import ClockSheet
from liveview.imaging.cv import cv2
from liveview.model import (
    CameraReading,
    Control,
    Counters,
    Hold,
    SessionStatus,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Camera, Settings
from liveview.sources.camera import CameraSource
from liveview.sources.controls import LOOK_FRAMES
from liveview.sources.desk import CameraDesk
from liveview.trigger.clock import Delay

WEBCAM = SourceInfo(SourceKind.CAMERA, "webcam", 1280, 720, 3, 8, 255, True, 30.0)
CONTROLS = (
    Control("exposure", Hold.LOCKED, 0.002, "", "s"),
    Control("gain", Hold.NOT_VERIFIED, 10.0, "the picture does not follow"),
    Control("white balance", Hold.AUTOMATIC, 4600.0, "", "K"),
    Control("focus", Hold.NOT_CONTROLLABLE),
)


def row(name: str, camera: Camera | None = None, **more: Any) -> CameraRow:
    status = SessionStatus(source=WEBCAM, rate_hz=29.94, **more)
    words = ("compressed by the camera (MJPG): faint structure may be lost",)
    reading = CameraReading("webcam", CONTROLS, "MJPG", ("MJPG", "YUYV", "GREY"), words)
    return next(r for r in rows_of(reading, camera or Camera(), status) if r.name == name)


def test_every_state_is_words() -> None:
    assert row("exposure").note == "Locked: the picture followed"
    assert row("gain").note == "Not verified: the picture stayed"
    assert row("white balance").note == "Changes by itself"
    assert row("white balance").alarm
    assert row("focus").note == "Not controllable by this driver"
    assert "White balance still free" in row("hold").note


def test_seconds_fractions_and_stops() -> None:
    assert control_value(CONTROLS[0]) == "2\u2009ms \u00b7 1/500\u2009s"
    assert row("exposure").more == {"exposure_s": pytest.approx(2 ** (-26 / 3))}
    assert row("exposure").turned(10) == {"exposure_s": pytest.approx(2 ** (-24 / 3))}
    assert row("white balance").less == {"white_balance_k": 4500.0}
    assert row("focus").turned(1) is None
    assert [stops(v) for v in (0, 1 / 3, -1, 4 / 3, -2)] == [
        "0 stops",
        "+⅓ stop",
        "−1 stop",
        "+1⅓ stops",
        "−2 stops",
    ]


def test_a_third_of_a_stop_and_back_is_where_it_was() -> None:
    there = Control("gain", Hold.LOCKED, 1.0, "", "times", (0.1, 64.0))
    reading = CameraReading("rig", (there,))
    up = rows_of(reading, Camera(), SessionStatus())[0].more
    assert up is not None
    back = CameraReading("rig", (Control("gain", Hold.LOCKED, up["gain"], "", "times"),))
    assert rows_of(back, Camera(), SessionStatus())[0].less == {"gain": pytest.approx(1.0)}


def test_rate_and_lost_frames_are_always_there() -> None:
    assert row("rate").value == "29.9\u2009Hz measured"
    assert row("rate").note == "30\u2009Hz asked \u00b7 0 frames lost"
    assert not row("rate").alarm
    lost = row("rate", counters=Counters(lost_source=2, lost_ring=1))
    assert "3 frames lost" in lost.note
    assert lost.alarm


def test_compression_and_the_channel_measured_are_said() -> None:
    assert "Compressed" in row("format").note
    assert row("format").more == {"format": "MJPG"}
    assert row("format", Camera(format="GREY")).more is None
    assert row("channel", Camera(channel="green")).value == "Green only"
    assert row("channel", Camera(channel="green")).less == {"channel": "red"}
    assert row("size").more == {"width": 1280, "height": 960}


def test_automatics_are_held_and_given_back_whole() -> None:
    assert row("hold").less == {"hold": True}
    back = row("hold", Camera(hold=True, exposure_s=0.01)).more
    assert back == {
        "hold": False,
        "exposure_s": None,
        "gain": None,
        "white_balance_k": None,
        "focus": None,
    }


class Device:
    """A small camera that obeys, thirty pictures a second."""

    def __init__(self) -> None:
        self.props = {
            cv2.CAP_PROP_BACKEND: float(cv2.CAP_V4L2),
            cv2.CAP_PROP_EXPOSURE: 40.0,
            cv2.CAP_PROP_AUTO_EXPOSURE: 3.0,
            cv2.CAP_PROP_GAIN: 10.0,
            cv2.CAP_PROP_FPS: 30.0,
        }
        y, x = np.mgrid[:180, :320]
        self.scene = np.where(np.hypot(x - 160, y - 90) < 80, 0.5, 0.04)
        self.pause = threading.Event()
        self.rng = np.random.default_rng(1)

    def get(self, prop: int, /) -> float:
        return self.props.get(prop, 0.0)

    def set(self, prop: int, value: float, /) -> bool:
        if prop in self.props:
            self.props[prop] = value
        return True

    def grab(self) -> bool:
        self.pause.wait(1 / 30)
        return True

    def retrieve(self, image: Any = None, /) -> tuple[bool, Any]:
        light = np.clip(self.scene * self.props[cv2.CAP_PROP_EXPOSURE] / 100, 0, 1)
        codes = 255 * light ** (1 / 2.2) + self.rng.normal(0, 1.2, light.shape)
        return True, np.clip(codes, 0, 255).astype(np.uint8)

    def release(self) -> None:
        self.pause.set()


@pytest.fixture
def open_window(app: QApplication) -> Iterator[Callable[..., WindowRig]]:
    rigs: list[WindowRig] = []

    def make(*args: Any, **more: Any) -> WindowRig:
        rigs.append(WindowRig(app, *args, **more))
        rigs[-1].first_picture()
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.close()


def session_on(device: Device) -> Callable[[str, Settings], Session]:
    def build(address: str, settings: Settings) -> Session:
        clock, desk = SessionClock(), CameraDesk(settings.camera)

        def frames() -> CameraSource:
            return CameraSource(
                "bench",
                settings.camera,
                clock=clock,
                opener=lambda wanted: (device, "bench camera"),
                desk=desk,
            )

        return Session(settings, frames, camera=desk, clock=clock)

    return build


@pytest.mark.slow
def test_keys_turn_the_exposure_and_the_panel_says_that_the_picture_followed(
    open_window: Callable[..., WindowRig],
) -> None:
    device = Device()
    rig = open_window(session_on(device))
    rig.press("L")
    panel = rig.window.panels.camera
    assert panel.isVisible()
    rig.wait(lambda: panel.row is not None and panel.row.name == "exposure")
    # The light before is known from so many frames.
    rig.wait(lambda: rig.bridge.status.counters.captured > LOOK_FRAMES)
    rig.press("Shift+Left")
    rig.wait(lambda: device.props[cv2.CAP_PROP_EXPOSURE] == 20.0)
    assert device.props[cv2.CAP_PROP_AUTO_EXPOSURE] == 1.0
    rig.wait(lambda: "Locked: the picture followed" in panel.words())
    assert rig.bridge.settings.camera.exposure_s == pytest.approx(0.002, rel=0.03)
    rig.press("Down")
    assert panel.row.name == "gain"
    rig.press("Escape")
    assert not panel.isVisible()


@pytest.mark.slow
def test_another_rate_opens_the_camera_again(open_window: Callable[..., WindowRig]) -> None:
    device = Device()
    rig = open_window(session_on(device))
    rig.press("L")
    panel = rig.window.panels.camera
    rig.wait(lambda: any(r.name == "rate" and r.less for r in panel.rows))
    while panel.row.name != "rate":
        rig.press("Down")
    rig.press("Left")
    rig.wait(lambda: device.props[cv2.CAP_PROP_FPS] == 25.0)
    rig.wait(lambda: "25\u2009Hz asked" in panel.words())


@pytest.mark.slow
def test_the_panel_is_turned_by_the_mouse(open_window: Callable[..., WindowRig]) -> None:
    rig = open_window(simulated, addresses=("simulated",))
    session = rig.session
    if session.camera is None:
        from liveview.sources.simulated_camera import SimulatedCamera

        session.camera = SimulatedCamera(session.rig, rig.bridge.settings.camera)
        rig.window.panels.camera.hold(session.camera)
    rig.press("L")
    panel = rig.window.panels.camera
    rig.wait(lambda: len(panel.rows) > 4)
    before = session.rig.values()["exposure_s"]
    box = panel._row_box(0)
    arrow = QPointF(box.right() - panel._look.px(1.9), box.center().y()).toPoint()
    QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=arrow)
    assert session.rig.values()["exposure_s"] == pytest.approx(before / 2 ** (1 / 3), rel=0.15)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (ClockReading(hears=False), "No sound comes in"),
        (ClockReading(), "Learning the quiet"),
        (ClockReading(ready=True, seen=1, heard=2), "1 flash seen, 2 sounds heard; three must"),
        (ClockReading(ready=True, seen=6, heard=6), "do not agree yet"),
        (ClockReading(True, True, 5, 5, Delay(0.043, 0.002, 0.004, 5)), "43\u2009ms late"),
        (ClockReading(True, True, 5, 5, Delay(-0.02, 0.002, 0.004, 5)), "20\u2009ms early"),
        (ClockReading(True, True, 4, 4, Delay(0.001, 0.002, 0.004, 4)), "1 more would be better"),
        (ClockReading(failed="ValueError: no"), "Not checked"),
    ],
)
def test_the_check_says_how_it_stands(app: QApplication, reading: ClockReading, words: str) -> None:
    from PyQt6.QtWidgets import QWidget

    parent = QWidget()
    sheet = ClockSheet(parent)
    sheet._reading = reading
    assert words in sheet.words()


@pytest.mark.slow
def test_the_check_opens_runs_and_keeps_what_it_found(
    open_window: Callable[..., WindowRig],
) -> None:
    rig = open_window(session_on(Device()))
    rig.press("Shift+L")
    sheet = rig.window.clock_sheet
    assert sheet.isVisible()
    check = sheet._check
    assert check is not None
    assert check.alive
    sheet.distance_field.setText("two feet")
    sheet.distance_field.editingFinished.emit()
    assert not check.alive
    assert "distance" in sheet.words()
    sheet.distance_field.setText("2 ft")
    sheet.distance_field.editingFinished.emit()
    rig.wait(lambda: "No sound comes in" in sheet.words())
    sheet._reading = ClockReading(True, True, 5, 5, Delay(0.043, 0.002, 0.004, 5))
    sheet.keep()
    assert not sheet.isVisible()
    assert rig.bridge.settings.camera.delay_s == pytest.approx(0.043)
    rig.wait(lambda: rig.session.camera.camera.delay_s == pytest.approx(0.043))


def test_enter_in_the_field_of_the_distance_keeps_what_was_found(
    open_window: Callable[..., WindowRig],
) -> None:
    rig = open_window(session_on(Device()))
    rig.press("Shift+L")
    sheet = rig.window.clock_sheet
    check = sheet._check
    sheet._reading = ClockReading(True, True, 5, 5, Delay(0.043, 0.002, 0.004, 5))
    sheet._timer.stop()
    sheet.distance_field.setFocus()
    QTest.keyClick(sheet.distance_field, Qt.Key.Key_Return)
    assert not check.alive
    assert not sheet.isVisible()
    assert rig.bridge.settings.camera.delay_s == pytest.approx(0.043)


def test_rows_for_which_there_is_no_room_come_into_sight_when_chosen(
    open_window: Callable[..., WindowRig],
) -> None:
    rig = open_window(session_on(Device()))
    rig.press("L")
    panel = rig.window.panels.camera
    rig.wait(lambda: len(panel.rows) == 10)
    reference = rig.window.page.pads["take reference"]
    assert panel.y() > reference.geometry().bottom()
    assert panel.in_sight.start == 0
    assert "rate" in [panel.rows[k].name for k in panel.in_sight]
    assert 0 < panel.in_sight.stop < 10
    assert hidden_words(panel.in_sight, 10) == f"{10 - panel.in_sight.stop} more below"
    rig.press("Up")
    assert panel.row.name == "delay"
    assert panel.in_sight.stop == 10
    assert "above" in hidden_words(panel.in_sight, 10)
    last = panel._row_box(9)
    assert last.bottom() <= panel.height() - 8.0 * panel._look.px(1) + 1


@pytest.mark.slow
def test_the_sheet_of_sources_leads_to_the_panel(open_window: Callable[..., WindowRig]) -> None:
    rig = open_window(session_on(Device()))
    rig.press("S")
    rig.window.sources._controls.click()
    assert not rig.window.sources.isVisible()
    assert rig.window.panels.camera.isVisible()
