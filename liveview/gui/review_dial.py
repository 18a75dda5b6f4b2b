"""The round instrument of the Review page: the disc, and the ring of time around it.

Press or drag on the ring to go to a moment; turn the wheel over it to see less or more time.
"""

from __future__ import annotations

import math

from PyQt6.QtCore import QPointF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPixmap, QWheelEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.dial import compass
from liveview.gui.paint import smooth
from liveview.gui.picture import PictureWidget
from liveview.gui.review_marks import ReviewMarks
from liveview.gui.review_ring import RingFace, RingGeometry, paint_face, paint_hand
from liveview.gui.theme import Look

ZOOM = 0.8
"""Share of the time shown that one notch of the wheel leaves."""


class ReviewDial(QWidget):
    """A square; the picture lies in its middle as a child."""

    sought = pyqtSignal(float)
    """Moment on the event's clock that was pressed or dragged to."""
    zoomed = pyqtSignal(float, float)
    """Factor of the time shown, and the moment to keep in its place."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._rings = RingGeometry.for_square(600.0, self._look.step_px)
        self._face = RingFace()
        self._time_s: float | None = None
        self._waiting = False
        self._still: QPixmap | None = None
        self._seeking = False
        self.picture = PictureWidget(self)
        self.picture.setAccessibleName("Picture of the event")
        self.marks = ReviewMarks(self.picture)
        self.setMouseTracking(True)
        self.setAccessibleName("Ring of time")

    def fit(self, size: int, look: Look) -> None:
        """Lay everything out for a square of this side."""
        self._look = look
        self._rings = RingGeometry.for_square(float(size), look.step_px)
        self.resize(size, size)
        disc = round(self._rings.disc)
        corner = round(size / 2 - disc)
        self.picture.set_look(look)
        self.picture.setGeometry(corner, corner, 2 * disc, 2 * disc)
        self.marks.set_look(look)
        self._still = None
        self.update()

    @property
    def rings(self) -> RingGeometry:
        """Radii as laid out."""
        return self._rings

    @property
    def face(self) -> RingFace:
        """What stands still."""
        return self._face

    def set_face(self, face: RingFace) -> None:
        """Change what stands still."""
        if face != self._face or face.envelope is not self._face.envelope:
            self._face = face
            self._still = None
            self.update()

    def set_hand(self, time_s: float | None, waiting: bool) -> None:
        """Where the replay stands; ``waiting`` while the picture is not there yet."""
        if (time_s, waiting) != (self._time_s, self._waiting):
            self._time_s, self._waiting = time_s, waiting
            self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        if self._still is None:
            self._still = self._draw_still()
        p = QPainter(self)
        smooth(p)
        p.drawPixmap(0, 0, self._still)
        if self._face.scale is not None and self._time_s is not None:
            paint_hand(p, self._rings, self._look, self._face.scale, self._time_s, self._waiting)
        p.end()

    def _draw_still(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        still = QPixmap(self.size() * ratio)
        still.setDevicePixelRatio(ratio)
        still.fill(Qt.GlobalColor.transparent)
        p = QPainter(still)
        smooth(p)
        paint_face(p, self._rings, self._look, self._face)
        p.end()
        return still

    # --- mouse

    def _moment(self, at: QPointF) -> float | None:
        """Event time under the mouse; None off the ring (when a drag is not under way)."""
        scale = self._face.scale
        off = at - self._rings.centre
        if scale is None:
            return None
        radius = math.hypot(off.x(), off.y())
        if not self._seeking and not self._rings.disc < radius < self._rings.size * 0.56:
            return None
        return scale.time(compass(off.x(), off.y()))

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton:
            return
        moment = self._moment(event.position())
        if moment is not None:
            self._seeking = True
            self.sought.emit(moment)

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        moment = self._moment(event.position())
        hand = Qt.CursorShape.PointingHandCursor
        self.setCursor(Qt.CursorShape.ArrowCursor if moment is None else hand)
        self.setToolTip("" if moment is None else "To this moment  (\u2190 \u2192)")
        if self._seeking and moment is not None:
            self.sought.emit(moment)

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        self._seeking = False

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is None or not event.angleDelta().y():
            return
        moment = self._moment(event.position())
        if moment is not None:
            self.zoomed.emit(ZOOM if event.angleDelta().y() > 0 else 1 / ZOOM, moment)
            event.accept()
