"""Paints the words on the audience's screen: large, few, and only what belongs to the picture."""

from __future__ import annotations

from functools import lru_cache

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QFont, QFontMetricsF, QLinearGradient, QPainter

from liveview.gui.audience_scene import Legend, Places, Words
from liveview.gui.legend import legend_colours
from liveview.gui.paint import pen, smooth, text_width
from liveview.gui.theme import COLOURS, FAMILY, Weight

LARGEST, SMALLEST = 6.4, 2.4
"""Sizes of a caption, units."""

WRAP = Qt.TextFlag.TextWordWrap
LEFT = Qt.AlignmentFlag.AlignLeft
TOP = Qt.AlignmentFlag.AlignTop
BOTTOM = Qt.AlignmentFlag.AlignBottom
MIDDLE = Qt.AlignmentFlag.AlignVCenter


def type_of(pixels: float, weight: Weight = Weight.PLAIN) -> QFont:
    """The typeface in a size."""
    font = QFont(FAMILY)
    font.setPixelSize(max(8, round(pixels)))
    font.setWeight(weight.value)
    return font


def fitting(
    text: str,
    box: QRectF,
    unit: float,
    weight: Weight = Weight.FIRM,
    *,
    largest: float = LARGEST,
    smallest: float = SMALLEST,
) -> QFont:
    """The largest type, from ``largest`` to ``smallest`` units, in which all of it fits."""
    room = (box.width(), box.height())
    return type_of(_fitting_px(text, room, (largest * unit, smallest * unit), weight), weight)


@lru_cache(maxsize=64)
def _fitting_px(
    text: str, room: tuple[float, float], sizes: tuple[float, float], weight: Weight
) -> float:
    size, smallest = sizes
    longest = max(text.split(), key=len, default="")
    while size > smallest:
        metrics = QFontMetricsF(type_of(size, weight))
        needed = metrics.boundingRect(QRectF(0, 0, room[0], 1e5), int(WRAP), text)
        if needed.height() <= room[1] and metrics.horizontalAdvance(longest) <= room[0]:
            return size
        size *= 0.94
    return smallest


def paint_words(p: QPainter, at: Places, words: Words) -> None:
    """All of them."""
    smooth(p)
    _top(p, at, words)
    if words.caption:
        p.setFont(fitting(words.caption, at.caption, at.unit))
        p.setPen(COLOURS.text)
        p.drawText(at.caption, int(LEFT | MIDDLE | WRAP), words.caption)
    if words.legend is not None:
        _legend(p, at, words.legend)
    if words.stalled:
        _stalled(p, at)


def paint_title(p: QPainter, at: Places, words: Words) -> None:
    """In place of a picture that has not come yet: the title inside the empty disc."""
    smooth(p)
    square = QRectF(at.disc_x, at.disc_y, at.disc, at.disc)
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.line, max(1.0, at.unit * 0.15)))
    p.drawEllipse(square.adjusted(1, 1, -1, -1))
    inset = at.disc * 0.18
    box = square.adjusted(inset, inset, -inset, -inset)
    p.setFont(fitting(words.title, box, at.unit * 1.2))
    p.setPen(COLOURS.quiet)
    p.drawText(box, int(Qt.AlignmentFlag.AlignCenter | WRAP), words.title)


def _top(p: QPainter, at: Places, words: Words) -> None:
    """The clock, and what is unusual about the picture: below it, or beside it in a low box."""
    box, unit = at.top, at.unit
    low = box.height() < 8 * unit
    large = 3.2 if low else 4.2
    if words.clock:
        p.setFont(type_of(large * unit, Weight.FIRM))
        p.setPen(COLOURS.quiet)
        p.drawText(
            QRectF(box.left(), box.top(), box.width(), 5 * unit), int(LEFT | TOP), words.clock
        )
        wide = text_width(p.font(), words.clock) + 3 * unit
        box = (
            box.adjusted(wide, 0.4 * unit, 0, 0) if low else box.adjusted(0, 6 * unit, 0, 4 * unit)
        )
    if words.mark:
        p.setFont(type_of(2.7 * unit, Weight.STRONG))
        p.setPen(COLOURS.brass)
        p.drawText(box, int(LEFT | TOP | WRAP), words.mark)


def _legend(p: QPainter, at: Places, legend: Legend) -> None:
    """What is seen, and the scale below it."""
    unit, box = at.unit, at.legend
    bar = QRectF(box.left(), box.bottom() - 5.2 * unit, min(box.width(), 44 * unit), 1.5 * unit)
    low = bar.top() - 1.2 * unit if legend.palette else box.bottom()
    over = QRectF(box.left(), box.top(), box.width(), low - box.top())
    p.setFont(fitting(legend.words, over, unit, largest=2.6, smallest=1.6))
    p.setPen(COLOURS.text)
    p.drawText(over, int(LEFT | BOTTOM | WRAP), legend.words)
    if not legend.palette:
        return
    colours = legend_colours(legend.palette)
    gradient = QLinearGradient(bar.topLeft(), bar.topRight())
    for k, colour in enumerate(colours):
        gradient.setColorAt(k / (len(colours) - 1), colour)
    p.fillRect(bar, gradient)
    p.setFont(type_of(2.2 * unit))
    p.setPen(COLOURS.quiet)
    row = QRectF(bar.left(), bar.bottom() + 0.6 * unit, bar.width(), 3 * unit)
    sides = (LEFT, Qt.AlignmentFlag.AlignHCenter, Qt.AlignmentFlag.AlignRight)
    for side, text in zip(sides, legend.ends, strict=True):
        p.drawText(row, int(side | TOP), text)


def _stalled(p: QPainter, at: Places) -> None:
    """A small sign at the disc's lower right: two strokes in a ring. The picture stands still."""
    radius = 1.5 * at.unit
    corner = QPointF(at.disc_x + at.disc - 2.2 * radius, at.disc_y + at.disc - 2.2 * radius)
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.tick, max(1.0, 0.22 * at.unit)))
    p.drawEllipse(corner, radius, radius)
    for off in (-0.35, 0.35):
        x = corner.x() + off * radius
        p.drawLine(QPointF(x, corner.y() - 0.45 * radius), QPointF(x, corner.y() + 0.45 * radius))


def paint_simulated(p: QPainter, at: Places) -> None:
    """The label of the simulated rig, small in the disc's lower left corner."""
    font = type_of(2.0 * at.unit, Weight.STRONG)
    wide = text_width(font, "SIMULATED")
    x = at.disc_x + 0.4 * at.unit
    p.setFont(font)
    p.setPen(COLOURS.quiet)
    box = QRectF(x, at.disc_y + at.disc - 2.6 * at.unit, wide + 4, 2.6 * at.unit)
    p.drawText(box, int(LEFT | BOTTOM), "SIMULATED")
