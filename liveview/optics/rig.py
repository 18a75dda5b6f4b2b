"""Geometry of the rig: where the lamp's image is, how large, and with what lever arms.

::

    one mirror      lamp  <------------ s ------------>  )
                    blade <------------ L ------------>  )  mirror D, f
    camera  g behind      object  <------- d --------->  )

    two mirrors     lamp <- f1 -> (  ==== parallel ====  ) <- L = f2 -> blade
    lenses          the same with lenses

Distances are positive lengths in metres. A mirror counts as a thin element; the folded path
of a mirror is treated unfolded, which leaves sides as they are in the picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from liveview.errors import BadRequest

RigKind = Literal["one mirror", "two mirrors", "lenses"]


def image_distance(source_m: float, focal_length_m: float) -> float:
    """Distance of the image from the mirror or lens: ``1/s + 1/L = 1/f``.

    Infinite with the source in the focus; negative (behind a mirror) with it inside.
    (Any text on geometrical optics, such as Hecht.)
    """
    if source_m == focal_length_m:
        return math.inf
    return source_m * focal_length_m / (source_m - focal_length_m)


def magnification(source_m: float, image_m: float) -> float:
    """Size of the image against the source: ``m = L/s``."""
    return image_m / source_m


def sagitta(diameter_m: float, curvature_radius_m: float) -> float:
    """Depth of a spherical mirror's curve at its rim: ``R - sqrt(R^2 - D^2/4)``."""
    half = diameter_m / 2.0
    root = math.sqrt(curvature_radius_m**2 - half**2)
    return half**2 / (curvature_radius_m + root)


def outward_arm(object_m: float, image_m: float, focal_length_m: float) -> float:
    """Shift at the blade per angle bent on the way to the mirror: ``L + d - L d/f``.

    From the ray matrices: ``d`` to the mirror, the mirror, ``L`` to the blade.
    """
    return image_m + object_m - image_m * object_m / focal_length_m


def return_arm(object_m: float, image_m: float) -> float:
    """Shift at the blade per angle bent on the way back: ``L - d``."""
    return image_m - object_m


def paraboloid_blur(diameter_m: float, curvature_radius_m: float) -> float:
    """Width of the smallest blur of a paraboloid used near its centre of curvature.

    Its zones focus over a length r^2/R with a fixed lamp (the Foucault tester's figure), so
    rays of the rim miss the paraxial focus by r^3/R^2; the smallest circle is a quarter of
    that in radius, half of it in diameter.
    """
    return (diameter_m / 2.0) ** 3 / (2.0 * curvature_radius_m**2)


@dataclass(frozen=True, slots=True)
class RigGeometry:
    """A rig with nothing left open; build it with ``resolve``.

    ``image_distance_m`` is mirror to lamp image, ``blade_distance_m`` mirror to blade (of the
    second mirror or lens with two). ``arms_m`` has one lever arm per pass, ``image_width_m`` is
    the width of the lamp's image across the edge. ``object_scale`` is the length at the object
    that one metre of the mirror's disc stands for in the picture. ``assumed`` names values
    that were not given: ``"object distance"``, ``"lamp distance"``, ``"blade distance"``.
    """

    kind: RigKind
    mirror_diameter_m: float
    focal_length_m: float
    first_focal_length_m: float
    lamp_distance_m: float
    image_distance_m: float
    blade_distance_m: float
    object_distance_m: float
    lamp_width_m: float
    image_width_m: float
    arms_m: tuple[float, ...]
    object_scale: float
    assumed: tuple[str, ...] = ()

    @property
    def passes(self) -> int:
        """How often light goes through the test region."""
        return len(self.arms_m)

    @property
    def arm_sum_m(self) -> float:
        """Shift of the lamp's image per angle bent in each pass, ``N L``."""
        return sum(self.arms_m)

    @property
    def magnification(self) -> float:
        """Lamp image against lamp, from the distances."""
        if self.kind == "one mirror":
            return magnification(self.lamp_distance_m, self.image_distance_m)
        return magnification(self.first_focal_length_m, self.focal_length_m)

    @property
    def blade_offset_m(self) -> float:
        """How much nearer to the mirror than the lamp's image the blade stands."""
        return self.image_distance_m - self.blade_distance_m

    @property
    def paraboloid_blur_m(self) -> float:
        """Width of the blur of the lamp's image if the one mirror is a paraboloid."""
        return paraboloid_blur(self.mirror_diameter_m, 2.0 * self.focal_length_m)

    @property
    def element(self) -> str:
        """What the light's path is made of: ``"mirror"`` or ``"lens"``."""
        return "lens" if self.kind == "lenses" else "mirror"

    @property
    def object_field_m(self) -> float:
        """Diameter of the round part of the object's plane that can be seen."""
        return self.mirror_diameter_m * self.object_scale


