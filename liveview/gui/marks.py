"""The instrument's signs, drawn in a square: a shape for every state, so that colour only helps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QPainter, QPainterPath

from liveview.gui.paint import arc, circle, pen, star
from liveview.gui.theme import COLOURS, Look, faded
from liveview.model import ArmState, CalibrationKind

Mark = Callable[[QPainter, QRectF, Look], None]
"""Draws itself into a square."""


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A sign with its state; two of the same state are equal, so nothing is painted twice."""

    stroke: Callable[..., None]
    state: tuple[object, ...]

    def __call__(self, p: QPainter, box: QRectF, look: Look) -> None:
        self.stroke(p, box, look, *self.state)


def calibration_mark(kind: CalibrationKind, has: bool, progress: float | None) -> Mark:
    """Dark: an empty disc. Open: a full one. Reference: cut in half. Ringed in brass when taken."""
    return _Drawn(_calibration_mark, (kind, has, progress))


def _calibration_mark(
    p: QPainter,
    box: QRectF,
    look: Look,
    kind: CalibrationKind,
    has: bool,
    progress: float | None,
) -> None:
    centre, radius = box.center(), box.width() / 2
    inner = radius * 0.56
    colour = COLOURS.text if has else COLOURS.tick
    p.setPen(pen(colour, look.line(1.4)))
    p.setBrush(colour if kind is CalibrationKind.OPEN else Qt.BrushStyle.NoBrush)
    p.drawEllipse(centre, inner, inner)
    if kind is CalibrationKind.REFERENCE:
        half = QPainterPath()
        half.moveTo(centre)
        half.arcTo(circle(centre, inner), -90.0, 180.0)
        half.closeSubpath()
        p.fillPath(half, colour)
    p.setBrush(Qt.BrushStyle.NoBrush)
    if progress is not None:
        p.setPen(pen(COLOURS.line, look.line(3)))
        p.drawEllipse(centre, radius * 0.88, radius * 0.88)
        p.setPen(pen(COLOURS.brass, look.line(3)))
        arc(p, centre, radius * 0.88, 0.0, 360.0 * progress)
    elif has:
        p.setPen(pen(COLOURS.brass, look.line(2)))
        p.drawEllipse(centre, radius * 0.88, radius * 0.88)
    else:
        dashed = pen(COLOURS.tick, look.line(1.2))
        dashed.setDashPattern([2.0, 3.0])
        p.setPen(dashed)
        p.drawEllipse(centre, radius * 0.88, radius * 0.88)


def arm_mark(state: ArmState, learnt: float = 0.0) -> Mark:
    """Off: a ring. Learning: a ring that fills. Armed: a bull's eye. Catching: a star."""
    return _Drawn(_arm_mark, (state, learnt))


def _arm_mark(p: QPainter, box: QRectF, look: Look, state: ArmState, learnt: float) -> None:
    centre, radius = box.center(), box.width() / 2
    p.setBrush(Qt.BrushStyle.NoBrush)
    if state is ArmState.CATCHING:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.ember)
        p.drawPolygon(star(centre, radius))
        return
    on = state is ArmState.ARMED
    p.setPen(pen(COLOURS.brass if on else COLOURS.tick, look.line(2.5)))
    p.drawEllipse(centre, radius * 0.85, radius * 0.85)
    if on:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.brass)
        p.drawEllipse(centre, radius * 0.42, radius * 0.42)
    elif state is ArmState.LEARNING:
        p.setPen(pen(COLOURS.brass, look.line(2.5)))
        arc(p, centre, radius * 0.85, 0.0, 360.0 * max(learnt, 0.03))


def spark_mark(on: bool = True) -> Mark:
    """A star."""
    return _Drawn(_spark_mark, (on,))


def _spark_mark(p: QPainter, box: QRectF, look: Look, on: bool) -> None:
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.ember if on else COLOURS.tick)
    p.drawPolygon(star(box.center(), box.width() * 0.42))


def choice_mark(on: bool) -> Mark:
    """A filled or an empty small disc."""
    return _Drawn(_choice_mark, (on,))


def _choice_mark(p: QPainter, box: QRectF, look: Look, on: bool) -> None:
    centre, radius = box.center(), box.width() / 2
    if on:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.brass)
        p.drawEllipse(centre, radius * 0.42, radius * 0.42)
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(faded(COLOURS.brass, 0.6), look.line(1.2)))
        p.drawEllipse(centre, radius * 0.72, radius * 0.72)
    else:
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.tick, look.line(1.4)))
        p.drawEllipse(centre, radius * 0.34, radius * 0.34)


def level_mark(level: float) -> Mark:
    """Arcs of sound: the more of them are lit, the louder; 12 dB each."""
    return _Drawn(_level_mark, (level,))


def _level_mark(p: QPainter, box: QRectF, look: Look, level: float) -> None:
    lit = 0 if level <= 0 else min(max(4 + math.floor(20 * math.log10(level) / 12), 1), 4)
    start = QPointF(box.left(), box.center().y())
    p.setBrush(Qt.BrushStyle.NoBrush)
    for ring in range(4):
        colour = COLOURS.ember if level >= 0.99 else COLOURS.brass
        p.setPen(pen(colour if ring < lit else COLOURS.line, look.line(1.8)))
        arc(p, start, box.width() * (ring + 1) / 4, 50.0, 80.0)


def gain_mark(fixed: bool) -> Mark:
    """A wedge: filled when the gain is fixed, with an open end when it follows the picture."""
    return _Drawn(_gain_mark, (fixed,))


def _gain_mark(p: QPainter, box: QRectF, look: Look, fixed: bool) -> None:
    side = box.width() * 0.3
    x, y = box.center().x(), box.center().y()
    wedge = QPainterPath(QPointF(x - side, y + side * 0.8))
    wedge.lineTo(x + side, y + side * 0.8)
    wedge.lineTo(x + side, y - side)
    wedge.closeSubpath()
    if fixed:
        p.fillPath(wedge, COLOURS.brass)
        return
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.quiet, look.line(1.4)))
    p.drawPath(wedge)


def notice_mark(p: QPainter, box: QRectF, look: Look) -> None:
    """A triangle with a stroke: something needs a person."""
    centre, radius = box.center(), box.width() / 2
    corners = [
        QPointF(
            centre.x() + radius * math.sin(math.radians(a)),
            centre.y() + radius * 0.1 - radius * math.cos(math.radians(a)),
        )
        for a in (0, 120, 240)
    ]
    line = pen(COLOURS.ember, look.line(1.6))
    line.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    p.setPen(line)
    p.setBrush(Qt.BrushStyle.NoBrush)
    path = QPainterPath(corners[0])
    for corner in corners[1:]:
        path.lineTo(corner)
    path.closeSubpath()
    p.drawPath(path)
    p.drawLine(
        QPointF(centre.x(), centre.y() - radius * 0.32),
        QPointF(centre.x(), centre.y() + radius * 0.16),
    )
    p.drawPoint(QPointF(centre.x(), centre.y() + radius * 0.38))


def no_mark(p: QPainter, box: QRectF, look: Look) -> None:
    """Nothing."""
