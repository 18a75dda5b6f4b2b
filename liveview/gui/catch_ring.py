"""The memory ring: before a spark on the left, after it on the right, the present at the top.

::

                    now
            before .--|--. after
                  (       )          both sides have one scale; the gap is at the bottom
        handle --> \\     / <-- handle
                    '   '
"""

from __future__ import annotations

from dataclasses import dataclass

from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QPainter

from liveview.gui.paint import pen, polar, ring_text, sector, star, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import MINUS, THIN, seconds
from liveview.model import ArmState

HALF = 164.0
"""Degrees from the top to the end of either side."""

SPANS_S = (2.0, 4.0, 6.0, 10.0, 20.0, 40.0, 60.0, 120.0, 300.0, 600.0)
ROOM = 1.3
"""A side is longer than what is kept, so that a handle can still be drawn out."""


@dataclass(frozen=True, slots=True)
class RingGeometry:
    """Radii in pixels for a square of side ``size``."""

    size: float
    disc: float
    words: float
    """Where the middle of the scale's figures lies."""
    band_in: float
    band_out: float

    @classmethod
    def for_square(cls, size: float, step: float) -> RingGeometry:
        """Rings of widths that follow the text; the disc gets the rest."""
        band_out = size / 2 - 0.9 * step
        band_in = band_out - 3.2 * step
        words = band_in - 1.7 * step
        return cls(size, words - 1.7 * step, words, band_in, band_out)

    @property
    def centre(self) -> QPointF:
        """Centre of the square."""
        return QPointF(self.size / 2, self.size / 2)

    @property
    def middle(self) -> float:
        """Middle of the band."""
        return (self.band_in + self.band_out) / 2


def span_for(pre_s: float, post_s: float) -> float:
    """Seconds that one side shows."""
    wanted = ROOM * max(pre_s, post_s)
    return next((span for span in SPANS_S if span >= wanted), SPANS_S[-1])


def time_to_angle(time_s: float, span_s: float) -> float:
    """Compass angle of a time: negative before, positive after; outside it stops at the end."""
    return min(max(time_s / span_s, -1.0), 1.0) * HALF


def angle_to_time(angle_deg: float, span_s: float) -> float:
    """Time at a compass angle; the gap at the bottom belongs to the nearer end."""
    wrapped = (angle_deg + 180.0) % 360.0 - 180.0
    return min(max(wrapped / HALF, -1.0), 1.0) * span_s


def handy(time_s: float) -> float:
    """A time rounded as finely as a hand can set it."""
    step = next((s for up, s in ((2, 0.05), (6, 0.1), (20, 0.5), (60, 1.0)) if time_s <= up), 5.0)
    return round(round(time_s / step) * step, 3)


@dataclass(frozen=True, slots=True)
class RingValues:
    """What the ring shows, seconds.

    ``held`` is what the memory holds, ``limit`` what it can hold before a spark (None: not known),
    ``pre`` and ``post`` what a spark now would keep. ``event`` is the event under way: how long ago
    it begins and how long it goes on. ``sparks`` are ages. ``hot`` names a handle that is held.
    """

    span: float = 4.0
    held: float = 0.0
    limit: float | None = None
    pre: float = 1.0
    post: float = 2.0
    state: ArmState = ArmState.OFF
    event: tuple[float, float] | None = None
    sparks: tuple[float, ...] = ()
    hot: str = ""


