"""The ring of time around the disc, painted: sound, frames, losses, sparks, the stretch.

::

    outside   sparks (stars)
              sound: the louder, the thicker; lost frames are gaps with a hatched edge
              ticks and their times, counted from the spark
    inside    the stretch that is played, thin and bright; then the disc
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QColor, QConicalGradient, QPainter, QPainterPath, QPolygonF

from liveview.gui.paint import arc, pen, polar, ring_text, sector, star
from liveview.gui.review_reader import Envelope
from liveview.gui.review_time import RING_HALF, TimeScale
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded

LEGEND_SPAN = 26.0
"""Degrees from the bottom to either end of the colour legend."""

QUIET_SHARE = 10.0
"""A crack is at least so many times as loud as the room."""

FRAME_APART_STEPS = 0.55
"""Frames are ticked one by one when they are at least so far apart."""


@dataclass(frozen=True, slots=True)
class Legend:
    """What the colours stand for: from the most negative value, and words left, middle, right."""

    colours: tuple[QColor, ...]
    words: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class RingGeometry:
    """Radii in pixels for a square of side ``size``."""

    size: float
    disc: float
    labels: float
    ticks: float
    sound_in: float
    sound_out: float

    @classmethod
    def for_square(cls, size: float, step: float) -> RingGeometry:
        """Rings of widths that follow the text size; the disc gets the rest."""
        sound_out = size / 2 - 1.5 * step
        sound_in = sound_out - 3.2 * step
        ticks = sound_in - 0.3 * step
        labels = ticks - 2.0 * step
        return cls(size, labels - 1.5 * step, labels, ticks, sound_in, sound_out)

    @property
    def centre(self) -> QPointF:
        """Centre of the square."""
        return QPointF(self.size / 2, self.size / 2)


@dataclass(frozen=True, slots=True)
class RingFace:
    """What stands still while an event is looked at."""

    scale: TimeScale | None = None
    times_s: tuple[float, ...] = ()
    lost_before: tuple[int, ...] = ()
    sparks_s: tuple[float, ...] = ()
    stretch_s: tuple[float, float] | None = None
    envelope: Envelope | None = field(default=None, compare=False)
    heard: bool = False
    legend: Legend | None = None
    kept_s: float | None = None
    """Moment of the picture that is held for comparing."""


def paint_face(p: QPainter, g: RingGeometry, look: Look, face: RingFace) -> None:
    """Everything but the hand."""
    p.fillPath(
        sector(g.centre, g.sound_in, g.sound_out, -RING_HALF, 2 * RING_HALF),
        faded(COLOURS.line, 0.45),
    )
    if face.scale is not None:
        _sound(p, g, face, face.scale)
        _losses(p, g, look, face, face.scale)
        _ticks(p, g, look, face, face.scale)
        _stretch(p, g, look, face, face.scale)
        _sparks(p, g, look, face, face.scale)
    if face.legend is not None:
        _legend(p, g, look, face.legend)


def _sound(p: QPainter, g: RingGeometry, face: RingFace, scale: TimeScale) -> None:
    if face.envelope is None or not len(face.envelope):
        return
    middle, half = (g.sound_in + g.sound_out) / 2, (g.sound_out - g.sound_in) / 2
    count = max(64, round(math.radians(2 * RING_HALF) * middle))
    loudness = loudness_at(face.envelope, scale, count)
    outside, inside = [], []
    for k, value in enumerate(loudness.tolist()):
        angle = (2 * k / (count - 1) - 1) * RING_HALF
        reach = max(half * value, 0.4)
        outside.append(polar(g.centre, middle + reach, angle))
        inside.append(polar(g.centre, middle - reach, angle))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(faded(COLOURS.shade, 0.85))
    p.drawPolygon(QPolygonF([*outside, *reversed(inside)]))


def loudness_at(envelope: Envelope, scale: TimeScale, count: int) -> Envelope:
    """Height 0..1 of the drawing at ``count`` places of what is shown.

    The square root of the loudness against the event's loudest: a quiet room is still to be seen
    beside a crack. Without anything that stands out the room stays low.
    """
    whole = scale.high - scale.low
    first = (scale.start - scale.low) / whole * len(envelope)
    last = (scale.end - scale.low) / whole * len(envelope)
    edges = np.linspace(first, last, count + 1)
    starts = np.clip(edges[:-1].astype(np.intp), 0, len(envelope) - 1)
    if last - first >= count:
        found = np.maximum.reduceat(envelope, starts)
        found[-1] = envelope[starts[-1] :][: max(1, int(last) - int(starts[-1]))].max()
    else:
        found = envelope[starts]
    full = max(float(envelope.max()), QUIET_SHARE * float(np.median(envelope)), 1e-6)
    return np.asarray(np.sqrt(found / full), dtype=np.float32)


def _losses(p: QPainter, g: RingGeometry, look: Look, face: RingFace, scale: TimeScale) -> None:
    for k, lost in enumerate(face.lost_before):
        if not lost or not k:
            continue
        start, end = face.times_s[k - 1], face.times_s[k]
        part = (end - start) / (lost + 1)
        if end < scale.start or start + part > scale.end:
            continue
        a, b = scale.angle(start + part), scale.angle(end)
        least = math.degrees(2.5 / g.sound_out)
        sweep = max(b - a, least)
        p.fillPath(sector(g.centre, g.sound_in - 1, g.sound_out + 1, a, sweep), COLOURS.ground)
        p.setPen(pen(COLOURS.ember, look.line(1.4)))
        for angle in (a, a + sweep):
            p.drawLine(polar(g.centre, g.sound_in, angle), polar(g.centre, g.sound_out, angle))


def _ticks(p: QPainter, g: RingGeometry, look: Look, face: RingFace, scale: TimeScale) -> None:
    span = scale.end - scale.start
    pixels = math.radians(2 * RING_HALF) * g.sound_in
    inside = [t for t in face.times_s if scale.shows(t)]
    if len(inside) > 1 and pixels / span * (inside[-1] - inside[0]) / (len(inside) - 1) >= look.px(
        FRAME_APART_STEPS
    ):
        p.setPen(pen(COLOURS.tick, look.line(1.0)))
        for time_s in inside:
            angle = scale.angle(time_s)
            p.drawLine(
                polar(g.centre, g.sound_in, angle),
                polar(g.centre, g.sound_in + look.px(0.6), angle),
            )
    p.setFont(look.font(Type.SMALL, Weight.FIRM))
    for time_s, words in scale.ticks():
        angle = scale.angle(time_s)
        p.setPen(pen(COLOURS.quiet, look.line(1.5)))
        p.drawLine(
            polar(g.centre, g.ticks + look.px(0.3), angle),
            polar(g.centre, g.ticks - look.px(0.5), angle),
        )
        if abs(angle) < RING_HALF - 3.0:
            p.setPen(COLOURS.text if words == "0" else COLOURS.quiet)
            ring_text(p, g.centre, g.labels + look.px(0.35), angle, words)


def _stretch(p: QPainter, g: RingGeometry, look: Look, face: RingFace, scale: TimeScale) -> None:
    """What is played: a thin line; where it is not the whole event, with ends."""
    if face.stretch_s is None:
        return
    start, end = face.stretch_s
    whole = start <= scale.low and end >= scale.high
    a, b = scale.angle(start), scale.angle(end)
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.tick if whole else COLOURS.brass, look.line(1.2 if whole else 3.0)))
    arc(p, g.centre, g.ticks + look.px(0.15), a, max(b - a, 0.05))
    if whole:
        return
    shade = faded(COLOURS.ground, 0.55)
    p.fillPath(sector(g.centre, g.sound_in, g.sound_out, -RING_HALF, a + RING_HALF), shade)
    p.fillPath(sector(g.centre, g.sound_in, g.sound_out, b, RING_HALF - b), shade)
    p.setPen(pen(COLOURS.brass, look.line(2.0)))
    for moment in (start, end):
        if scale.shows(moment):
            angle = scale.angle(moment)
            p.drawLine(polar(g.centre, g.ticks, angle), polar(g.centre, g.sound_out, angle))


def _sparks(p: QPainter, g: RingGeometry, look: Look, face: RingFace, scale: TimeScale) -> None:
    apart, last = math.degrees(look.px(1.6) / g.sound_out), -math.inf
    for time_s in sorted(face.sparks_s):
        if not scale.shows(time_s):
            continue
        angle = scale.angle(time_s)
        p.setPen(pen(faded(COLOURS.ember, 0.9), look.line(1.4)))
        p.drawLine(polar(g.centre, g.sound_in, angle), polar(g.centre, g.sound_out, angle))
        if angle - last < apart:
            continue
        last = angle
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.ember)
        p.drawPolygon(star(polar(g.centre, g.sound_out + look.px(0.6), angle), look.px(1.0)))
    if face.kept_s is not None and scale.shows(face.kept_s):
        angle = scale.angle(face.kept_s)
        p.setPen(pen(COLOURS.text, look.line(1.4)))
        p.setBrush(COLOURS.ground)
        p.drawEllipse(
            polar(g.centre, g.sound_out + look.px(0.5), angle), look.px(0.6), look.px(0.6)
        )


def _legend(p: QPainter, g: RingGeometry, look: Look, legend: Legend) -> None:
    centre, inner, outer = g.centre, g.sound_out - look.px(0.9), g.sound_out
    gradient = QConicalGradient(centre, 270.0 - LEGEND_SPAN)
    last = max(len(legend.colours) - 1, 1)
    for k, colour in enumerate(legend.colours):
        gradient.setColorAt(k / last * 2 * LEGEND_SPAN / 360.0, colour)
    p.fillPath(sector(centre, inner, outer, 180.0 - LEGEND_SPAN, 2 * LEGEND_SPAN), gradient)
    p.setFont(look.font(Type.SMALL, Weight.FIRM))
    p.setPen(COLOURS.text)
    middle = inner - look.px(1.3)
    ring_text(p, centre, middle, 180.0 + LEGEND_SPAN - 4.5, legend.words[0])
    ring_text(p, centre, middle, 180.0 - LEGEND_SPAN + 4.5, legend.words[2])
    p.setPen(COLOURS.quiet)
    ring_text(p, centre, middle, 180.0, legend.words[1])


def paint_hand(
    p: QPainter, g: RingGeometry, look: Look, scale: TimeScale, time_s: float, waiting: bool
) -> None:
    """Where the replay stands; hollow while the picture is still that of another moment."""
    angle = scale.angle(time_s)
    p.setPen(pen(COLOURS.ground, look.line(5.0)))
    p.drawLine(polar(g.centre, g.ticks, angle), polar(g.centre, g.sound_out, angle))
    p.setPen(pen(COLOURS.brass, look.line(2.4)))
    p.drawLine(polar(g.centre, g.ticks, angle), polar(g.centre, g.sound_out, angle))
    p.save()
    p.translate(g.centre)
    p.rotate(angle)
    tip, back, half = g.sound_out - look.px(0.3), g.sound_out + look.px(1.3), look.px(0.85)
    shape = QPainterPath(QPointF(0, -tip))
    shape.lineTo(half, -back)
    shape.lineTo(-half, -back)
    shape.closeSubpath()
    p.setPen(pen(COLOURS.brass if waiting else COLOURS.ground, look.line(1.8)))
    p.setBrush(COLOURS.ground if waiting else COLOURS.brass)
    p.drawPath(shape)
    p.restore()
