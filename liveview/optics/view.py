"""How the camera of a rig sees the mirror."""

from __future__ import annotations

import math
from dataclasses import dataclass

from liveview.optics import camera
from liveview.optics.rig import RigGeometry

FILL = 0.92
"""Share of the picture's shorter side that the disc should take."""


@dataclass(frozen=True, slots=True)
class View:
    """How the camera sees the mirror. ``scale`` is size on the sensor per size at the mirror."""

    distance_m: float
    scale: float
    field_m: tuple[float, float]
    pixels: tuple[int, int]
    disc_pixels: float
    metres_per_pixel: float
    object_pixel_m: float
    pupil_m: float
    pupil_needed_m: float
    clear_diameter_m: float
    wanted_lens_m: float


def view_of(
    rig: RigGeometry,
    *,
    lens_m: float,
    f_number: float,
    sensor_m: tuple[float, float],
    pixels: tuple[int, int],
    behind_m: float,
) -> View | None:
    """What the camera sees, focused on the mirror; None when its lens cannot focus that near.

    Parameters
    ----------
    lens_m, f_number : float
        Focal length of the camera's lens and its aperture number.
    sensor_m, pixels : (width, height)
        Size of the sensor, and of the picture.
    behind_m : float
        From the blade to the lens.
    """
    distance = rig.blade_distance_m + behind_m
    scale = camera.image_scale(distance, lens_m)
    if not 0.0 < scale < math.inf:
        return None
    field = camera.field_of_view(distance, lens_m, sensor_m)
    per_pixel = max(field[0] / pixels[0], field[1] / pixels[1])
    pupil = lens_m / f_number
    spread = (rig.image_width_m, rig.blade_distance_m, behind_m)
    return View(
        distance_m=distance,
        scale=scale,
        field_m=field,
        pixels=pixels,
        disc_pixels=rig.mirror_diameter_m / per_pixel,
        metres_per_pixel=per_pixel,
        object_pixel_m=per_pixel * rig.object_scale,
        pupil_m=pupil,
        pupil_needed_m=camera.pupil_needed(rig.mirror_diameter_m, *spread),
        clear_diameter_m=camera.unvignetted_diameter(pupil, *spread),
        wanted_lens_m=camera.lens_to_fill(distance, rig.mirror_diameter_m, FILL * min(sensor_m)),
    )
