"""The round instrument as a widget: still rings kept as a picture, hands drawn over it."""

from __future__ import annotations

from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QPainter, QPaintEvent, QPixmap
from PyQt6.QtWidgets import QWidget

from liveview.gui.dial import DialGeometry
from liveview.gui.paint import smooth
from liveview.gui.picture import PictureWidget
from liveview.gui.ring import FaceValues, HandValues, paint_face, paint_hands
from liveview.gui.theme import Look


class DialWidget(QWidget):
    """A square; the picture lies in its middle as a child."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._geometry = DialGeometry.for_square(600.0, self._look.step_px)
        self._face_values = FaceValues(0.5, 0.05, False, False, None)
        self._hands = HandValues()
        self._still: QPixmap | None = None
        self._moving: QPixmap | None = None
        self.picture = PictureWidget(self)

    def fit(self, size: int, look: Look) -> None:
        """Lay everything out for a square of this side."""
        self._look = look
        self._geometry = DialGeometry.for_square(float(size), look.step_px)
        self.resize(size, size)
        disc = round(self._geometry.disc)
        corner = round(self._geometry.centre - disc)
        self.picture.set_look(look)
        self.picture.setGeometry(corner, corner, 2 * disc, 2 * disc)
        self._still = self._moving = None
        self.update()

    @property
    def geometry_of_rings(self) -> DialGeometry:
        """Radii as laid out."""
        return self._geometry

    @property
    def hands(self) -> HandValues:
        """What the hands show."""
        return self._hands

    @property
    def face(self) -> FaceValues:
        """What stands still."""
        return self._face_values

    def set_face(self, values: FaceValues) -> None:
        """Change what stands still."""
        if values != self._face_values:
            self._face_values = values
            self._still = self._moving = None
            self.update()

    def set_hands(self, values: HandValues) -> None:
        """Move the hands."""
        if values != self._hands:
            self._hands = values
            self._moving = None
            self.update()

    def point(self, angle_deg: float, radius: float) -> QPointF:
        """A point on a ring in this widget's coordinates."""
        return QPointF(*self._geometry.at(angle_deg, radius))

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        # The picture on top is repainted sixty times a second: what lies below it must be a copy.
        if self._moving is None:
            self._moving = self._draw_hands()
        painter.drawPixmap(0, 0, self._moving)
        painter.end()

    def _draw_hands(self) -> QPixmap:
        if self._still is None:
            self._still = self._blank()
            painter = QPainter(self._still)
            smooth(painter)
            paint_face(painter, self._geometry, self._look, self._face_values)
            painter.end()
        moving = self._still.copy()
        painter = QPainter(moving)
        smooth(painter)
        paint_hands(painter, self._geometry, self._look, self._hands)
        painter.end()
        return moving

    def _blank(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        pixmap = QPixmap(self.size() * ratio)
        pixmap.setDevicePixelRatio(ratio)
        pixmap.fill(Qt.GlobalColor.transparent)
        return pixmap
