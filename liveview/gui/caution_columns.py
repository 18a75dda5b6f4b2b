"""Cautions painted as headed paragraphs in two columns."""

from __future__ import annotations

from collections.abc import Sequence

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QFontMetricsF, QPainter

from liveview.gui.theme import COLOURS, Look, Type, Weight

WRAP = int(Qt.TextFlag.TextWordWrap)


def paint_cautions(
    p: QPainter, body: QRectF, look: Look, cautions: Sequence[tuple[str, str]]
) -> None:
    """Paint headings and paragraphs into ``body``; the left column takes the odd one.

    Parameters
    ----------
    p
        An open painter of the sheet.
    body
        Where they go, in the sheet's pixels.
    look
        Sizes and fonts.
    cautions
        (heading, paragraph), in reading order.
    """
    gap = look.px(5)
    width = (body.width() - gap) / 2
    half = (len(cautions) + 1) // 2
    for column in range(2):
        x, y = body.left() + column * (width + gap), body.top()
        for heading, words in cautions[column * half : (column + 1) * half]:
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
