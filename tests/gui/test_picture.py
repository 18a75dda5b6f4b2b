from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtTest import QSignalSpy, QTest
from PyQt6.QtWidgets import QApplication
from support.readings import DISC, INSIDE, OUTSIDE, reading

from liveview.gui.picture import PictureWidget
from liveview.model import Disc

SIDE = 400
MIDDLE = QPoint(SIDE // 2, SIDE // 2)


@pytest.fixture
def picture(app: QApplication) -> PictureWidget:
    widget = PictureWidget()
    widget.resize(SIDE, SIDE)
    widget.show()
    widget.activateWindow()
    assert QTest.qWaitForWindowActive(widget)
    return widget


def colour(widget: PictureWidget, x: float, y: float) -> tuple[int, int, int]:
    """Blue, green, red of a point as painted."""
    pixel = widget.grab().toImage().pixelColor(round(x), round(y))
    return (pixel.blue(), pixel.green(), pixel.red())


def settle(widget: PictureWidget) -> None:
    """Let the view arrive."""
    for _ in range(30):
        widget.show_reading(reading())
        widget.repaint()


def test_the_disc_fills_the_circle_in_its_colour(picture: PictureWidget) -> None:
    spy = QSignalSpy(picture.painted)
    picture.show_reading(reading())
    picture.repaint()
    assert len(spy) == 1
    for x, y in ((200, 200), (200, 8), (8, 200), (392, 200), (200, 392)):
        assert colour(picture, x, y) == INSIDE
    # The corners of the square lie outside the circle: they belong to what is beneath.
    assert not picture.mask().contains(QPoint(6, 6))
    assert picture.mask().contains(QPoint(200, 2))


def test_without_a_disc_all_of_the_picture_is_shown(picture: PictureWidget) -> None:
    picture.show_reading(reading(disc=None))
    view = picture.view
    assert view is not None
    x, y = view.to_widget(DISC.cx, DISC.cy)
    assert colour(picture, x, y) == INSIDE
    x, y = view.to_widget(5, 90)
    assert colour(picture, x, y) == OUTSIDE


def test_dragging_the_middle_moves_the_disc(picture: PictureWidget) -> None:
    settle(picture)
    spy = QSignalSpy(picture.disc_placed)
    QTest.mousePress(picture, Qt.MouseButton.LeftButton, pos=MIDDLE)
    QTest.mouseMove(picture, MIDDLE + QPoint(6, 0))
    QTest.mouseMove(picture, MIDDLE + QPoint(40, -20))
    QTest.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=MIDDLE + QPoint(40, -20))
    (placed,) = spy[0]
    # Seen whole (the diagonal fits the circle), 400 px show 367 picture pixels.
    per_pixel = np.hypot(320, 180) / SIDE
    assert isinstance(placed, Disc)
    assert placed.by_hand
    assert placed.cx == pytest.approx(DISC.cx + 40 * per_pixel, abs=0.01)
    assert placed.cy == pytest.approx(DISC.cy - 20 * per_pixel, abs=0.01)
    assert placed.radius == DISC.radius


def test_dragging_the_rim_sizes_the_disc(picture: PictureWidget) -> None:
    settle(picture)
    spy = QSignalSpy(picture.disc_placed)
    rim = QPoint(SIDE - 3, SIDE // 2)
    QTest.mousePress(picture, Qt.MouseButton.LeftButton, pos=rim)
    QTest.mouseMove(picture, rim - QPoint(10, 0))
    QTest.mouseMove(picture, rim - QPoint(30, 0))
    QTest.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=rim - QPoint(30, 0))
    (placed,) = spy[0]
    per_pixel = np.hypot(320, 180) / SIDE
    assert placed.radius == pytest.approx(DISC.radius - 30 * per_pixel, abs=0.2)
    assert (placed.cx, placed.cy) == (DISC.cx, DISC.cy)


def test_a_double_click_asks_to_find_it(picture: PictureWidget) -> None:
    settle(picture)
    spy = QSignalSpy(picture.disc_placed)
    QTest.mouseDClick(picture, Qt.MouseButton.LeftButton, pos=MIDDLE)
    assert [list(call) for call in spy] == [[None]]


def test_a_click_alone_places_nothing(picture: PictureWidget) -> None:
    settle(picture)
    spy = QSignalSpy(picture.disc_placed)
    QTest.mouseClick(picture, Qt.MouseButton.LeftButton, pos=MIDDLE)
    assert len(spy) == 0


def test_placing_by_keys(picture: PictureWidget) -> None:
    settle(picture)
    picture.start_placing(True)
    spy = QSignalSpy(picture.disc_placed)
    QTest.keyClick(picture, Qt.Key.Key_Right)
    QTest.keyClick(picture, Qt.Key.Key_Up, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(picture, Qt.Key.Key_Plus)
    (placed,) = spy[2]
    assert (placed.cx, placed.cy, placed.radius) == (DISC.cx + 1, DISC.cy - 10, DISC.radius + 1)
    QTest.keyClick(picture, Qt.Key.Key_Return)
    assert not picture.placing


def test_a_held_picture_is_a_copy(picture: PictureWidget) -> None:
    shown = reading()
    picture.show_reading(shown)
    picture.hold_copy()
    shown.picture[:] = 0
    picture.repaint()
    assert colour(picture, 200, 200) == INSIDE
