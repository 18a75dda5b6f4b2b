"""The rings around the disc, painted: gauge, shadow, legend, memory. Values in, strokes out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QColor, QConicalGradient, QPainter, QPainterPath, QPolygonF

from liveview.gui.dial import (
    GAUGE_HALF,
    LEGEND_HALF,
    DialGeometry,
    Shadow,
    uncut_to_angle,
)
from liveview.gui.paint import arc, pen, polar, ring_text, sector, star, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.model import Side


@dataclass(frozen=True, slots=True)
class FaceValues:
    """What changes rarely: drawn once and kept as a picture.

    ``colours`` of the legend run from the most negative to the most positive value; None: no
    legend.
    """

    target: float
    band: float
    reached: bool
    calibrated: bool
    colours: tuple[QColor, ...] | None


@dataclass(frozen=True, slots=True)
class HandValues:
    """What moves.

    ``uncut`` is the reading (or the relative brightness, then ``relative`` is True), ``steady`` the
    lowest and highest of the last seconds, ``legend`` the words at the left end, in the middle and
    at the right end of the legend (drawn apart: they change rarely).
    """

    uncut: float | None = None
    relative: bool = False
    steady: tuple[float, float] | None = None
    shadow: Shadow | None = None
    side: Side = Side.LEFT
    legend: tuple[str, str, str] | None = None
    clipped: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, slots=True)
class MemoryValues:
    """What the memory ring shows; it moves slowly.

    ``filled`` is the share of the frame ring that is filled, ``pre`` the share that the
    pre-trigger takes, ``sparks`` their ages as shares, ``trace`` pairs of age (share) and
    brightness deviation. ``catching`` while an event is kept.
    """

    filled: float = 0.0
    pre: float = 0.0
    sparks: tuple[float, ...] = ()
    trace: tuple[tuple[float, float], ...] = ()
    catching: bool = False


TRACE_FULL = 0.05
"""Brightness deviation that takes the memory trace to the edge of its ring."""


def paint_face(p: QPainter, g: DialGeometry, look: Look, values: FaceValues) -> None:
    """Everything that stands still."""
    centre = QPointF(g.centre, g.centre)
    _memory_track(p, g, look, centre)
    _gauge_scale(p, g, look, centre, values.calibrated)
    _target(p, g, look, centre, values)
    _rim(p, g, look, centre)
    if values.colours is not None:
        _legend(p, g, look, centre, values.colours)


def paint_hands(p: QPainter, g: DialGeometry, look: Look, values: HandValues) -> None:
    """Everything that moves."""
    centre = QPointF(g.centre, g.centre)
    if values.shadow is not None:
        _shadow(p, g, look, centre, values.shadow)
    _blade_mark(p, g, look, centre, values.side)
    if values.uncut is not None:
        _index(p, g, look, centre, values)
    _clip_marks(p, g, look, centre, values.clipped)


def paint_legend_words(
    p: QPainter, g: DialGeometry, look: Look, words: tuple[str, str, str] | None
) -> None:
    """What the ends and the middle of the legend stand for."""
    if words is not None:
        _legend_words(p, g, look, QPointF(g.centre, g.centre), words)


def _track(g: DialGeometry, look: Look) -> tuple[float, float]:
    """Inner and outer radius of the gauge's track."""
    return g.gauge_out - look.px(0.9), g.gauge_out


def _gauge_scale(
    p: QPainter, g: DialGeometry, look: Look, centre: QPointF, calibrated: bool
) -> None:
    inner, outer = _track(g, look)
    p.fillPath(sector(centre, inner, outer, -GAUGE_HALF, 2 * GAUGE_HALF), faded(COLOURS.line, 0.75))
    for step in range(101):
        angle = uncut_to_angle(step / 100)
        long, medium = step % 10 == 0, step % 5 == 0
        length = 1.0 if long else 0.7 if medium else 0.4
        colour = COLOURS.quiet if long else COLOURS.tick if medium else faded(COLOURS.tick, 0.6)
        p.setPen(pen(colour, look.line(1.6 if long else 1.0)))
        p.drawLine(
            polar(centre, g.gauge_in, angle), polar(centre, g.gauge_in + look.px(length), angle)
        )
    middle = (g.gauge_in + look.px(1.0) + inner) / 2
    p.setFont(look.font(Type.BODY, Weight.FIRM))
    p.setPen(COLOURS.text if calibrated else COLOURS.quiet)
    for step in range(0, 101, 10):
        ring_text(p, centre, middle, uncut_to_angle(step / 100), str(step))
    p.setPen(COLOURS.quiet)
    p.setFont(look.font(Type.SMALL))
    words = ("all cut", "all open") if calibrated else ("dark", "brightest")
    gap = (180.0 - LEGEND_HALF - GAUGE_HALF) / 2 + 0.5
    figure = text_width(look.font(Type.BODY, Weight.FIRM), "100") / 2 + look.px(0.9)
    for word, side in zip(words, (-1.0, 1.0), strict=True):
        # Beside the gauge's last figure, however large the letters.
        clear = figure + text_width(p.font(), word) / 2
        ring_text(
            p, centre, middle, side * (GAUGE_HALF + max(gap, math.degrees(clear / middle))), word
        )


