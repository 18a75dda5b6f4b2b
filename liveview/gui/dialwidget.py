"""The round instrument as a widget: still rings kept as a picture, hands drawn over it."""

from __future__ import annotations

import math
from collections.abc import Callable

from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QPainter, QPaintEvent, QPixmap, QRegion
from PyQt6.QtWidgets import QWidget

from liveview.gui.dial import DialGeometry
from liveview.gui.paint import smooth
from liveview.gui.picture import PictureWidget
from liveview.gui.ring import (
    FaceValues,
    HandValues,
    MemoryValues,
    paint_face,
    paint_hands,
    paint_legend_words,
    paint_memory,
)
from liveview.gui.theme import Look


class DialWidget(QWidget):
    """A square; the picture lies in its middle as a child."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._geometry = DialGeometry.for_square(600.0, self._look.step_px)
        self._face_values = FaceValues(0.5, 0.05, False, False, None)
        self._hands = HandValues()
        self._memory = MemoryValues()
        self._layers: list[QPixmap] = []
        self._rings = QRegion()
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
        self._rings = ring_region(self._geometry)
        self._layers = []
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
            self._changed(0)

    def set_hands(self, values: HandValues) -> None:
        """Move the hands."""
        if values != self._hands:
            layer = 3 if values.legend == self._hands.legend else 1
            self._hands = values
            self._changed(layer)

    def set_memory(self, values: MemoryValues) -> None:
        """Change what the memory ring shows."""
        if values != self._memory:
            self._memory = values
            self._changed(2)

    def _changed(self, layer: int) -> None:
        """A layer and those above it are drawn anew; neither the disc nor the corners are."""
        del self._layers[layer:]
        self.update(self._rings)

    def point(self, angle_deg: float, radius: float) -> QPointF:
        """A point on a ring in this widget's coordinates."""
        return QPointF(*self._geometry.at(angle_deg, radius))

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        # The picture on top is repainted sixty times a second: what lies below it must be a copy.
        painter.drawPixmap(0, 0, self._drawn())
        painter.end()

    def _drawn(self) -> QPixmap:
        """Face, legend, memory and hands, each over a copy of the one below."""
        g, look = self._geometry, self._look
        steps: tuple[Callable[[QPainter], None], ...] = (
            lambda p: paint_face(p, g, look, self._face_values),
            lambda p: paint_legend_words(p, g, look, self._hands.legend),
            lambda p: paint_memory(p, g, look, self._memory),
            lambda p: paint_hands(p, g, look, self._hands),
        )
        for paint in steps[len(self._layers) :]:
            layer = self._layers[-1].copy() if self._layers else self._blank()
            painter = QPainter(layer)
            smooth(painter)
            paint(painter)
            painter.end()
            self._layers.append(layer)
        return self._layers[-1]

    def _blank(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        pixmap = QPixmap(self.size() * ratio)
        pixmap.setDevicePixelRatio(ratio)
        pixmap.fill(Qt.GlobalColor.transparent)
        return pixmap


def ring_region(g: DialGeometry, bands: int = 28) -> QRegion:
    """The rings without the disc and the square's corners, as few rectangles."""
    outer, inner, centre = g.size / 2, g.disc * 0.985, g.centre
    region = QRegion()
    for band in range(bands):
        top, bottom = g.size * band / bands, g.size * (band + 1) / bands
        nearest = min(max(centre, top), bottom) - centre
        farthest = max(abs(top - centre), abs(bottom - centre))
        reach = math.sqrt(max(outer**2 - nearest**2, 0.0))
        hole = math.sqrt(max(inner**2 - farthest**2, 0.0))
        row = math.floor(top), math.ceil(bottom) - math.floor(top)
        if hole == 0.0:
            region += QRegion(math.floor(centre - reach), row[0], math.ceil(2 * reach), row[1])
            continue
        wide = math.ceil(reach - hole)
        region += QRegion(math.floor(centre - reach), row[0], wide, row[1])
        region += QRegion(math.floor(centre + hole), row[0], wide, row[1])
    return region
