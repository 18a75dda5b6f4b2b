"""The camera behind the blade: field, lens, pupil, depth, smear, exposure.

``u`` is the distance from the camera's lens to the mirror (or to the second mirror or lens), which
the camera sees as a bright disc. ``g`` is the distance from the blade to the lens. Lenses are
thin; a real lens's entrance pupil stands for its place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


def image_scale(distance_m: float, lens_focal_m: float) -> float:
    """Size on the sensor per size at ``distance_m`` when focused there: ``fc/(u - fc)``.

    Infinite or negative (no real image) with the mirror inside the lens's focal length.
    """
    if distance_m == lens_focal_m:
        return math.inf
    return lens_focal_m / (distance_m - lens_focal_m)


def lens_to_fill(distance_m: float, width_m: float, sensor_m: float) -> float:
    """Focal length that images ``width_m`` at ``distance_m`` onto ``sensor_m`` exactly.

    ``fc = u h/(D + h)`` from ``h/D = fc/(u - fc)``.
    """
    return distance_m * sensor_m / (width_m + sensor_m)


def field_of_view(
    distance_m: float, lens_focal_m: float, sensor_m: tuple[float, float]
) -> tuple[float, float]:
    """Width and height at ``distance_m`` that the sensor covers, metres."""
    scale = image_scale(distance_m, lens_focal_m)
    return sensor_m[0] / scale, sensor_m[1] / scale


def pupil_needed(
    mirror_diameter_m: float, image_width_m: float, blade_distance_m: float, behind_m: float
) -> float:
    """Diameter of the lens's opening that lets the light of the whole disc through.

    A ray from the mirror's rim through the far end of the lamp's image stands off by
    ``a/2 + (a/2 + D/2) g/L`` at the lens, so the pupil must be ``a (1 + g/L) + D g/L`` wide.
    """
    spread = behind_m / blade_distance_m
    return image_width_m * (1.0 + spread) + mirror_diameter_m * spread


def unvignetted_diameter(
    pupil_m: float, image_width_m: float, blade_distance_m: float, behind_m: float
) -> float:
    """Diameter of the part of the disc whose light passes the lens whole, metres.

    Infinite with the lens at the blade if the lamp's image fits into the pupil; 0 if it does not.
    """
    spare = pupil_m - image_width_m * (1.0 + behind_m / blade_distance_m)
    if spare <= 0.0:
        return 0.0
    return math.inf if behind_m == 0.0 else spare * blade_distance_m / behind_m


def depth_of_object(blur_m: float, image_width_m: float, blade_distance_m: float) -> float:
    """How far in front of or behind the plane of focus an object blurs by ``blur_m``, metres.

    Not the lens but the lamp's image limits the rays of one point: they fill the angle ``a/L``,
    so the depth is ``c L/a`` to either side. Fringes of diffraction come on top.
    """
    return blur_m * blade_distance_m / image_width_m


def diffraction_blur(wavelength_m: float, distance_m: float, pupil_m: float) -> float:
    """Smallest detail at the mirror that the lens resolves, ``1.22 lambda u/p``, metres."""
    return 1.22 * wavelength_m * distance_m / pupil_m


def motion_blur(speed_m_s: float, exposure_s: float) -> float:
    """Length an object smears over during the exposure, metres."""
    return abs(speed_m_s) * exposure_s


def longest_exposure(speed_m_s: float, blur_m: float) -> float:
    """Longest exposure that smears by no more than ``blur_m``; infinite at rest, seconds."""
    return math.inf if speed_m_s == 0.0 else blur_m / abs(speed_m_s)


OPEN_TARGET = 0.80
"""Light of the open picture to aim at: room above for a brighter middle and for noise."""

CLIPPED = 0.97
"""From here on a mean of the disc is not to be trusted: parts of it are clipped."""


@dataclass(frozen=True, slots=True)
class ExposureAdvice:
    """What to set. ``exposure_s`` obeys the smear limit; ``light_factor`` says how many times
    more light (lamp, gain or aperture) is then still wanted, 1.0 when none is. ``measured`` is
    False when the picture was clipped, so that this is a step and a new measurement is needed."""

    exposure_s: float
    light_factor: float
    measured: bool


def exposure_advice(
    brightness: float,
    exposure_s: float,
    *,
    uncut: float = 1.0,
    target: float = OPEN_TARGET,
    longest_s: float = math.inf,
) -> ExposureAdvice:
    """Exposure that brings the open picture to ``target`` of the top code, in linear light.

    With the blade in, any point may get as bright as with the blade out, so the open picture
    decides.

    Parameters
    ----------
    brightness : float
        Mean linear light of the disc minus dark, 0..1 of the top code, at ``exposure_s``.
    uncut : float
        Uncut fraction during the measurement; 1 with the blade out.
    longest_s : float
        Limit from motion (``longest_exposure``) or from the frame rate.

    Raises
    ------
    ValueError
        Brightness, exposure or uncut fraction not above 0.
    """
    if min(brightness, exposure_s, uncut) <= 0.0:
        raise ValueError("brightness, exposure and uncut fraction must be above 0")
    measured = brightness < CLIPPED
    wanted = exposure_s * target * uncut / brightness if measured else exposure_s / 4.0
    chosen = min(wanted, longest_s)
    return ExposureAdvice(chosen, wanted / chosen, measured)
