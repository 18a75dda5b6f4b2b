"""The programme ring: captions as stations round the small copy, time outside, flashes below.

::

             one turn of the outer hand is an hour
           .--2--'--3--.
          1  .-------.  4       captions clockwise from the lower left; the one that is up is full
          |  | small |  |
          '  | copy  |  5
           '--'------'-'
             [1][2][3]|over     flashes of the last second that count; three are allowed
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QFontMetricsF, QPainter

from liveview.gui.paint import arc, pen, polar, ring_text, sector, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.imaging.flashes import FLASHES_PER_SECOND

HALF = 142.0
"""Degrees from the top to either end of the programme."""

GAP = 1.6
"""Degrees between two stations."""

FLASH_HALF = 24.0
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class ShowValues:
    """What the ring shows. ``at`` is the caption that is up, -1 before the first."""

    captions: tuple[str, ...] = ()
    at: int = -1
    elapsed_s: float | None = None
    flashes: int = 0
    guarded: bool = True
    softened: bool = False


@dataclass(frozen=True, slots=True)
class ShowGeometry:
    """Radii in pixels for a square of side ``size``."""

    size: float
    inner: float
    """Room for the small copy."""
    band_in: float
    band_out: float
    hand: float

    @classmethod
    def for_square(cls, size: float, step: float) -> ShowGeometry:
        """Rings of widths that follow the text; the small copy gets the rest."""
        hand = size / 2 - 0.5 * step
        band_out = hand - 1.0 * step
        band_in = band_out - 3.6 * step
        return cls(size, band_in - 1.2 * step, band_in, band_out, hand)

    @property
    def centre(self) -> QPointF:
        """Centre of the square."""
        return QPointF(self.size / 2, self.size / 2)

    def copy_box(self, aspect: float) -> QRectF:
        """The largest box of a shape (width over height) inside the ring."""
        tall = 2 * self.inner / math.hypot(aspect, 1.0)
        box = QRectF(0, 0, tall * aspect, tall)
        box.moveCenter(self.centre)
        return box


def station_span(count: int, index: int) -> tuple[float, float]:
    """Compass angle at which a station begins, and its sweep."""
    sweep = 2 * HALF / max(count, 1)
    return -HALF + index * sweep + GAP / 2, sweep - GAP


def station_at(count: int, angle_deg: float) -> int | None:
    """The station at a compass angle."""
    wrapped = (angle_deg + 180.0) % 360.0 - 180.0
    if not count or abs(wrapped) >= HALF:
        return None
    return min(int((wrapped + HALF) / (2 * HALF) * count), count - 1)


def paint_show_ring(p: QPainter, g: ShowGeometry, look: Look, v: ShowValues) -> None:
    """All of it."""
    _hand(p, g, look, v)
    if v.captions:
        for index in range(len(v.captions)):
            _station(p, g, look, v, index)
    else:
        _no_captions(p, g, look)
    _flashes(p, g, look, v)


def _hand(p: QPainter, g: ShowGeometry, look: Look, v: ShowValues) -> None:
    """The time the show has been on: an arc that closes in an hour."""
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.line, look.line(1.0)))
    p.drawEllipse(g.centre, g.hand, g.hand)
    for minute in range(0, 60, 5):
        p.setPen(pen(COLOURS.tick, look.line(1.0)))
        deep = 0.7 if minute % 15 == 0 else 0.4
        outer = polar(g.centre, g.hand, minute * 6.0)
        p.drawLine(polar(g.centre, g.hand - look.px(deep), minute * 6.0), outer)
    if v.elapsed_s is not None:
        p.setPen(pen(COLOURS.brass, look.line(2.4)))
        arc(p, g.centre, g.hand, 0.0, max(v.elapsed_s % HOUR_S / HOUR_S * 360.0, 0.5))


def _station(p: QPainter, g: ShowGeometry, look: Look, v: ShowValues, index: int) -> None:
    start, sweep = station_span(len(v.captions), index)
    path = sector(g.centre, g.band_in, g.band_out, start, sweep)
    here, past = index == v.at, index < v.at
    if here:
        p.fillPath(path, COLOURS.brass)
    elif past:
        p.fillPath(path, faded(COLOURS.line, 0.5))
    else:
        p.fillPath(path, faded(COLOURS.line, 0.9))
        if index == v.at + 1:
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.setPen(pen(COLOURS.brass, look.line(1.4)))
            p.drawPath(path)
    font = look.font(Type.SMALL, Weight.STRONG if here else Weight.PLAIN)
    p.setFont(font)
    p.setPen(COLOURS.ground if here else COLOURS.tick if past else COLOURS.text)
    middle = (g.band_in + g.band_out) / 2
    room = math.radians(sweep) * middle - look.px(1.6)
    number = f"{index + 1}"
    text = QFontMetricsF(font).elidedText(
        f"{number}  {v.captions[index]}", Qt.TextElideMode.ElideRight, room
    )
    if text_width(font, number) * 3 > room or len(text) < 6:
        text = number
    ring_text(p, g.centre, middle, start + sweep / 2, text)


def _no_captions(p: QPainter, g: ShowGeometry, look: Look) -> None:
    path = sector(g.centre, g.band_in, g.band_out, -HALF, 2 * HALF)
    p.fillPath(path, faded(COLOURS.line, 0.45))
    p.setFont(look.font(Type.SMALL))
    p.setPen(COLOURS.quiet)
    words = "captions come from a show file"
    ring_text(p, g.centre, (g.band_in + g.band_out) / 2, 0.0, words)


def _flashes(p: QPainter, g: ShowGeometry, look: Look, v: ShowValues) -> None:
    """One cell for each flash that is allowed, one for more."""
    cells = FLASHES_PER_SECOND + 1
    sweep = 2 * FLASH_HALF / cells
    # With the guard on what would be one too many does not reach the audience.
    beyond = COLOURS.brass_dim if v.guarded else COLOURS.ember
    for cell in range(cells):
        over = cell == FLASHES_PER_SECOND
        start = 180.0 + FLASH_HALF - (cell + 1) * sweep + 0.6
        path = sector(g.centre, g.band_in + look.px(0.9), g.band_out, start, sweep - 1.2)
        lit = v.flashes > cell or (over and v.softened)
        colour = beyond if over else COLOURS.brass
        if lit:
            p.fillPath(path, colour)
        else:
            p.fillPath(path, faded(COLOURS.line, 0.45))
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(beyond if over else COLOURS.tick, look.line(1.2)))
        p.drawPath(path)
    p.setFont(look.font(Type.SMALL, Weight.PLAIN if v.guarded else Weight.STRONG))
    p.setPen(COLOURS.quiet if v.guarded else COLOURS.ember)
    words = "flashes in a second" if v.guarded else "guard is off"
    ring_text(p, g.centre, g.band_in - look.px(1.0), 180.0, words)
