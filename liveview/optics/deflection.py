"""From bent light to contrast and back.

A pass through the test region bends a ray by the angle ``eps`` at right angles to the edge. The
lamp's image moves by ``Delta = arms * eps`` at the blade, ``arms`` being the sum of the lever
arms of all passes (``optics.rig``). With the edge at ``x0`` the point of the mirror shows
``T(x0 - Delta)``.

Sign: ``eps`` is positive when light is bent towards the side opposite to the blade; that
brightens. Light bends towards the denser air.

Contrast is ``C = (I - I_ref)/(I_ref - I_dark) = T(x0 - Delta)/T0 - 1``.
(Settles 2001, ch. 3; there N = 1, L = f2 and ``a T0`` is the uncut height.)
"""

from __future__ import annotations

import numpy as np

from liveview.model import Side
from liveview.optics.blade import (
    LampShape,
    position_from_uncut,
    slope_at_uncut,
    uncut_from_position,
)
from liveview.optics.numbers import FloatOrArray, same_kind

NOISE_EQUIVALENT = 1.0
"""k of the noise-equivalent angle."""
SEEN_BY_EYE = 4.0
"""k for what an eye accepts as really there; Rose (1948) found 3 to 5."""

_OPPOSITE = {
    Side.LEFT: Side.RIGHT,
    Side.RIGHT: Side.LEFT,
    Side.TOP: Side.BOTTOM,
    Side.BOTTOM: Side.TOP,
}


def brightening_side(blade: Side) -> Side:
    """Side of the picture towards which light must be bent (denser air) to look brighter."""
    return _OPPOSITE[blade]


def contrast_from_angle(
    eps_rad: FloatOrArray,
    arms_m: float,
    width_m: float,
    uncut: float,
    shape: LampShape = "slit",
) -> FloatOrArray:
    """Contrast of a mirror point whose light is bent by ``eps_rad`` in each pass.

    Exact for both shapes, also beyond the range, where it stays at -1 or ``1/T0 - 1``.

    Parameters
    ----------
    eps_rad : float or array
        Angle per pass, positive towards the side opposite to the blade.
    arms_m : float
        Sum of the lever arms, ``N L``.
    width_m : float
        Width of the lamp's image at the blade.
    uncut : float
        Uncut fraction T0 with no disturbance, above 0 up to 1.
    """
    edge = position_from_uncut(uncut, width_m, shape)
    moved = edge - arms_m * np.asarray(eps_rad, dtype=np.float64)
    contrast = uncut_from_position(np.atleast_1d(moved), width_m, shape) / uncut - 1.0
    return same_kind(eps_rad, contrast.reshape(np.shape(eps_rad)))


def angle_from_contrast(
    contrast: FloatOrArray,
    arms_m: float,
    width_m: float,
    uncut: float,
    shape: LampShape = "slit",
) -> FloatOrArray:
    """Angle per pass from contrast; inverse of ``contrast_from_angle``.

    NaN where the contrast cannot occur with this cutoff (below -1 or above ``1/T0 - 1``). At
    the very ends the angle is the least that reaches them.
    """
    seen = uncut * (1.0 + np.asarray(contrast, dtype=np.float64))
    edge = position_from_uncut(uncut, width_m, shape)
    moved = position_from_uncut(np.atleast_1d(seen), width_m, shape)
    angle = (edge - moved) / arms_m
    return same_kind(contrast, angle.reshape(np.shape(contrast)))


def sensitivity(arms_m: float, width_m: float, uncut: float, shape: LampShape = "slit") -> float:
    """Contrast per radian for small angles: ``arms |dT/dx| / T0``; slit ``N L / (a T0)``."""
    return arms_m * slope_at_uncut(uncut, width_m, shape) / uncut


def contrast_range(uncut: float) -> tuple[float, float]:
    """Contrast of a point that is fully dark (-1) and of one fully open (``1/T0 - 1``)."""
    return -1.0, 1.0 / uncut - 1.0


def angle_range(
    arms_m: float, width_m: float, uncut: float, shape: LampShape = "slit"
) -> tuple[float, float]:
    """Angles per pass at which a point gets fully dark (negative) and fully open (positive).

    Slit ``-a T0/(N L)`` and ``a (1 - T0)/(N L)``.
    """
    edge = position_from_uncut(uncut, width_m, shape)
    return (edge - width_m) / arms_m, edge / arms_m


def smallest_angle(
    contrast_sigma: float,
    arms_m: float,
    width_m: float,
    uncut: float,
    shape: LampShape = "slit",
    *,
    k: float = NOISE_EQUIVALENT,
) -> float:
    """Angle whose contrast is ``k`` times the noise of the picture as shown, radians.

    ``k = 1`` gives the noise-equivalent angle. ``contrast_sigma`` is the standard deviation of
    the contrast at ``uncut``, after whatever averaging is shown. State ``k`` with the figure.
    """
    return k * contrast_sigma / sensitivity(arms_m, width_m, uncut, shape)


def diffraction_spread(wavelength_m: float, feature_m: float) -> float:
    """Angle by which light spreads at a feature of this size, about ``lambda / size``, radians.

    No smaller bend of a feature this small can be told from its diffraction.
    """
    return wavelength_m / feature_m