def resolve(
    kind: RigKind,
    mirror_diameter_m: float,
    focal_length_m: float,
    *,
    first_focal_length_m: float | None = None,
    lamp_distance_m: float | None = None,
    blade_distance_m: float | None = None,
    object_distance_m: float = 0.0,
    lamp_width_m: float = 0.001,
    image_width_m: float | None = None,
) -> RigGeometry:
    """Fill in what was left open and check that the rig can exist.

    Absent distances: the lamp at ``2 f`` (one mirror) or in the first focus (two), the blade
    where the lamp's image is.

    Raises
    ------
    BadRequest
        The mirror is wider than its sphere, the lamp's image does not form in front of the
        mirror, or the object does not stand between blade, lamp and mirror.
    """
    _positive(
        mirror_diameter=mirror_diameter_m,
        focal_length=focal_length_m,
        first_focal_length=first_focal_length_m,
        lamp_distance=lamp_distance_m,
        blade_distance=blade_distance_m,
        lamp_width=lamp_width_m,
        lamp_image_width=image_width_m,
    )
    if kind != "lenses" and mirror_diameter_m >= 4.0 * focal_length_m:
        raise BadRequest(
            f"a mirror {mirror_diameter_m:g} m wide cannot have a focal length of "
            f"{focal_length_m:g} m",
            "rig.mirror_diameter",
            "the diameter must be below four focal lengths",
        )
    first = focal_length_m if first_focal_length_m is None else first_focal_length_m
    if kind == "one mirror":
        lamp = 2.0 * focal_length_m if lamp_distance_m is None else lamp_distance_m
        image = _real_image(lamp, focal_length_m)
    else:
        lamp = first if lamp_distance_m is None else lamp_distance_m
        image = focal_length_m
    blade = image if blade_distance_m is None else blade_distance_m
    if kind == "one mirror":
        _object_between(object_distance_m, lamp, blade)
        arms: tuple[float, ...] = (
            outward_arm(object_distance_m, blade, focal_length_m),
            return_arm(object_distance_m, blade),
        )
        scale = 1.0 - object_distance_m / blade
        enlarged = magnification(lamp, image)
    else:
        if object_distance_m < 0.0:
            raise BadRequest("must not be negative", "rig.object_distance")
        arms = (outward_arm(object_distance_m, blade, focal_length_m),)
        scale = 1.0
        enlarged = magnification(first, focal_length_m)
    if sum(arms) <= 0.0:
        raise BadRequest(
            f"at {object_distance_m:g} m from the mirror the two passes cancel or reverse",
            "rig.object_distance",
            "put the object nearer to the mirror",
        )
    return RigGeometry(
        kind=kind,
        mirror_diameter_m=mirror_diameter_m,
        focal_length_m=focal_length_m,
        first_focal_length_m=first,
        lamp_distance_m=lamp,
        image_distance_m=image,
        blade_distance_m=blade,
        object_distance_m=object_distance_m,
        lamp_width_m=lamp_width_m,
        image_width_m=enlarged * lamp_width_m if image_width_m is None else image_width_m,
        arms_m=arms,
        object_scale=scale,
        assumed=_assumed(kind, lamp_distance_m, blade_distance_m, object_distance_m),
    )


def _positive(**lengths_m: float | None) -> None:
    for key, value in lengths_m.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise BadRequest(f"{value:g} m is not a length above zero", key)


def _real_image(lamp_m: float, focal_length_m: float) -> float:
    image = image_distance(lamp_m, focal_length_m)
    if not 0.0 < image < math.inf:
        place = "in the focus" if math.isinf(image) else "inside the focal length"
        where = "nowhere" if math.isinf(image) else "behind the mirror"
        raise BadRequest(
            f"the lamp at {lamp_m:g} m stands {place} ({focal_length_m:g} m), so its image "
            f"would be {where}",
            "rig.lamp_distance",
            f"put the lamp near {2.0 * focal_length_m:g} m",
        )
    return image


def _object_between(object_m: float, lamp_m: float, blade_m: float) -> None:
    nearest = min(lamp_m, blade_m)
    if not 0.0 <= object_m < nearest:
        raise BadRequest(
            f"the object at {object_m:g} m does not stand between the mirror and the lamp and "
            f"blade ({nearest:g} m)",
            "rig.object_distance",
            "distances count from the mirror",
        )


def _assumed(
    kind: RigKind, lamp_m: float | None, blade_m: float | None, object_m: float
) -> tuple[str, ...]:
    names = []
    if lamp_m is None:
        names.append("lamp distance")
    if blade_m is None:
        names.append("blade distance")
    if object_m == 0.0 and kind == "one mirror":
        names.append("object distance")
    return tuple(names)