def paint_ring(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    """All of it."""
    _track(p, g, look, v)
    if v.event is None:
        _kept(p, g, look, v)
    else:
        _event(p, g, look, v, v.event)
    _limit(p, g, look, v)
    _scale(p, g, look, v)
    _now(p, g, look)
    _sparks(p, g, look, v)
    _handles(p, g, look, v)


def _track(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    """The empty ring, and what the memory holds of the past."""
    p.fillPath(sector(g.centre, g.band_in, g.band_out, -HALF, 2 * HALF), faded(COLOURS.line, 0.45))
    held = time_to_angle(v.held, v.span)
    if held > 0:
        p.fillPath(sector(g.centre, g.band_in, g.band_out, -held, held), faded(COLOURS.tick, 0.55))
        p.setPen(pen(COLOURS.tick, look.line(1.5)))
        _radial(p, g, -held, 0.0)


def _radial(p: QPainter, g: RingGeometry, angle: float, beyond: float) -> None:
    p.drawLine(
        polar(g.centre, g.band_in - beyond, angle), polar(g.centre, g.band_out + beyond, angle)
    )


def _kept(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    """What a spark now would keep: full where armed, an outline where not."""
    before, after = time_to_angle(-v.pre, v.span), time_to_angle(v.post, v.span)
    inset = look.px(0.55)
    path = sector(g.centre, g.band_in + inset, g.band_out - inset, before, after - before)
    there = time_to_angle(-min(v.pre, v.held), v.span)
    if v.state is ArmState.ARMED:
        path_there = sector(g.centre, g.band_in + inset, g.band_out - inset, there, after - there)
        p.fillPath(path_there, COLOURS.brass_dim)
    p.setBrush(Qt.BrushStyle.NoBrush)
    line = pen(COLOURS.brass if v.state is ArmState.ARMED else COLOURS.quiet, look.line(1.6))
    if v.state is not ArmState.ARMED:
        line.setDashPattern([3.0, 2.5])
    p.setPen(line)
    p.drawPath(path)


def _event(
    p: QPainter, g: RingGeometry, look: Look, v: RingValues, event: tuple[float, float]
) -> None:
    """The event under way: it grows into the past while what is left runs out."""
    before, after = time_to_angle(-event[0], v.span), time_to_angle(event[1], v.span)
    inset = look.px(0.55)
    p.fillPath(
        sector(g.centre, g.band_in + inset, g.band_out - inset, before, after - before),
        faded(COLOURS.ember, 0.75),
    )


def _limit(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    """Where the memory ends."""
    if v.limit is None or v.limit >= v.span:
        return
    angle = time_to_angle(-v.limit, v.span)
    p.fillPath(
        sector(g.centre, g.band_in, g.band_out, -HALF, angle + HALF), faded(COLOURS.ground, 0.6)
    )
    p.setPen(pen(COLOURS.text, look.line(2.0)))
    _radial(p, g, angle, look.px(0.4))
    p.setFont(look.font(Type.SMALL))
    p.setPen(COLOURS.quiet)
    end = "memory ends"
    half = look.px(1.0) + text_width(p.font(), end) / 2
    room = (angle + HALF) / 57.3 * g.middle
    if room > 2 * half:
        ring_text(p, g.centre, g.middle, angle - half / g.middle * 57.3, end)


def _tick_s(span_s: float) -> float:
    """Seconds from one figure of the scale to the next."""
    wanted = span_s / 7
    return next(
        (s for s in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0) if s >= wanted), 120.0
    )


def _scale(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    small = look.font(Type.SMALL)
    firm = look.font(Type.BODY, Weight.STRONG)
    taken = []
    ends = ((-1, v.pre, "before"), (1, v.post, "after"))
    if v.event is not None:
        ends = ((-1, v.event[0], "kept"), (1, v.event[1], "to go"))
    for side, kept, word in ends:
        text = f"{kept:.1f}{THIN}s {word}" if v.event is not None else f"{seconds(kept)} {word}"
        half = text_width(firm, text) / 2 / g.words * 57.3
        at = side * max(abs(time_to_angle(kept, v.span)), half + 4.0)
        taken.append((at, half))
        p.setFont(firm)
        hot = v.hot == word
        p.setPen(COLOURS.text if hot or v.state is not ArmState.OFF else COLOURS.quiet)
        ring_text(p, g.centre, g.words, at, text)
    p.setFont(small)
    step = _tick_s(v.span)
    for k in range(1, int(v.span / step + 1e-9) + 1):
        for side in (-1, 1):
            angle = side * time_to_angle(k * step, v.span)
            p.setPen(pen(COLOURS.tick, look.line(1.0)))
            inner = polar(g.centre, g.band_in - look.px(0.5), angle)
            p.drawLine(inner, polar(g.centre, g.band_in + look.px(0.25), angle))
            text = (MINUS if side < 0 else "+") + _figure(k * step)
            half = text_width(small, text) / 2 / g.words * 57.3
            if all(abs(angle - at) > half + other + 1.5 for at, other in taken):
                p.setPen(COLOURS.quiet)
                ring_text(p, g.centre, g.words, angle, text)


def _figure(time_s: float) -> str:
    return f"{time_s:g}{THIN}s" if time_s < 60 else f"{time_s / 60:g}{THIN}min"


def _now(p: QPainter, g: RingGeometry, look: Look) -> None:
    p.setPen(pen(COLOURS.text, look.line(2.4)))
    _radial(p, g, 0.0, look.px(0.7))


def _sparks(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    last = -1.0
    apart = look.px(1.3) / (HALF / 57.3 * g.middle) * v.span
    p.setPen(pen(COLOURS.ground, look.line(1.2)))
    p.setBrush(COLOURS.text if v.event is not None else COLOURS.ember)
    for age in sorted(v.sparks):
        if 0.0 <= age <= v.span and (last < 0 or age - last > apart):
            last = age
            at = polar(g.centre, g.middle, time_to_angle(-age, v.span))
            p.drawPolygon(star(at, look.px(1.5)))


def handle_at(g: RingGeometry, v: RingValues, name: str) -> QPointF:
    """Where a handle's middle is; ``name`` is "before" or "after"."""
    angle = time_to_angle(-v.pre if name == "before" else v.post, v.span)
    return polar(g.centre, g.middle, angle)


def _handles(p: QPainter, g: RingGeometry, look: Look, v: RingValues) -> None:
    if v.event is not None:
        return
    for name, time_s in (("before", -v.pre), ("after", v.post)):
        hot = v.hot == name
        p.save()
        p.translate(g.centre)
        p.rotate(time_to_angle(time_s, v.span))
        out, inn, half = g.band_out + look.px(0.5), g.band_in - look.px(0.3), look.px(0.75)
        p.setPen(pen(COLOURS.ground, look.line(1.6)))
        p.setBrush(COLOURS.text if hot else COLOURS.brass)
        p.drawRoundedRect(int(-half), int(-out), int(2 * half), int(out - inn), half, half)
        p.setPen(pen(COLOURS.ground, look.line(1.2)))
        for off in (-0.5, 0.0, 0.5):
            y = -g.middle + off * look.px(1.1)
            p.drawLine(QPointF(-half * 0.5, y), QPointF(half * 0.5, y))
        p.restore()
