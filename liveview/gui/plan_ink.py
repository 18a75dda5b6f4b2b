"""Drafting marks of the Plan page: dimension lines, mirrors, lenses, blade, lamp, camera."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPainterPath, QPolygonF

from liveview.gui.paint import pen, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded


def small_text(
    p: QPainter,
    look: Look,
    at: QPointF,
    text: str,
    *,
    colour: QColor = COLOURS.quiet,
    align: float = 0.0,
    size: Type = Type.SMALL,
    weight: Weight = Weight.PLAIN,
) -> float:
    """One line of text with its middle height at ``at``; returns its width.

    ``align`` 0 puts its left end there, 0.5 its middle, 1 its right end.
    """
    font = look.font(size, weight)
    width = text_width(font, text)
    p.setFont(font)
    p.setPen(colour)
    tall = look.text_px * size.value * 1.5
    box = QRectF(at.x() - align * width, at.y() - tall / 2, width + 2, tall)
    p.drawText(box, int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft), text)
    return width


def dimension(p: QPainter, look: Look, start: QPointF, end: QPointF) -> None:
    """A line with an arrow head at each end, along x or y."""
    p.setPen(pen(COLOURS.tick, look.line(1.0)))
    p.drawLine(start, end)
    along = end - start
    length = math.hypot(along.x(), along.y())
    head = look.px(1.0)
    if length < 2.2 * head:
        return
    unit = along / length
    side = QPointF(-unit.y(), unit.x()) * head * 0.32
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.tick)
    for tip, way in ((start, 1.0), (end, -1.0)):
        foot = tip + unit * head * way
        p.drawPolygon(QPolygonF([tip, foot + side, foot - side]))


def extension(p: QPainter, look: Look, start: QPointF, end: QPointF) -> None:
    """The thin line from a part to its dimension line."""
    p.setPen(pen(COLOURS.line, look.line(1.0)))
    p.drawLine(start, end)


def light(p: QPainter, look: Look, outline: Sequence[QPointF]) -> None:
    """A cone or beam of light."""
    shape = QPolygonF(list(outline))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(faded(COLOURS.brass, 0.10))
    p.drawPolygon(shape)
    p.setPen(pen(faded(COLOURS.brass, 0.55), look.line(1.0)))
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.drawPolygon(shape)


def mirror(p: QPainter, look: Look, at: QPointF, half: float, hollow: int, radius: float) -> None:
    """A hollow mirror in section; ``radius`` of its curve in pixels."""
    depth = min(radius - math.sqrt(max(radius**2 - half**2, 0.0)), half)
    depth = max(depth, look.px(0.5)) * hollow
    back = look.px(1.6) * hollow
    face = QPainterPath(QPointF(at.x() + depth, at.y() - half))
    face.quadTo(QPointF(at.x() - depth, at.y()), QPointF(at.x() + depth, at.y() + half))
    body = QPainterPath(face)
    body.lineTo(at.x() - back, at.y() + half)
    body.lineTo(at.x() - back, at.y() - half)
    body.closeSubpath()
    p.fillPath(body, COLOURS.raised)
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.line, look.line(1.0)))
    p.drawPath(body)
    p.setPen(pen(COLOURS.text, look.line(2.2)))
    p.drawPath(face)


def lens(p: QPainter, look: Look, at: QPointF, half: float) -> None:
    """A lens in section."""
    thick = max(look.px(1.1), half * 0.12)
    shape = QPainterPath(QPointF(at.x(), at.y() - half))
    shape.quadTo(QPointF(at.x() + 2 * thick, at.y()), QPointF(at.x(), at.y() + half))
    shape.quadTo(QPointF(at.x() - 2 * thick, at.y()), QPointF(at.x(), at.y() - half))
    p.fillPath(shape, faded(COLOURS.shade, 0.18))
    p.setPen(pen(COLOURS.text, look.line(1.6)))
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.drawPath(shape)


def lamp(p: QPainter, look: Look, at: QPointF, away: int) -> None:
    """A lamp in its housing; ``away`` is the side its light does not go to, -1 left or +1."""
    box = QRectF(at.x(), at.y() - look.px(1.2), away * look.px(3.0), look.px(2.4)).normalized()
    p.setPen(pen(COLOURS.tick, look.line(1.2)))
    p.setBrush(COLOURS.raised)
    p.drawRoundedRect(box, look.px(0.5), look.px(0.5))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.brass)
    p.drawEllipse(at, look.px(0.55), look.px(0.55))


def blade(p: QPainter, look: Look, tip: QPointF, up: int, *, wrong: bool = False) -> None:
    """A blade seen from its end, its edge at ``tip``; ``up`` +1 when it comes from above."""
    long, wide = look.px(5.0) * -up, look.px(0.55)
    colour = COLOURS.ember if wrong else COLOURS.shade
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(colour)
    p.drawPolygon(
        QPolygonF(
            [
                tip,
                QPointF(tip.x() - wide, tip.y() + long * 0.35),
                QPointF(tip.x() - wide, tip.y() + long),
                QPointF(tip.x() + wide, tip.y() + long),
                QPointF(tip.x() + wide, tip.y() + long * 0.35),
            ]
        )
    )


def camera(p: QPainter, look: Look, front: QPointF, looks: int) -> None:
    """A camera whose lens is at ``front``."""
    tube = QRectF(front.x(), front.y() - look.px(1.2), -looks * look.px(2.2), look.px(2.4))
    body = QRectF(
        front.x() - looks * look.px(2.2),
        front.y() - look.px(1.8),
        -looks * look.px(4.2),
        look.px(3.6),
    )
    p.setPen(pen(COLOURS.tick, look.line(1.2)))
    p.setBrush(COLOURS.raised)
    p.drawRect(tube.normalized())
    p.drawRoundedRect(body.normalized(), look.px(0.6), look.px(0.6))
    p.setPen(pen(COLOURS.text, look.line(2.0)))
    p.drawLine(
        QPointF(front.x(), front.y() - look.px(1.2)), QPointF(front.x(), front.y() + look.px(1.2))
    )


def plume(p: QPainter, look: Look, foot: QPointF, top: float) -> None:
    """The object: three wavering threads from ``foot`` up to the height ``top``."""
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(faded(COLOURS.text, 0.75), look.line(1.3), Qt.PenCapStyle.RoundCap))
    tall = foot.y() - top
    for offset in (-0.75, 0.0, 0.75):
        x = foot.x() + look.px(offset)
        thread = QPainterPath(QPointF(x, foot.y()))
        pieces = max(2, round(tall / look.px(3.2)))
        for k in range(pieces):
            low, high = foot.y() - tall * k / pieces, foot.y() - tall * (k + 1) / pieces
            sway = look.px(0.55) * (1 if k % 2 == 0 else -1)
            thread.quadTo(QPointF(x + sway, (low + high) / 2), QPointF(x, high))
        p.drawPath(thread)