def _target(p: QPainter, g: DialGeometry, look: Look, centre: QPointF, values: FaceValues) -> None:
    if not values.calibrated:
        return
    inner, outer = _track(g, look)
    start = uncut_to_angle(values.target - values.band)
    end = uncut_to_angle(values.target + values.band)
    p.fillPath(
        sector(centre, inner, outer, start, end - start),
        COLOURS.brass if values.reached else COLOURS.brass_dim,
    )
    p.setPen(pen(COLOURS.brass, look.line(2.0 if values.reached else 1.5)))
    for angle in (start, end):
        p.drawLine(
            polar(centre, inner - look.px(0.3), angle), polar(centre, outer + look.px(0.2), angle)
        )


def _rim(p: QPainter, g: DialGeometry, look: Look, centre: QPointF) -> None:
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(faded(COLOURS.line, 0.8), look.line()))
    p.drawEllipse(centre, g.shadow_out, g.shadow_out)


def _blade_mark(p: QPainter, g: DialGeometry, look: Look, centre: QPointF, side: Side) -> None:
    """A small blade with its edge towards the disc, on the side from which the blade comes in."""
    angle = {Side.TOP: 0.0, Side.RIGHT: 90.0, Side.BOTTOM: 180.0, Side.LEFT: 270.0}[side]
    edge, back, half = g.disc + look.px(0.3), g.shadow_out - look.px(0.1), look.px(2.4)
    p.save()
    p.translate(centre)
    p.rotate(angle)
    shape = QPolygonF(
        [
            QPointF(-half, -edge),
            QPointF(half, -edge),
            QPointF(half - look.px(0.9), -back),
            QPointF(-half + look.px(0.9), -back),
        ]
    )
    p.setPen(pen(COLOURS.ground, look.line(3.0)))
    p.setBrush(COLOURS.tick)
    p.drawPolygon(shape)
    p.setPen(pen(COLOURS.text, look.line(2.4)))
    p.drawLine(QPointF(-half, -edge), QPointF(half, -edge))
    p.restore()


def _legend(
    p: QPainter, g: DialGeometry, look: Look, centre: QPointF, colours: tuple[QColor, ...]
) -> None:
    inner, outer = _track(g, look)
    start, sweep = 180.0 - LEGEND_HALF, 2 * LEGEND_HALF
    # Qt's conical gradient runs anticlockwise from three o'clock: from the right end (positive,
    # on the screen's lower right) clockwise is against it, so the stops are set from the left.
    gradient = QConicalGradient(centre, 270.0 - LEGEND_HALF)
    last = max(len(colours) - 1, 1)
    for k, colour in enumerate(colours):
        gradient.setColorAt(k / last * sweep / 360.0, colour)
    bar = sector(centre, inner - look.px(0.5), outer, start, sweep)
    p.fillPath(bar, gradient)
    # Its dark end is as black as the ground.
    p.setPen(pen(COLOURS.tick, look.line()))
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.drawPath(bar)
    for angle in (180.0 - LEGEND_HALF, 180.0, 180.0 + LEGEND_HALF):
        p.drawLine(
            polar(centre, g.gauge_in + look.px(0.4), angle),
            polar(centre, g.gauge_in + look.px(0.9), angle),
        )


def _legend_words(
    p: QPainter, g: DialGeometry, look: Look, centre: QPointF, words: tuple[str, str, str]
) -> None:
    inner, _ = _track(g, look)
    middle = (g.gauge_in + look.px(0.6) + inner - look.px(0.5)) / 2
    p.setFont(look.font(Type.SMALL, Weight.FIRM))
    p.setPen(COLOURS.text)
    low, zero, high = words
    ring_text(p, centre, middle, 180.0 + LEGEND_HALF - 4.5, low)
    ring_text(p, centre, middle, 180.0 - LEGEND_HALF + 4.5, high)
    p.setPen(COLOURS.quiet)
    ring_text(p, centre, middle, 180.0, zero)


def _memory_track(p: QPainter, g: DialGeometry, look: Look, centre: QPointF) -> None:
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.line, look.line()))
    middle = (g.memory_in + g.memory_out) / 2
    p.drawEllipse(centre, middle, middle)


