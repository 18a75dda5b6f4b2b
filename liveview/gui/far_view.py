"""The blade reading for somebody who stands at the rig, three to five metres from the screen.

Letters are read with ease from about 20 minutes of arc and just so at 10 (ISO 9241-303 gives such
figures; from memory). On a 24 inch screen, 0.3 m tall, the number takes a third of the height:
0.1 m, or 69 minutes of arc at 5 m. The instruction takes a twelfth, 25 mm: 29 minutes at 3 m and
17 at 5 m. On a laptop's 0.19 m it is 18 at 3 m and 11 at 5 m.
"""

from __future__ import annotations

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QFont, QFontMetricsF, QMouseEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.dial import GAUGE_HALF, Shadow, uncut_to_angle
from liveview.gui.paint import pen, polar, sector, smooth
from liveview.gui.theme import COLOURS, FAMILY, Weight, faded

NUMBER_SHARE = 1 / 3
WORDS_SHARE = 1 / 12


class FarView(QWidget):
    """Number, ring and instruction over the whole window; a press or its key puts it away."""

    closed = pyqtSignal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._uncut: float | None = None
        self._target = (0.5, 0.05)
        self._words = ""
        self._shadow: Shadow | None = None
        self._steady = False
        # It hides the page: the pictures beneath need not be painted.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName("Blade reading from afar")
        self.setToolTip("Back to the page  (V)")
        self.hide()

    @property
    def words(self) -> str:
        """The instruction."""
        return self._words

    def show_values(
        self,
        uncut: float | None,
        target: tuple[float, float],
        words: str,
        shadow: Shadow | None,
        steady: bool,
    ) -> None:
        """New values; ``target`` is middle and half width of the band."""
        self._uncut, self._target, self._words = uncut, target, words
        self._shadow, self._steady = shadow, steady
        self.setAccessibleDescription(words)
        if self.isVisible():
            self.update()

    @property
    def reached(self) -> bool:
        """Inside the target band."""
        middle, half = self._target
        return self._uncut is not None and abs(self._uncut - middle) <= half

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        self.hide()
        self.closed.emit()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        p.fillRect(self.rect(), COLOURS.ground)
        height, width = float(self.height()), float(self.width())
        radius = min(0.43 * height, 0.45 * width)
        centre = QPointF(width / 2, 0.02 * height + radius)
        self._paint_ring(p, centre, radius)
        self._paint_number(p, centre, height)
        self._paint_words(p, width, height)
        p.end()

    def _paint_ring(self, p: QPainter, centre: QPointF, radius: float) -> None:
        inner = radius * 0.85
        p.fillPath(
            sector(centre, inner, radius, -GAUGE_HALF, 2 * GAUGE_HALF), faded(COLOURS.line, 0.9)
        )
        middle, half = self._target
        low, high = uncut_to_angle(middle - half), uncut_to_angle(middle + half)
        band = COLOURS.brass if self.reached else COLOURS.brass_dim
        p.fillPath(sector(centre, inner, radius, low, high - low), band)
        if self._shadow is not None and not self._shadow.even:
            self._paint_shadow(p, centre, inner, self._shadow)
        if self._uncut is None:
            return
        angle = uncut_to_angle(self._uncut)
        p.setPen(pen(COLOURS.ground, radius * 0.05))
        p.drawLine(polar(centre, inner * 0.98, angle), polar(centre, radius * 1.02, angle))
        p.setPen(pen(COLOURS.text, radius * 0.03))
        p.drawLine(polar(centre, inner * 0.95, angle), polar(centre, radius * 1.03, angle))

    def _paint_shadow(self, p: QPainter, centre: QPointF, inner: float, shadow: Shadow) -> None:
        """A bar on the dark side of the disc."""
        half = 35.0
        p.fillPath(
            sector(centre, inner * 0.88, inner * 0.95, shadow.angle_deg - half, 2 * half),
            COLOURS.shade,
        )

    def _paint_number(self, p: QPainter, centre: QPointF, height: float) -> None:
        text = "\u2013" if self._uncut is None else f"{100 * self._uncut:.0f}"
        font = _font(height * NUMBER_SHARE, Weight.STRONG)
        p.setFont(font)
        p.setPen(COLOURS.brass if self.reached else COLOURS.text)
        metrics = QFontMetricsF(font)
        tall = metrics.capHeight()
        unit = _font(height * WORDS_SHARE, Weight.FIRM)
        unit_width = QFontMetricsF(unit).horizontalAdvance("%")
        x = centre.x() - (metrics.horizontalAdvance(text) + unit_width) / 2
        base = centre.y() + tall / 2
        p.drawText(QPointF(x, base), text)
        p.setFont(unit)
        p.setPen(COLOURS.quiet)
        p.drawText(QPointF(x + metrics.horizontalAdvance(text), base), "%")
        small = _font(height * 0.05, Weight.PLAIN)
        p.setFont(small)
        words = "uncut, steady" if self._steady else "uncut"
        box = QRectF(centre.x() - height, base + 0.03 * height, 2 * height, 0.08 * height)
        p.drawText(box, int(Qt.AlignmentFlag.AlignHCenter), words)

    def _paint_words(self, p: QPainter, width: float, height: float) -> None:
        size = height * WORDS_SHARE
        font = _font(size, Weight.STRONG)
        wide = QFontMetricsF(font).horizontalAdvance(self._words)
        if wide > 0.96 * width:
            font = _font(size * 0.96 * width / wide, Weight.STRONG)
        p.setFont(font)
        p.setPen(COLOURS.brass if self.reached else COLOURS.text)
        box = QRectF(0, 0.86 * height, width, 0.13 * height)
        p.drawText(box, int(Qt.AlignmentFlag.AlignCenter), self._words)


def _font(size_px: float, weight: Weight) -> QFont:
    """A font whose capitals are about ``0.7 size_px`` tall."""
    font = QFont(FAMILY)
    font.setPixelSize(max(9, round(size_px)))
    font.setWeight(weight.value)
    return font
