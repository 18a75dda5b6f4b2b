"""The cautions in full, over the Catch page."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QFontMetricsF, QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.catch_words import CAUTIONS
from liveview.gui.overlay import Overlay
from liveview.gui.theme import COLOURS, Type, Weight

WRAP = int(Qt.TextFlag.TextWordWrap)


class CautionSheet(Overlay):
    """One paragraph for each danger, in two columns."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__("Before a spark", parent)

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (124.0, 52.0)

    def words(self) -> str:
        """All it says."""
        return "\n".join(f"{heading}: {words}" for heading, words in CAUTIONS)

    def paint_sheet(self, p: QPainter) -> None:
        """Headings and paragraphs."""
        look, body = self.look, self.body_rect()
        gap = look.px(5)
        width = (body.width() - gap) / 2
        half = (len(CAUTIONS) + 1) // 2
        for column in range(2):
            x, y = body.left() + column * (width + gap), body.top()
            for heading, words in CAUTIONS[column * half : (column + 1) * half]:
                p.setFont(look.font(Type.BODY, Weight.STRONG))
                p.setPen(COLOURS.brass)
                p.drawText(QRectF(x, y, width, look.px(3)), 0, heading)
                font = look.font()
                box = QRectF(x, y + look.px(3), width, body.height())
                p.setFont(font)
                p.setPen(COLOURS.text)
                p.drawText(box, WRAP, words)
                high = QFontMetricsF(font).boundingRect(box, WRAP, words).height()
                y += look.px(3) + high + look.px(2.4)
