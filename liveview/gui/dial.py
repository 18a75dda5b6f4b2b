"""Geometry of the round instrument: which ring lies where, and which angle means what.

Angles are compass degrees: 0 at the top, growing clockwise, as seen on the screen.

::

              0 = half cut
           .--'''--.            outermost   memory: what the frame ring still holds, newest at
       -135 .  (disc) . +135                the top, the past to its left
   all cut '          ' all open            gauge: uncut fraction, 270 degrees
             '.______.'                     legend: signed contrast, 60 degrees at the bottom
                180 = no contrast           shadow: which side of the disc is darker
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveview.imaging.blade import EVEN_TILT
from liveview.model import BladeReading

GAUGE_HALF = 135.0
"""Degrees from the top to either end of the uncut gauge."""

LEGEND_HALF = 30.0
"""Degrees from the bottom to either end of the colour legend."""

TILT_FULL = 0.25
"""Difference of the uncut fraction across the disc at which the shadow mark is at its thickest."""


def uncut_to_angle(uncut: float) -> float:
    """Compass angle of an uncut fraction; outside 0..1 it stops at the end."""
    return (min(max(uncut, 0.0), 1.0) - 0.5) * 2.0 * GAUGE_HALF


def direction(angle_deg: float) -> tuple[float, float]:
    """Unit vector (x right, y down) of a compass angle."""
    radians = math.radians(angle_deg)
    return (math.sin(radians), -math.cos(radians))


def compass(x: float, y: float) -> float:
    """Compass angle 0..360 of a vector (x right, y down)."""
    return math.degrees(math.atan2(x, -y)) % 360.0


@dataclass(frozen=True, slots=True)
class Shadow:
    """Where the disc is darker: compass angle of the dark side, size 0 (even) .. 1 (full)."""

    angle_deg: float
    size: float
    even: bool
    """True when the tilt counts as none: the same limit as for the words."""


def shadow_of(blade: BladeReading) -> Shadow | None:
    """The shadow mark of a blade reading, None where the tilt is not known.

    A positive ``tilt_across`` says that the blade's side is the darker one; ``tilt_along`` likewise
    along the edge.
    """
    if blade.tilt_across is None:
        return None
    along = blade.tilt_along or 0.0
    across_x, across_y = blade.side.normal
    along_x, along_y = blade.side.along
    x = blade.tilt_across * across_x + along * along_x
    y = blade.tilt_across * across_y + along * along_y
    tilt = math.hypot(x, y)
    floor = max(EVEN_TILT, 3.0 * (blade.tilt_sigma or 0.0))
    return Shadow(compass(x, y), min(tilt / TILT_FULL, 1.0), tilt <= floor)


@dataclass(frozen=True, slots=True)
class DialGeometry:
    """Radii of the rings in pixels, for a square of side ``size``."""

    size: float
    disc: float
    shadow_in: float
    shadow_out: float
    gauge_in: float
    gauge_out: float
    memory_in: float
    memory_out: float

    @classmethod
    def for_square(cls, size: float, step: float) -> DialGeometry:
        """Rings of widths that follow the text size; the disc gets all the rest.

        Parameters
        ----------
        size : float
            Side of the square, pixels.
        step : float
            Spacing step of the look, pixels.
        """
        outer = size / 2.0 - 0.3 * step
        memory_in = outer - 1.4 * step
        gauge_out = memory_in - 0.5 * step
        gauge_in = gauge_out - 4.1 * step
        shadow_out = gauge_in - 0.4 * step
        shadow_in = shadow_out - 1.6 * step
        return cls(
            size,
            shadow_in - 0.4 * step,
            shadow_in,
            shadow_out,
            gauge_in,
            gauge_out,
            memory_in,
            outer,
        )

    @property
    def centre(self) -> float:
        """Centre of the square, both ways."""
        return self.size / 2.0

    def at(self, angle_deg: float, radius: float) -> tuple[float, float]:
        """Point on a ring."""
        x, y = direction(angle_deg)
        return (self.centre + radius * x, self.centre + radius * y)