def paint_memory(p: QPainter, g: DialGeometry, look: Look, v: MemoryValues) -> None:
    """The memory ring: filled part, pre-trigger, brightness, sparks."""
    centre = QPointF(g.centre, g.centre)
    middle, half = (g.memory_in + g.memory_out) / 2, (g.memory_out - g.memory_in) / 2
    p.setBrush(Qt.BrushStyle.NoBrush)
    if v.filled > 0:
        p.setPen(pen(COLOURS.tick, look.line(1.6)))
        arc(p, centre, middle, 0.0, -360.0 * min(v.filled, 1.0))
    if v.pre > 0:
        p.setPen(pen(COLOURS.ember if v.catching else COLOURS.brass, look.line(3.4)))
        arc(p, centre, middle, 0.0, -360.0 * min(v.pre, v.filled, 1.0))
    if len(v.trace) > 1:
        p.setPen(pen(faded(COLOURS.text, 0.7), look.line()))
        p.drawPolyline(_trace(centre, middle, half, v.trace))
    p.setPen(pen(COLOURS.text, look.line(2.0)))
    p.drawLine(polar(centre, g.memory_in, 0.0), polar(centre, g.memory_out, 0.0))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.ember)
    last = -1.0
    apart = look.px(1.3) / (2.0 * math.pi * middle)
    for age in sorted(v.sparks):
        if 0.0 <= age <= 1.0 and (last < 0 or age - last > apart):
            last = age
            p.drawPolygon(star(polar(centre, middle, -360.0 * age), look.px(0.9)))


def _trace(
    centre: QPointF, middle: float, half: float, trace: tuple[tuple[float, float], ...]
) -> QPolygonF:
    return QPolygonF(
        [
            polar(
                centre,
                middle + half * min(max(deviation / TRACE_FULL, -1.0), 1.0),
                -360.0 * min(age, 1.0),
            )
            for age, deviation in trace
        ]
    )


def _shadow(p: QPainter, g: DialGeometry, look: Look, centre: QPointF, shadow: Shadow) -> None:
    """A ring that is thickest where the disc is darkest; of one thickness when it is even."""
    inner, outer = g.shadow_in, g.shadow_out - look.px(0.3)
    if shadow.even:
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(faded(COLOURS.shade, 0.9), look.px(0.35)))
        p.drawEllipse(centre, inner + look.px(0.2), inner + look.px(0.2))
        return
    # Two circles, the outer one shifted towards the dark side.
    shift = (outer - inner) / 2 * max(shadow.size, 0.12)
    ring = QPainterPath()
    ring.setFillRule(Qt.FillRule.OddEvenFill)
    radius = inner + shift
    moved = polar(centre, shift, shadow.angle_deg)
    ring.addEllipse(moved, radius, radius)
    ring.addEllipse(centre, inner, inner)
    p.fillPath(ring, faded(COLOURS.shade, 0.9))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.text)
    p.save()
    p.translate(centre)
    p.rotate(shadow.angle_deg)
    tip, base = inner + 2 * shift + look.px(0.1), inner + 2 * shift + look.px(1.1)
    p.drawPolygon(
        QPolygonF([QPointF(0, -tip), QPointF(look.px(0.7), -base), QPointF(-look.px(0.7), -base)])
    )
    p.restore()


def _index(p: QPainter, g: DialGeometry, look: Look, centre: QPointF, v: HandValues) -> None:
    assert v.uncut is not None
    inner, outer = _track(g, look)
    angle = uncut_to_angle(v.uncut)
    colour = COLOURS.quiet if v.relative else COLOURS.brass
    p.fillPath(
        sector(
            centre,
            inner + look.px(0.28),
            outer - look.px(0.28),
            -GAUGE_HALF,
            angle + GAUGE_HALF,
        ),
        colour,
    )
    if v.steady is not None:
        low, high = (uncut_to_angle(value) for value in v.steady)
        p.setPen(pen(faded(colour, 0.55), look.px(0.35)))
        p.setBrush(Qt.BrushStyle.NoBrush)
        arc(p, centre, g.gauge_in + look.px(0.2), low, max(high - low, 0.3))
    p.save()
    p.translate(centre)
    p.rotate(angle)
    top, tip, half = outer + look.px(0.2), inner - look.px(0.5), look.px(0.8)
    p.setPen(pen(colour, look.line(2.0)))
    p.drawLine(QPointF(0, -g.gauge_in + look.px(0.1)), QPointF(0, -g.gauge_in - look.px(0.9)))
    p.setPen(pen(COLOURS.ground, look.line(2.5)))
    p.setBrush(COLOURS.text)
    p.drawPolygon(QPolygonF([QPointF(0, -tip), QPointF(half, -top), QPointF(-half, -top)]))
    p.restore()


def _clip_marks(
    p: QPainter, g: DialGeometry, look: Look, centre: QPointF, clipped: tuple[bool, bool]
) -> None:
    """Triangles beyond the legend's ends: pixels at the bottom or the top code."""
    inner, outer = _track(g, look)
    radius, size = (inner + outer) / 2, look.px(0.8)
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.ember)
    for on, angle, turn in (
        (clipped[0], 180.0 + LEGEND_HALF + 2.0, -1.0),
        (clipped[1], 180.0 - LEGEND_HALF - 2.0, 1.0),
    ):
        if on:
            p.save()
            p.translate(polar(centre, radius, angle))
            p.rotate(angle)
            p.drawPolygon(
                QPolygonF(
                    [QPointF(-turn * size, 0), QPointF(0, -size * 0.8), QPointF(0, size * 0.8)]
                )
            )
            p.restore()
