"""The knife edge in the lamp's image: uncut fraction, travel, slope, and the shadow test.

::

      open side                                 side n from which the blade comes in
          |<------------- a ------------->|
          |   passes   |     cut         ############ blade
          |<--- a - x ->|<------ x ------>
          position 0 = nothing cut, position a = everything cut

A position is how far the edge has come into the image of the lamp, in metres: 0 where it first
touches the image, ``a`` (the image's width across the edge) where nothing passes any more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import Literal

import numpy as np

from liveview.optics.numbers import FloatArray, FloatOrArray, same_kind

LampShape = Literal["slit", "round"]
"""``slit``: a slit or square with a side along the edge. ``round``: a disc."""

SLIT_SLOPE = 1.0
ROUND_SLOPE_HALF_CUT = 4.0 / math.pi
"""Slope of a round lamp at half cut against a slit of the same width (1.2732)."""


def uncut_from_position(
    position_m: FloatOrArray, width_m: float, shape: LampShape = "slit"
) -> FloatOrArray:
    """Share of the lamp's image that passes the blade.

    Parameters
    ----------
    position_m : float or array
        Position of the edge, 0 (open) to ``width_m`` (cut); beyond, the result stays 1 or 0.
    width_m : float
        Width of the image across the edge; the diameter of a round one.
    shape : {"slit", "round"}

    Returns
    -------
    float or array
        Uncut fraction, 0..1. Slit ``1 - x/a``; round the circular segment
        ``(arccos u - u sqrt(1 - u^2)) / pi`` with ``u = 2 x/a - 1``.
    """
    share = np.asarray(position_m, dtype=np.float64) / width_m
    if shape == "slit":
        return same_kind(position_m, np.clip(1.0 - share, 0.0, 1.0))
    u = np.clip(2.0 * share - 1.0, -1.0, 1.0)
    uncut = (np.arccos(u) - u * np.sqrt(1.0 - u * u)) / math.pi
    return same_kind(position_m, uncut)


def position_from_uncut(
    uncut: FloatOrArray, width_m: float, shape: LampShape = "slit"
) -> FloatOrArray:
    """Position of the edge at which this share passes; inverse of ``uncut_from_position``.

    Exact to rounding for both shapes. NaN where ``uncut`` is not within 0..1.

    Returns
    -------
    float or array
        Metres, 0..``width_m``.
    """
    if isinstance(uncut, float) and 0.0 <= uncut <= 1.0:
        return width_m * (1.0 - uncut if shape == "slit" else _height_of(uncut))
    share = np.asarray(uncut, dtype=np.float64)
    share = np.where((share >= 0.0) & (share <= 1.0), share, np.nan)
    cut = 1.0 - share if shape == "slit" else _segment_height(share)
    return same_kind(uncut, cut * width_m)


def _segment_height(uncut: FloatArray) -> FloatArray:
    """Share of the diameter that is cut where ``uncut`` of a disc's area passes.

    With the segment's opening angle phi, ``phi - sin phi = 2 pi area`` for the smaller of the
    two parts. The left side is convex on 0..pi, so Newton's method started at the root of the
    leading term ``phi^3/6`` overshoots once and then falls to the root.
    """
    small = np.minimum(uncut, 1.0 - uncut)
    target = 2.0 * math.pi * small
    phi = np.minimum(np.cbrt(6.0 * target), math.pi)
    for _ in range(8):
        slope = 2.0 * np.sin(phi / 2.0) ** 2
        step = np.divide(
            _angle_minus_sine(phi) - target, slope, out=np.zeros_like(phi), where=slope > 0.0
        )
        phi = np.minimum(phi - step, math.pi)
    height = np.sin(phi / 4.0) ** 2
    phi_unknown = np.isnan(small)
    cut = np.where(uncut < 0.5, 1.0 - height, height)
    return np.where(phi_unknown, np.nan, cut)


@lru_cache(maxsize=16)
def _height_of(uncut: float) -> float:
    """The same for one number within 0..1, many times a second."""
    small = min(uncut, 1.0 - uncut)
    target = 2.0 * math.pi * small
    phi = min((6.0 * target) ** (1.0 / 3.0), math.pi)
    for _ in range(8):
        slope = 2.0 * math.sin(phi / 2.0) ** 2
        if slope <= 0.0:
            break
        square = phi * phi
        series = phi * square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0))
        miss = (series if phi < 0.1 else phi - math.sin(phi)) - target
        phi = min(phi - miss / slope, math.pi)
    height = math.sin(phi / 4.0) ** 2
    return 1.0 - height if uncut < 0.5 else height


def _angle_minus_sine(phi: FloatArray) -> FloatArray:
    """``phi - sin phi`` without cancellation near zero."""
    square = phi * phi
    series = phi * square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0))
    return np.where(phi < 0.1, series, phi - np.sin(phi))


def slope_at_uncut(uncut: FloatOrArray, width_m: float, shape: LampShape = "slit") -> FloatOrArray:
    """How fast the uncut fraction falls as the edge goes in: ``|dT/dx|``, per metre.

    Slit ``1/a``; round ``(4/(pi a)) sqrt(1 - u^2)``, which is 0 at both ends. NaN outside 0..1.
    """
    if isinstance(uncut, float) and 0.0 <= uncut <= 1.0:
        if shape == "slit":
            return SLIT_SLOPE / width_m
        place = 2.0 * _height_of(uncut) - 1.0
        return ROUND_SLOPE_HALF_CUT / width_m * math.sqrt(max(0.0, 1.0 - place * place))
    share = np.asarray(uncut, dtype=np.float64)
    inside = np.where((share >= 0.0) & (share <= 1.0), 1.0, np.nan)
    if shape == "slit":
        return same_kind(uncut, inside * SLIT_SLOPE / width_m)
    u = 2.0 * _segment_height(share * inside) - 1.0
    slope = ROUND_SLOPE_HALF_CUT / width_m * np.sqrt(np.maximum(0.0, 1.0 - u * u))
    return same_kind(uncut, slope)


def travel_between(
    uncut_now: float, uncut_wanted: float, width_m: float, shape: LampShape = "slit"
) -> float:
    """Metres the blade must go in (positive) or out (negative) to change the uncut fraction."""
    return position_from_uncut(uncut_wanted, width_m, shape) - position_from_uncut(
        uncut_now, width_m, shape
    )


class AxialState(str, Enum):
    """Where the blade stands along the axis. Words for people are made at the screen."""

    IN_FOCUS = "in focus"
    TOO_NEAR = "too near"
    """Too near to the mirror: the side where the blade comes in is the darker one."""
    TOO_FAR = "too far"
    """Too far from the mirror: the opposite side is the darker one."""
    UNKNOWN = "unknown"
    """The blade cuts nothing or everything, so the disc cannot tilt."""


@dataclass(frozen=True, slots=True)
class AxialOffset:
    """Distance of the blade from the lamp's image along the axis, positive towards the mirror.

    ``offset_m`` and ``error_m`` (one standard deviation from the tilt's noise) are None when
    only the direction is known (``clipped``: part of the disc is fully dark or fully open) or
    nothing is.
    """

    state: AxialState
    offset_m: float | None = None
    error_m: float | None = None
    clipped: bool = False


def tilt_from_axial_offset(
    offset_m: float,
    uncut: float,
    width_m: float,
    mirror_diameter_m: float,
    blade_distance_m: float,
    shape: LampShape = "slit",
) -> float:
    """Fall of the uncut fraction over the disc towards the blade's side.

    A ray from the mirror point X (positive towards the blade's side) crosses the blade's plane
    at ``X dz/L``, so the disc shows ``T(x0 + X dz/L)``. The tilt is that function's
    least-squares slope over the disc times the diameter, which for a slit not clipped anywhere is
    exactly ``D dz / (a L)``. ``uncut`` is the fraction at the disc's centre.
    (Foucault 1858; geometry of Settles 2001, ch. 3.)
    """
    reach = mirror_diameter_m * offset_m / (2.0 * blade_distance_m)
    position = position_from_uncut(uncut, width_m, shape)
    return _disc_mean_and_tilt(position, reach, width_m, shape)[1]


_NODES = 24
_ANGLES = np.arange(1, _NODES + 1) * math.pi / (_NODES + 1)
_CHORD = np.cos(_ANGLES)
"""Gauss-Chebyshev nodes of the second kind: mirror points in units of the radius, weighted by
the length of the disc's chord there."""
_WEIGHT = 2.0 / (_NODES + 1) * np.sin(_ANGLES) ** 2


def _disc_mean_and_tilt(
    position_m: float, reach_m: float, width_m: float, shape: LampShape
) -> tuple[float, float]:
    """Mean uncut fraction over the disc, and its fall over the diameter towards the blade.

    ``reach_m`` is how far rays from the disc's rim cross off the centre ray, X = +R at the
    blade's side. For weights of a disc the least-squares slope is ``4 <X F>`` in units of 1/R.
    """
    uncut = uncut_from_position(position_m + reach_m * _CHORD, width_m, shape)
    mean = float(np.sum(_WEIGHT * uncut))
    tilt = -8.0 * float(np.sum(_WEIGHT * _CHORD * uncut))
    return mean, tilt


_LEAST_UNCUT = 0.01
"""Nearer than this to fully open or fully cut a disc has no tilt to speak of."""


def axial_offset_from_tilt(
    tilt: float,
    uncut: float,
    width_m: float,
    mirror_diameter_m: float,
    blade_distance_m: float,
    shape: LampShape = "slit",
    *,
    tilt_sigma: float = 0.0,
    tolerance: float = 0.02,
) -> AxialOffset:
    """Where the blade stands along the axis, from the tilt of the disc's brightness.

    Parameters
    ----------
    tilt : float
        Fall of the uncut fraction over the diameter towards the blade's side, measured against
        the open picture (least squares over the disc).
    uncut : float
        Mean uncut fraction over the disc.
    width_m, mirror_diameter_m, blade_distance_m : float
        Width of the lamp's image, diameter D, mirror to blade L.
    tilt_sigma : float
        One standard deviation of ``tilt``.
    tolerance : float
        Tilts up to this, or to three ``tilt_sigma`` if that is more, count as in focus.

    Returns
    -------
    AxialOffset
        Slit: ``dz = tilt a L / D``. Round: solved for the disc's mean and tilt together. Without
        a figure where the solution reaches past either end of the lamp's image.
    """
    if not (_LEAST_UNCUT <= uncut <= 1.0 - _LEAST_UNCUT and math.isfinite(tilt)):
        return AxialOffset(AxialState.UNKNOWN)
    position, reach = _solve_reach(tilt, uncut, width_m, shape)
    clipped = position - abs(reach) < 0.0 or position + abs(reach) > width_m
    state = AxialState.TOO_NEAR if tilt > 0.0 else AxialState.TOO_FAR
    if abs(tilt) <= max(tolerance, 3.0 * tilt_sigma):
        state = AxialState.IN_FOCUS
    if clipped:
        return AxialOffset(state, clipped=True)
    metres_per_reach = 2.0 * blade_distance_m / mirror_diameter_m
    slope = slope_at_uncut(uncut, width_m, shape)
    error = tilt_sigma / (2.0 * slope) * metres_per_reach
    return AxialOffset(state, reach * metres_per_reach, error)


def _solve_reach(
    tilt: float, uncut: float, width_m: float, shape: LampShape
) -> tuple[float, float]:
    """Position and reach (metres) whose disc has this mean and tilt; first order for a slit."""
    position = position_from_uncut(uncut, width_m, shape)
    slope = slope_at_uncut(uncut, width_m, shape)
    reach = tilt / (2.0 * slope)
    if shape == "slit":
        return position, reach
    for _ in range(12):
        mean, got = _disc_mean_and_tilt(position, reach, width_m, shape)
        position = min(max(position + (mean - uncut) / slope, 0.0), width_m)
        change = (tilt - got) / (2.0 * slope)
        reach += change
        if abs(change) < 1e-9 * width_m or abs(reach) > width_m:
            break
    return position, reach


def axial_tolerance(
    tilt: float, width_m: float, mirror_diameter_m: float, blade_distance_m: float
) -> float:
    """How far off the focus a slit blade may stand before the disc tilts by ``tilt``, metres."""
    return tilt * width_m * blade_distance_m / mirror_diameter_m
