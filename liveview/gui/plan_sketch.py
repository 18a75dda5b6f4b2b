"""Where everything of a rig stands in its drawing: plain numbers, no painting.

The drawing lies in a plane: seen from above when the blade comes from the left or right of the
picture, else from the side. Lengths are metres and to scale in both directions; only the small
gap between lamp and blade is not (``gap``).

::

    one mirror     lamp  ..
                            '''----.._ )   mirror at x = 0, everything else to its left
                   blade ____...---''  )

    two mirrors            blade          lamp under the beam, blade over it
                   ( =============== )
                          lamp

    lenses         lamp  < | ======= | >  blade
"""

from __future__ import annotations

from dataclasses import dataclass

from liveview.model import Side
from liveview.optics.rig import RigGeometry

Point = tuple[float, float]
"""Metres; x to the right, y upwards."""


@dataclass(frozen=True, slots=True)
class Glass:
    """A mirror (``hollow`` +1 towards the right, -1 towards the left) or a lens (0)."""

    at: Point
    diameter_m: float
    hollow: int
    focal_length_m: float


@dataclass(frozen=True, slots=True)
class Sketch:
    """A rig laid out.

    ``light`` are the outlines of the cones and beams of light, from lamp to camera. ``looks`` is
    the direction in which the camera looks, +1 right or -1 left; ``blade_from`` +1 when the blade
    comes from above in the drawing, -1 from below.
    """

    glasses: tuple[Glass, ...]
    lamp: Point
    image: Point
    blade: Point
    camera: Point
    object: Point
    light: tuple[tuple[Point, ...], ...]
    looks: int
    blade_from: int
    from_above: bool

    @property
    def left(self) -> float:
        """Least x of anything that has a size of its own."""
        return min(x for x, _ in self._places())

    @property
    def right(self) -> float:
        """Largest x."""
        return max(x for x, _ in self._places())

    def _places(self) -> list[Point]:
        own = [self.lamp, self.image, self.blade, self.camera, self.object]
        return own + [glass.at for glass in self.glasses]

    @property
    def half_height(self) -> float:
        """Largest distance from the axis."""
        widest = max(glass.diameter_m for glass in self.glasses) / 2.0
        return max(widest, *(abs(y) for _, y in self._places()))


def sketch(rig: RigGeometry, camera_behind_m: float, side: Side, gap_m: float) -> Sketch:
    """Lay out a rig.

    Parameters
    ----------
    camera_behind_m : float
        Blade to camera lens.
    side : Side
        Side of the picture from which the blade comes in.
    gap_m : float
        How far apart lamp and blade (or beam and lamp, beam and blade) are drawn.
    """
    make = {"one mirror": _one_mirror, "two mirrors": _two_mirrors, "lenses": _lenses}
    return make[rig.kind](rig, camera_behind_m, side, gap_m)


def _from_above(side: Side) -> bool:
    return side in (Side.LEFT, Side.RIGHT)


def _one_mirror(rig: RigGeometry, behind: float, side: Side, gap: float) -> Sketch:
    # The camera looks to the right: seen from above its left is up in the drawing.
    blade_from = 1 if side in (Side.LEFT, Side.TOP) else -1
    high = blade_from * gap / 2.0
    half = rig.mirror_diameter_m / 2.0
    lamp = (-rig.lamp_distance_m, -high)
    image = (-rig.image_distance_m, high)
    lens = -rig.blade_distance_m - behind
    back_to_lens = _cone_beyond(image, (0.0, half), (0.0, -half), lens)
    return Sketch(
        glasses=(Glass((0.0, 0.0), rig.mirror_diameter_m, -1, rig.focal_length_m),),
        lamp=lamp,
        image=image,
        blade=(-rig.blade_distance_m, high),
        camera=(lens, high),
        object=(-rig.object_distance_m, 0.0),
        light=((lamp, (0.0, half), (0.0, -half)), ((0.0, half), image, (0.0, -half)), back_to_lens),
        looks=1,
        blade_from=blade_from,
        from_above=_from_above(side),
    )


def _two_mirrors(rig: RigGeometry, behind: float, side: Side, gap: float) -> Sketch:
    blade_from = 1 if side in (Side.LEFT, Side.TOP) else -1
    half = rig.mirror_diameter_m / 2.0
    length = _beam_length(rig)
    off = half + gap
    lamp = (rig.lamp_distance_m, -blade_from * off)
    image = (length - rig.image_distance_m, blade_from * off)
    lens = length - rig.blade_distance_m - behind
    first, second = (0.0, 0.0), (length, 0.0)
    return Sketch(
        glasses=(
            Glass(first, rig.mirror_diameter_m, 1, rig.first_focal_length_m),
            Glass(second, rig.mirror_diameter_m, -1, rig.focal_length_m),
        ),
        lamp=lamp,
        image=image,
        blade=(length - rig.blade_distance_m, blade_from * off),
        camera=(lens, blade_from * off),
        object=(length - rig.object_distance_m, 0.0),
        light=(
            (lamp, (0.0, half), (0.0, -half)),
            ((0.0, half), (length, half), (length, -half), (0.0, -half)),
            ((length, half), image, (length, -half)),
            _cone_beyond(image, (length, half), (length, -half), lens),
        ),
        looks=1,
        blade_from=blade_from,
        from_above=_from_above(side),
    )


def _lenses(rig: RigGeometry, behind: float, side: Side, gap: float) -> Sketch:
    # The camera looks to the left: seen from above its right is up in the drawing.
    blade_from = 1 if side in (Side.RIGHT, Side.TOP) else -1
    half = rig.mirror_diameter_m / 2.0
    length = _beam_length(rig)
    lamp = (-rig.lamp_distance_m, 0.0)
    image = (length + rig.image_distance_m, 0.0)
    lens = length + rig.blade_distance_m + behind
    return Sketch(
        glasses=(
            Glass((0.0, 0.0), rig.mirror_diameter_m, 0, rig.first_focal_length_m),
            Glass((length, 0.0), rig.mirror_diameter_m, 0, rig.focal_length_m),
        ),
        lamp=lamp,
        image=image,
        blade=(length + rig.blade_distance_m, 0.0),
        camera=(lens, 0.0),
        object=(length - rig.object_distance_m, 0.0),
        light=(
            (lamp, (0.0, half), (0.0, -half)),
            ((0.0, half), (length, half), (length, -half), (0.0, -half)),
            ((length, half), image, (length, -half)),
            _cone_beyond(image, (length, half), (length, -half), lens),
        ),
        looks=-1,
        blade_from=blade_from,
        from_above=_from_above(side),
    )


def _beam_length(rig: RigGeometry) -> float:
    """Between the two; free in a real rig, drawn so that lamp, blade and object have room."""
    longest = max(rig.focal_length_m, rig.first_focal_length_m)
    stretch = 1.25 if rig.kind == "two mirrors" else 0.8
    return max(stretch * longest, 1.2 * rig.object_distance_m)


def _cone_beyond(image: Point, one: Point, other: Point, x: float) -> tuple[Point, ...]:
    """Light that has crossed at the image, up to the camera's lens at ``x``."""
    return (image, _through(one, image, x), _through(other, image, x))


def _through(start: Point, via: Point, x: float) -> Point:
    """Where the line from ``start`` through ``via`` is at ``x``."""
    slope = (via[1] - start[1]) / (via[0] - start[0])
    return x, via[1] + slope * (x - via[0])
