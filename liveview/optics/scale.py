"""From settings to the angle scale: what one unit of contrast means on this rig."""

from __future__ import annotations

from dataclasses import dataclass

from liveview.errors import BadRequest
from liveview.optics import deflection
from liveview.optics.blade import LampShape
from liveview.optics.numbers import FloatOrArray
from liveview.optics.rig import RigGeometry, resolve
from liveview.settings import Settings


def geometry(settings: Settings) -> RigGeometry:
    """The rig of the settings with nothing left open.

    Raises
    ------
    BadRequest
        The rig cannot exist, see ``optics.rig.resolve``.
    """
    return resolve(
        settings.rig.kind,
        settings.rig.mirror_diameter_m,
        settings.rig.focal_length_m,
        first_focal_length_m=settings.rig.first_focal_length_m,
        lamp_distance_m=settings.rig.lamp_distance_m,
        blade_distance_m=settings.blade.distance_m,
        object_distance_m=settings.rig.object_distance_m,
        lamp_width_m=settings.lamp.width_m,
        image_width_m=settings.lamp.image_width_m,
    )


@dataclass(frozen=True, slots=True)
class AngleScale:
    """Contrast to angle for one rig and one uncut fraction.

    ``rad_per_contrast`` holds for small contrasts (exactly and everywhere for a slit).
    ``low_rad`` and ``high_rad`` are where a point gets fully dark or fully open;
    ``contrast_low`` and ``contrast_high`` the contrasts there. ``assumptions`` are words for
    beside the figure.
    """

    rad_per_contrast: float
    low_rad: float
    high_rad: float
    contrast_low: float
    contrast_high: float
    uncut: float
    arm_sum_m: float
    image_width_m: float
    shape: LampShape
    assumptions: tuple[str, ...]

    @property
    def linear(self) -> bool:
        """True when ``rad_per_contrast`` holds for every contrast in the range."""
        return self.shape == "slit"

    def angle(self, contrast: FloatOrArray) -> FloatOrArray:
        """Exact angle per pass, radians; NaN for contrasts that this cutoff cannot give."""
        return deflection.angle_from_contrast(
            contrast, self.arm_sum_m, self.image_width_m, self.uncut, self.shape
        )

    def contrast(self, eps_rad: FloatOrArray) -> FloatOrArray:
        """Exact contrast of an angle per pass."""
        return deflection.contrast_from_angle(
            eps_rad, self.arm_sum_m, self.image_width_m, self.uncut, self.shape
        )


LEAST_UNCUT = 0.005
"""Below this, or as near to fully open, contrast says nothing about angles."""


def angle_scale(settings: Settings, uncut: float | None) -> AngleScale | None:
    """The angle scale of the rig in ``settings`` with this uncut fraction.

    Returns
    -------
    AngleScale or None
        None when the uncut fraction is not known or not between 0.005 and 0.995, or when the
        rig of the settings cannot exist: then no angle can be told.
    """
    if uncut is None or not LEAST_UNCUT <= uncut <= 1.0 - LEAST_UNCUT:
        return None
    try:
        rig = geometry(settings)
    except BadRequest:
        return None
    shape: LampShape = settings.lamp.shape
    arms, width = rig.arm_sum_m, rig.image_width_m
    low, high = deflection.angle_range(arms, width, uncut, shape)
    dark, bright = deflection.contrast_range(uncut)
    return AngleScale(
        rad_per_contrast=1.0 / deflection.sensitivity(arms, width, uncut, shape),
        low_rad=low,
        high_rad=high,
        contrast_low=dark,
        contrast_high=bright,
        uncut=uncut,
        arm_sum_m=arms,
        image_width_m=width,
        shape=shape,
        assumptions=_assumptions(settings, rig),
    )


def _assumptions(settings: Settings, rig: RigGeometry) -> tuple[str, ...]:
    words = [f"angle per pass, {rig.passes} pass{'es' if rig.passes > 1 else ''}"]
    if "object distance" in rig.assumed:
        words.append("object taken to be at the mirror")
    if "blade distance" in rig.assumed:
        words.append("blade taken to be in the lamp's image")
    if settings.lamp.image_width_m is None:
        words.append("width of the lamp's image computed, not measured")
    words.append(f"evenly bright {settings.lamp.shape} lamp")
    return tuple(words)
