"""Which part of the picture is seen: the disc enlarged to the instrument, or all of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveview.model import Disc

RIM_PX = 1.5
"""Pixels at the rim that are not shown."""


@dataclass(frozen=True, slots=True)
class View:
    """Maps picture pixels to widget pixels.

    ``x``, ``y`` is the picture point in the middle of the widget, ``scale`` widget pixels for one
    picture pixel, ``half`` half the widget's side.
    """

    x: float
    y: float
    scale: float
    half: float

    def to_widget(self, x: float, y: float) -> tuple[float, float]:
        """Picture point to widget point. Pixel centres are at whole numbers in the picture."""
        return (
            (x + 0.5 - self.x) * self.scale + self.half,
            (y + 0.5 - self.y) * self.scale + self.half,
        )

    def to_picture(self, x: float, y: float) -> tuple[float, float]:
        """Widget point to picture point."""
        return (
            (x - self.half) / self.scale + self.x - 0.5,
            (y - self.half) / self.scale + self.y - 0.5,
        )

    def towards(self, other: View, share: float) -> View:
        """A view that has gone ``share`` of the way; sizes go by ratio."""
        if abs(other.scale / self.scale - 1) < 2e-3 and (
            math.hypot(other.x - self.x, other.y - self.y) * other.scale < 0.3
        ):
            return other
        return View(
            self.x + (other.x - self.x) * share,
            self.y + (other.y - self.y) * share,
            self.scale * (other.scale / self.scale) ** share,
            other.half,
        )


def disc_view(disc: Disc, half: float) -> View:
    """The disc fills the widget's circle, less its outermost pixels: they are half rim."""
    return View(disc.cx + 0.5, disc.cy + 0.5, half / max(disc.radius - RIM_PX, 1.0), half)


def whole_view(width: int, height: int, half: float) -> View:
    """All of the picture, its corners on the widget's circle."""
    return View(width / 2, height / 2, 2 * half / math.hypot(width, height), half)
