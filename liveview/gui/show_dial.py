"""The programme ring as a widget, with the small copy of the audience's screen inside.

Mouse: a press on a station goes to that caption; a press on the copy points the spotlight, with
Shift it takes the edge of the wipe.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPixmap
from PyQt6.QtWidgets import QWidget

from liveview.gui.audience_frame import AudienceFrame, image_of
from liveview.gui.dial import compass
from liveview.gui.paint import pen, smooth
from liveview.gui.show_ring import (
    ShowGeometry,
    ShowValues,
    paint_show_ring,
    station_at,
)
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.imaging.cv import cv2
from liveview.model import Bytes

COPY_S = 0.032
"""The small copy changes this often at most."""


class SmallCopy(QWidget):
    """What was sent to the audience, small."""

    pointed = pyqtSignal(float, float)
    """Place in the disc, -1..1."""
    edge_drawn = pyqtSignal(float)
    """Share of the disc's width."""

    def __init__(
        self, frame: AudienceFrame, parent: QWidget, clock: Callable[[], float] = time.perf_counter
    ) -> None:
        super().__init__(parent)
        self._source = frame
        self._clock = clock
        self._next_s = 0.0
        self._halved: Bytes | None = None
        self.setAccessibleName("What the audience sees")
        self.setToolTip("Draw: the spotlight  (L); with Shift the wipe  (W)")
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setCursor(Qt.CursorShape.CrossCursor)

    def follow(self) -> bool:
        """A new frame was sent: copy it, if the last copy is old enough; True when it was."""
        now = self._clock()
        sent = self._source.sent
        if now < self._next_s or sent is None or not self.isVisible():
            return False
        self._next_s = now + COPY_S
        half = (max(sent.shape[1] // 2, 1), max(sent.shape[0] // 2, 1))
        while half[0] > 2 * self.width() * self.devicePixelRatioF():
            half = (half[0] // 2, half[1] // 2)
        self._halved = np.asarray(cv2.resize(sent, half, interpolation=cv2.INTER_AREA), np.uint8)
        self.update()
        return True

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        if self._halved is None:
            p.fillRect(self.rect(), COLOURS.ground)
        else:
            p.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            p.drawImage(self.rect(), image_of(self._halved))
        p.setPen(pen(COLOURS.line, 1.0))
        p.drawRect(QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5))
        p.end()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        self._point(event)

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        self._point(event)

    def _point(self, event: QMouseEvent | None) -> None:
        if event is None or not event.buttons() & Qt.MouseButton.LeftButton:
            return
        at, width = self._source.places, self._source.size[0]
        scale = width / max(self.width(), 1)
        x = (event.position().x() * scale - at.disc_x) / at.disc
        y = (event.position().y() * scale - at.disc_y) / at.disc
        if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self.edge_drawn.emit(min(max(x, 0.0), 1.0))
        elif math.hypot(2 * x - 1, 2 * y - 1) <= 1.15:
            self.pointed.emit(2 * x - 1, 2 * y - 1)


class ShowDial(QWidget):
    """A square."""

    station_pressed = pyqtSignal(int)

    def __init__(self, frame: AudienceFrame, parent: QWidget) -> None:
        super().__init__(parent)
        self._source = frame
        self._look = Look()
        self._geometry = ShowGeometry.for_square(600.0, self._look.step_px)
        self._values = ShowValues()
        self._above = self._below = ""
        self._calm = True
        self._ring: QPixmap | None = None
        self.copy = SmallCopy(frame, self)
        self.setAccessibleName("Programme of the show")
        self.setToolTip("Press a caption to go there  (PgUp, PgDown)")

    @property
    def values(self) -> ShowValues:
        """What the ring shows."""
        return self._values

    def fit(self, size: int, look: Look) -> None:
        """Lay everything out for a square of this side."""
        self._look = look
        self._geometry = ShowGeometry.for_square(float(size), look.step_px)
        self.resize(size, size)
        self.fit_copy()
        self._redraw()

    def fit_copy(self) -> None:
        """Give the small copy the shape of the audience's screen."""
        width, height = self._source.size
        aspect = width / height if width and height else 16 / 9
        self.copy.setGeometry(self._geometry.copy_box(aspect).toRect())

    def show_values(self, values: ShowValues, above: str, below: str, *, calm: bool) -> None:
        """New values, with words above and below the copy."""
        now = (values, above, below, calm)
        if now != (self._values, self._above, self._below, self._calm):
            self._values, self._above, self._below, self._calm = now
            self._redraw()

    def words(self) -> str:
        """The words above and below the copy."""
        return f"{self._above}\n{self._below}"

    def _redraw(self) -> None:
        self._ring = None
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        if self._ring is None:
            self._ring = self._draw()
        p.drawPixmap(0, 0, self._ring)
        p.end()

    def _draw(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        pixmap = QPixmap(self.size() * ratio)
        pixmap.setDevicePixelRatio(ratio)
        pixmap.fill(Qt.GlobalColor.transparent)
        p = QPainter(pixmap)
        smooth(p)
        paint_show_ring(p, self._geometry, self._look, self._values)
        self._paint_words(p)
        p.end()
        return pixmap

    def _paint_words(self, p: QPainter) -> None:
        look, box = self._look, QRectF(self.copy.geometry())
        middle = self._geometry.centre.x()
        p.setFont(look.font(Type.LEAD, Weight.STRONG))
        p.setPen(COLOURS.text if self._calm else COLOURS.ember)
        wide = box.width() * 0.8
        over = QRectF(middle - wide / 2, box.top() - look.px(5), wide, look.px(4))
        p.drawText(over, int(Qt.AlignmentFlag.AlignCenter), self._above)
        p.setFont(look.font(Type.BODY, Weight.FIRM))
        p.setPen(COLOURS.quiet)
        under = QRectF(middle - wide / 2, box.bottom() + look.px(1), wide, look.px(6))
        flags = Qt.AlignmentFlag.AlignHCenter | Qt.TextFlag.TextWordWrap
        p.drawText(under, int(flags), self._below)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton:
            return
        off: QPointF = event.position() - self._geometry.centre
        if not self._geometry.band_in <= math.hypot(off.x(), off.y()) <= self._geometry.band_out:
            return
        station = station_at(len(self._values.captions), compass(off.x(), off.y()))
        if station is not None:
            self.station_pressed.emit(station)
