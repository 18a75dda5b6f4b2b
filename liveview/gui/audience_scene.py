"""What an audience is shown beside the picture, and where it stands on a screen of any shape.

::

    +----------------------------+       +-------------+
    | clock          .------.    |       |   .-----.   |
    | mark         (          )  |       |  (  disc )  |
    |  caption    (   the disc )  |       |   '-----'   |
    | drawing      (          )  |       | caption     |
    | legend         '------'    |       | legend      |
    +----------------------------+       +-------------+

Without words the disc stands in the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

from PyQt6.QtCore import QRectF

from liveview.model import Bytes

WIDE = 1.2
"""Screens at least this many times as wide as high have the words beside the disc."""

MARGIN = 0.022
STACKED_DISC = 0.74
WIDEST = 1.1
"""Words beside the disc get at most so many times its width."""


@dataclass(frozen=True, slots=True)
class Legend:
    """What the picture is, and the scale of its greys or colours."""

    words: str
    palette: str = ""
    ends: tuple[str, str, str] = ("", "", "")


@dataclass(frozen=True, slots=True)
class Spotlight:
    """A place that stands out: ``x``, ``y`` from -1 to 1 over the disc, ``size`` of its diameter.

    ``depth`` is how much the rest is darkened, 0..1.
    """

    x: float = 0.0
    y: float = 0.0
    size: float = 0.35
    depth: float = 0.0


@dataclass(frozen=True, slots=True)
class Words:
    """All that stands still for a while."""

    title: str = ""
    """Shown large while there is no picture yet."""
    caption: str = ""
    legend: Legend | None = None
    clock: str = ""
    mark: str = ""
    """What is unusual about the picture: a slow replay, a frozen picture."""
    stalled: bool = False
    """No new picture comes: the small mark."""
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything but the picture."""

    words: Words = Words()
    edge: float = 0.0
    """Share of the disc's width, from the left, that shows the plain picture."""
    light: float = 1.0
    """0 is a blank screen."""
    spotlight: Spotlight = Spotlight()
    drawing: Bytes | None = None
    """The animated drawing for the corner, in the size of its place."""
    column: bool = True
    """Room is kept for words."""
    room_for_drawing: bool = False


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything stands, pixels. ``unit`` is a hundredth of the height that counts."""

    unit: float
    disc_x: int
    disc_y: int
    disc: int
    """Left, top and side of the disc's square."""
    field: QRectF
    """Room for a picture whose disc is not known."""
    top: QRectF
    """Clock and mark."""
    caption: QRectF
    drawing: QRectF
    legend: QRectF


def places(width: int, height: int, *, column: bool = True, drawing: bool = False) -> Places:
    """The places on a screen of this many pixels."""
    margin = MARGIN * min(width, height)
    if width < WIDE * height:
        return _stacked(width, height, margin, column, drawing)
    side = round(height - 2 * margin)
    unit = min(height, width / 1.6) / 100
    wide = min(width - side - 4.4 * margin, WIDEST * side)
    spare = width - side - 4.4 * margin - wide
    x = round(width - margin - side - spare / 2) if column else (width - side) // 2
    left = 2.4 * margin + spare / 2
    field = QRectF(width - side - margin if column else margin, margin, 0, side)
    field.setRight(width - margin)
    top = QRectF(left, 2 * margin, wide, 12 * unit)
    legend = QRectF(left, height - 2 * margin - 13 * unit, wide, 13 * unit)
    tall = min(wide * 1.8, 0.47 * height) if drawing else 0.0
    sketch = QRectF(left, legend.top() - 3 * unit - tall, wide, tall)
    low = sketch.top() - (2 * unit if drawing else 4 * unit)
    words = QRectF(left, top.bottom() + 2 * unit, wide, low - top.bottom() - 2 * unit)
    return Places(unit, x, round(margin), side, field, top, words, sketch, legend)


def _stacked(width: int, height: int, margin: float, column: bool, drawing: bool) -> Places:
    """The words below the disc, for screens that are not wide."""
    side = round(min(width - 2 * margin, (STACKED_DISC if column else 1.0) * height - 2 * margin))
    unit = min(height, 1.4 * width) / 100
    x, left, wide = (width - side) // 2, 2 * margin, width - 4 * margin
    y = round(margin) if column else (height - side) // 2
    below = y + side + margin
    half = wide * (0.62 if drawing else 1.0)
    legend = QRectF(left, height - margin - 9.5 * unit, half, 9.5 * unit)
    top = QRectF(left, below, half, 4.5 * unit)
    words = QRectF(left, top.bottom(), half, legend.top() - top.bottom() - unit)
    sketch = QRectF(left + half + margin, below, wide - half - margin, height - margin - below)
    field = QRectF(margin, y, width - 2 * margin, side)
    return Places(unit, x, y, side, field, top, words, sketch, legend)
