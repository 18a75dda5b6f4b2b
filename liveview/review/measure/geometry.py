"""Scale, length and angle in the picture, with the uncertainty of pointing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveview.model import Disc
from liveview.review.measure.quantity import Measurement, Quantity

Point = tuple[float, float]

POINTING_PX = 0.5
"""Standard uncertainty of a point set by hand, per axis."""
DISC_PX = 0.5
"""Standard uncertainty of the disc's radius."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Metres per pixel at the object, its relative standard uncertainty, and where it is from."""

    metres_per_px: float
    relative_sigma: float
    how: str

    def length(self, px: float) -> float:
        """Pixels to metres."""
        return px * self.metres_per_px

    def measurement(self) -> Measurement:
        """For saving."""
        sigma = self.metres_per_px * self.relative_sigma
        return Measurement(
            "scale",
            {"scale": Quantity.normal(self.metres_per_px, sigma, "m/px")},
            {"how": self.how},
        )


def scale_from_disc(
    disc: Disc,
    field_m: float,
    *,
    radius_sigma_px: float = DISC_PX,
    field_relative_sigma: float = 0.0,
) -> Scale:
    """Scale from the mirror's known diameter.

    Parameters
    ----------
    disc : Disc
        The mirror in the picture.
    field_m : float
        What the disc's diameter stands for at the object: the mirror's diameter for an object
        at the mirror, ``optics.rig.RigGeometry.object_field_m`` in general.

    Raises
    ------
    ValueError
        No disc or no field.
    """
    if disc.radius <= 0 or field_m <= 0:
        raise ValueError("the disc and the mirror must have a size")
    relative = math.hypot(radius_sigma_px / disc.radius, field_relative_sigma)
    return Scale(field_m / (2 * disc.radius), relative, f"disc stands for {field_m:.6g} m")


def scale_from_length(
    a: Point,
    b: Point,
    length_m: float,
    *,
    length_sigma_m: float = 0.0,
    pointing_px: float = POINTING_PX,
) -> Scale:
    """Scale from a thing of known length marked in the picture.

    Raises
    ------
    ValueError
        The points are the same, or the length is not above zero.
    """
    px = math.dist(a, b)
    if px <= 0 or length_m <= 0:
        raise ValueError("mark two different points and give a length above zero")
    relative = math.hypot(math.sqrt(2) * pointing_px / px, length_sigma_m / length_m)
    return Scale(length_m / px, relative, f"marked length of {length_m:.6g} m")


def measure_length(
    a: Point, b: Point, scale: Scale, *, pointing_px: float = POINTING_PX
) -> Measurement:
    """Distance of two points at the object."""
    px = math.dist(a, b)
    value = scale.length(px)
    sigma = math.hypot(scale.length(math.sqrt(2) * pointing_px), value * scale.relative_sigma)
    return Measurement(
        "length",
        {"length": Quantity.normal(value, sigma, "m")},
        {"points_px": [list(a), list(b)], "scale": scale.how},
        ("both points lie in the object's plane",),
    )


def measure_angle(
    vertex: Point, a: Point, b: Point, *, pointing_px: float = POINTING_PX
) -> Measurement:
    """Angle at ``vertex`` from ``a`` to ``b``, radians, 0..pi.

    Raises
    ------
    ValueError
        An arm without length.
    """
    arms = [(p[0] - vertex[0], p[1] - vertex[1]) for p in (a, b)]
    lengths = [math.hypot(*arm) for arm in arms]
    if min(lengths) == 0:
        raise ValueError("both arms of an angle need a length")
    (ax, ay), (bx, by) = arms
    value = abs(math.atan2(ax * by - ay * bx, ax * bx + ay * by))
    # Slope of each arm's direction with its end: the normal over the length; the vertex moves both.
    na = (-ay / lengths[0] ** 2, ax / lengths[0] ** 2)
    nb = (-by / lengths[1] ** 2, bx / lengths[1] ** 2)
    ends = math.hypot(*na) ** 2 + math.hypot(*nb) ** 2
    both = (nb[0] - na[0]) ** 2 + (nb[1] - na[1]) ** 2
    sigma = pointing_px * math.sqrt(ends + both)
    return Measurement(
        "angle",
        {"angle": Quantity.normal(value, sigma, "rad")},
        {"points_px": [list(a), list(vertex), list(b)]},
    )
