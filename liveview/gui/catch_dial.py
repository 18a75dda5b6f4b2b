"""The disc with the memory ring around it; the ring's handles are drawn with the mouse."""

from __future__ import annotations

import math
from dataclasses import replace

from PyQt6.QtCore import QPointF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPixmap, QWheelEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.catch_ring import (
    RingGeometry,
    RingValues,
    angle_to_time,
    handle_at,
    handy,
    paint_ring,
)
from liveview.gui.dial import compass
from liveview.gui.paint import smooth
from liveview.gui.picture import PictureWidget
from liveview.gui.theme import Look
from liveview.gui.words import seconds

SETTINGS = {"before": "pre_trigger_s", "after": "post_trigger_s"}
"""Handles and the settings they change."""

REACH = 2.6
"""How near to a handle a press takes it, steps."""


class CatchDial(QWidget):
    """A square; the picture lies in its middle as a child."""

    wanted = pyqtSignal(str, float)
    """A setting of ``catch`` and its new value, when a handle is let go."""
    turned = pyqtSignal(str, int)
    """A setting of ``catch`` and a step of the wheel."""
    refused = pyqtSignal()
    """A handle was drawn further than the memory reaches."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._geometry = RingGeometry.for_square(600.0, self._look.step_px)
        self._values = RingValues()
        self._held: str = ""
        self._draft: float | None = None
        self._beyond = False
        self._ring: QPixmap | None = None
        self.setMouseTracking(True)
        self.setAccessibleName("Memory around a spark")
        self.picture = PictureWidget(self)
        self.picture.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.picture.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def fit(self, size: int, look: Look) -> None:
        """Lay everything out for a square of this side."""
        self._look = look
        self._geometry = RingGeometry.for_square(float(size), look.step_px)
        self.resize(size, size)
        disc = round(self._geometry.disc)
        corner = round(size / 2 - disc)
        self.picture.set_look(look)
        self.picture.setGeometry(corner, corner, 2 * disc, 2 * disc)
        self._ring = None
        self.update()

    @property
    def values(self) -> RingValues:
        """What the ring shows, a handle under way included."""
        if self._draft is None:
            return replace(self._values, hot=self._held)
        kept = {"pre" if self._held == "before" else "post": self._draft}
        return replace(self._values, hot=self._held, **kept)  # type: ignore[arg-type]

    def show_values(self, values: RingValues) -> None:
        """New values; the scale stays as it is while a handle is held."""
        if self._draft is not None:
            values = replace(values, span=self._values.span)
        if values != self._values:
            self._values = values
            self._redraw()

    def handle(self, name: str) -> QPointF:
        """Where a handle is, in this widget; ``name`` is "before" or "after"."""
        return handle_at(self._geometry, self.values, name)

    def _redraw(self) -> None:
        self._ring = None
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        # The picture on top is repainted sixty times a second: what lies below it must be a copy.
        if self._ring is None:
            self._ring = self._draw()
        painter.drawPixmap(0, 0, self._ring)
        painter.end()

    def _draw(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        pixmap = QPixmap(self.size() * ratio)
        pixmap.setDevicePixelRatio(ratio)
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        smooth(painter)
        paint_ring(painter, self._geometry, self._look, self.values)
        painter.end()
        return pixmap

    # --- handles

    def _near(self, at: QPointF) -> str:
        """The handle a press would take; empty for none, and while an event is under way.

        Where both lie together each is taken from its own side.
        """
        if self._values.event is not None:
            return ""
        reach = self._look.px(REACH)
        apart = {name: _distance(at, self.handle(name)) for name in SETTINGS}
        own = "before" if at.x() < self._geometry.centre.x() else "after"
        name = min(apart, key=lambda key: (apart[key] > reach, key != own, apart[key]))
        return name if apart[name] <= reach else ""

    def _time(self, at: QPointF) -> float:
        """Seconds from the present at a point: before and after on the handle's own side only."""
        off = at - self._geometry.centre
        time_s = angle_to_time(compass(off.x(), off.y()), self._values.span)
        return max(-time_s if self._held == "before" else time_s, 0.0)

    def _drawn_to(self, at: QPointF) -> float:
        time_s = self._time(at)
        limit = self._values.limit
        self._beyond = limit is not None and self._held == "before" and time_s > limit
        if self._beyond:
            assert limit is not None
            return math.floor(limit * 10) / 10
        return handy(time_s)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton:
            return
        self._held = self._near(event.position())
        if self._held:
            self._draft = self._values.pre if self._held == "before" else self._values.post
            self._redraw()

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        if self._draft is None:
            near = self._near(event.position())
            self.setCursor(Qt.CursorShape.OpenHandCursor if near else Qt.CursorShape.ArrowCursor)
            self.setToolTip("Draw it: more or less is kept  (\u2190 \u2192)" if near else "")
            return
        self.setCursor(Qt.CursorShape.ClosedHandCursor)
        self._draft = self._drawn_to(event.position())
        more = "  all the memory holds" if self._beyond else ""
        self.picture.set_chip(f"{seconds(self._draft)} {self._held}{more}")
        self._redraw()

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        draft, held = self._draft, self._held
        self._draft, self._held = None, ""
        self.picture.set_chip("")
        self._redraw()
        if draft is not None:
            self.wanted.emit(SETTINGS[held], draft)
            if self._beyond:
                self.refused.emit()
        self._beyond = False

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is None or not event.angleDelta().y():
            return
        left = event.position().x() < self.width() / 2
        name = SETTINGS["before" if left else "after"]
        self.turned.emit(name, 1 if event.angleDelta().y() > 0 else -1)


def _distance(a: QPointF, b: QPointF) -> float:
    return math.hypot(a.x() - b.x(), a.y() - b.y())
