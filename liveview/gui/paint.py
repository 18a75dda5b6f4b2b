"""Small drawing helpers shared by everything that is painted by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PyQt6.QtCore import QPointF, QRect, QRectF, Qt
from PyQt6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF

from liveview.gui.theme import COLOURS, Look


def pen(colour: QColor, width: float = 1.0, cap: Qt.PenCapStyle = Qt.PenCapStyle.FlatCap) -> QPen:
    """A solid pen."""
    made = QPen(colour, width)
    made.setCapStyle(cap)
    return made


def smooth(painter: QPainter) -> None:
    """Edges without steps, for shapes, text and pictures."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setRenderHint(QPainter.RenderHint.TextAntialiasing)
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)


def paint_ground(painter: QPainter, area: QRect, look: Look) -> None:
    """The ground and the edge of a panel that covers ``area``."""
    painter.setPen(pen(COLOURS.line, look.line()))
    painter.setBrush(COLOURS.ground)
    corner = look.px(1.5)
    painter.drawRoundedRect(QRectF(area).adjusted(1, 1, -1, -1), corner, corner)


def circle(centre: QPointF, radius: float) -> QRectF:
    """The square around a circle."""
    return QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)


def arc(
    painter: QPainter, centre: QPointF, radius: float, start_deg: float, sweep_deg: float
) -> None:
    """An arc with the present pen; compass angles, clockwise for a positive sweep."""
    painter.drawArc(circle(centre, radius), round((90.0 - start_deg) * 16), round(-sweep_deg * 16))


def sector(
    centre: QPointF, inner: float, outer: float, start_deg: float, sweep_deg: float
) -> QPainterPath:
    """The piece of a ring between two radii; compass angles."""
    path = QPainterPath()
    path.arcMoveTo(circle(centre, outer), 90.0 - start_deg)
    path.arcTo(circle(centre, outer), 90.0 - start_deg, -sweep_deg)
    path.arcTo(circle(centre, inner), 90.0 - start_deg - sweep_deg, sweep_deg)
    path.closeSubpath()
    return path


def polar(centre: QPointF, radius: float, angle_deg: float) -> QPointF:
    """Point at a compass angle."""
    radians = math.radians(angle_deg)
    return QPointF(centre.x() + radius * math.sin(radians), centre.y() - radius * math.cos(radians))


def polygon(points: Sequence[tuple[float, float]]) -> QPolygonF:
    """A Qt polygon from plain pairs."""
    return QPolygonF([QPointF(x, y) for x, y in points])


def ring_text(
    painter: QPainter, centre: QPointF, radius: float, angle_deg: float, text: str
) -> None:
    """Text that follows a ring, centred at a compass angle.

    ``radius`` is where the middle of the letters lies. In the lower half the letters stand with
    their heads towards the centre, so that they are read from left to right.
    """
    metrics = QFontMetricsF(painter.font())
    below = 95.0 < angle_deg % 360.0 < 265.0
    widths = [metrics.horizontalAdvance(letter) for letter in text]
    turn = -1.0 if below else 1.0
    at = angle_deg - turn * math.degrees(sum(widths) / radius) / 2
    drop = metrics.capHeight() / 2
    for letter, width in zip(text, widths, strict=True):
        half = turn * math.degrees(width / radius) / 2
        at += half
        painter.save()
        painter.translate(polar(centre, radius, at))
        painter.rotate(at + (180.0 if below else 0.0))
        painter.drawText(QPointF(-width / 2, drop), letter)
        painter.restore()
        at += half


def star(centre: QPointF, radius: float, points: int = 4) -> QPolygonF:
    """A star: the mark of a spark."""
    return QPolygonF(
        [
            polar(centre, radius if k % 2 == 0 else radius * 0.36, 180.0 * k / points)
            for k in range(2 * points)
        ]
    )


def text_width(font: QFont, text: str) -> float:
    """Width of one line in pixels."""
    return QFontMetricsF(font).horizontalAdvance(text)
