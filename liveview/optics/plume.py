"""Round plumes and jets: from the angles across them to index, density and temperature.

With ``y`` the distance from the axis as seen and ``r`` the radius, the optical path is the Abel
transform of the index change, ``P(y) = 2 Int_y^inf dn(r) r dr / sqrt(r^2 - y^2)``, and the angle
is its slope, ``eps = dP/dy`` (towards the denser gas). So
``dn(r) = -(1/pi) Int_r^inf eps(y) dy / sqrt(y^2 - r^2)``.
The inverse is taken by PyAbel's three-point method (Dasch 1992, Appl. Opt. 31:1146).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from liveview.optics.gas import (
    AIR,
    NORMAL_PRESSURE_PA,
    Gas,
    air_refractivity,
    ideal_density,
    share_from_index,
    temperature_from_index,
)
from liveview.optics.numbers import FloatArray

GAUSS_PEAK = math.sqrt(2.0 * math.pi) * math.exp(-0.5)
"""Largest angle of a round Gaussian plume per index change on its axis (1.5203), at
``y = s/sqrt(2)`` for ``dn exp(-r^2/s^2)``; the plume's size drops out."""


def gaussian_plume_angle(index_change: float) -> float:
    """Largest angle of a round plume of Gaussian profile with this change on its axis, rad."""
    return GAUSS_PEAK * abs(index_change)


@dataclass(frozen=True, slots=True)
class PlumeProfile:
    """A round plume by radius, from its axis outwards.

    Of air: ``temperature_k`` at constant pressure, ``gas_share`` None. Of another gas: its mole
    fraction ``gas_share`` in air at the room's temperature, and ``temperature_k`` is that.
    ``index_sigma`` and ``temperature_sigma_k`` are standard deviations from the noise of the
    angles alone; they grow towards the axis. ``lopsided`` is the share of the angles (rms)
    that no round plume can give: 0 for a perfectly round one. ``beyond`` is True when the
    angles at the rim of the profile had not fallen to the noise, so that gas outside was missed.
    """

    r_m: FloatArray
    index_change: FloatArray
    index_sigma: FloatArray
    density: FloatArray
    temperature_k: FloatArray
    temperature_sigma_k: FloatArray
    gas_share: FloatArray | None
    gas_share_sigma: FloatArray | None
    centre_m: float
    lopsided: float
    beyond: bool
    assumptions: tuple[str, ...]


@lru_cache(maxsize=8)
def _operator(count: int) -> FloatArray:
    """Matrix from angles at radii 0, 1, .. count-1 (step 1) to the index change there.

    The angles are summed inwards to the path (trapezoids), then inverted.
    """
    import abel

    inverse = abel.dasch.three_point_transform(np.eye(count), direction="inverse", dr=1.0)
    path = np.zeros((count, count))
    for row in range(count - 1):
        path[row, row] = -0.5
        path[row, row + 1 :] = -1.0
        path[row, -1] = -0.5
    matrix: FloatArray = np.ascontiguousarray(np.asarray(inverse, dtype=np.float64).T @ path)
    matrix.setflags(write=False)
    return matrix


def index_from_angles(eps_rad: FloatArray, step_m: float) -> FloatArray:
    """Index change by radius from the angles of one half of a round plume.

    Parameters
    ----------
    eps_rad : array (n,)
        Angle of one pass at ``y = 0, step, 2 step ..``, positive away from the axis; must have
        fallen to zero at the end.
    step_m : float
        Distance of the samples. The result does not depend on it: angles are already slopes.

    Returns
    -------
    array (n,)
        ``n - n_outside`` at the same radii.
    """
    angles = np.asarray(eps_rad, dtype=np.float64)
    if step_m <= 0.0 or angles.ndim != 1 or len(angles) < 4:
        raise ValueError("need a row of at least 4 angles and a step above 0")
    result: FloatArray = _operator(len(angles)) @ angles
    return result


def plume_from_angles(
    y_m: FloatArray,
    eps_rad: FloatArray,
    *,
    centre_m: float | None = None,
    eps_sigma_rad: float = 0.0,
    temperature_k: float = 293.15,
    pressure_pa: float = NORMAL_PRESSURE_PA,
    wavelength_m: float = 550e-9,
    gas: Gas = AIR,
) -> PlumeProfile:
    """Index, density and temperature of a round plume from the angles across all of it.

    Parameters
    ----------
    y_m : array (n,)
        Places across the plume, evenly spaced and increasing.
    eps_rad : array (n,)
        Angle of one pass there, positive towards increasing y.
    centre_m : float, optional
        The axis; found by itself (the place about which the angles are most nearly odd) when
        absent.
    eps_sigma_rad : float
        Noise of each angle, independent from point to point.
    temperature_k, pressure_pa : float
        Of the room.
    gas : Gas
        What flows. Air by default: then its temperature is found. Of another gas its share is
        found, taking it to have the room's temperature.

    Raises
    ------
    ValueError
        Too few points, uneven or unordered places, or a centre outside them.
    """
    y = np.asarray(y_m, dtype=np.float64)
    eps = np.asarray(eps_rad, dtype=np.float64)
    step = _even_step(y, eps)
    centre = find_axis(y, eps) if centre_m is None else centre_m
    odd, lopsided = _odd_half(y, eps, centre, step)
    change = index_from_angles(odd, step)
    # Each half-profile angle is the mean of two measured ones.
    sigma = np.sqrt((_operator(len(odd)) ** 2).sum(axis=1)) * eps_sigma_rad / math.sqrt(2.0)
    rim = max(3.0 * eps_sigma_rad / math.sqrt(2.0), 0.03 * float(np.max(np.abs(odd))))
    ambient = air_refractivity(temperature_k, pressure_pa, wavelength_m)
    state = _warm_air if gas is AIR else _mixture
    density, temperature, temperature_sigma, share, share_sigma = state(
        change, sigma, ambient, temperature_k, pressure_pa, gas
    )
    return PlumeProfile(
        r_m=step * np.arange(len(odd), dtype=np.float64),
        index_change=change,
        index_sigma=sigma,
        density=density,
        temperature_k=temperature,
        temperature_sigma_k=temperature_sigma,
        gas_share=share,
        gas_share_sigma=share_sigma,
        centre_m=centre,
        lopsided=lopsided,
        beyond=bool(np.any(np.abs(odd[-2:]) > rim)),
        assumptions=_assumptions(gas, temperature_k, pressure_pa),
    )


def _assumptions(gas: Gas, temperature_k: float, pressure_pa: float) -> tuple[str, ...]:
    what = (
        "it is air of unchanged composition"
        if gas is AIR
        else f"it is {gas.name} mixed with air, all at the room's temperature"
    )
    return (
        "the plume is round about its axis",
        f"{what}, at the room's pressure of {pressure_pa / 1000.0:.1f} kPa",
        f"the air outside it is at {temperature_k:.1f} K",
        "rays go nearly straight (small angles)",
    )


def _even_step(y: FloatArray, eps: FloatArray) -> float:
    if y.ndim != 1 or y.shape != eps.shape or len(y) < 8:
        raise ValueError("need at least 8 places and as many angles")
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(eps))):
        raise ValueError("places and angles must be finite; cut the profile where it is clipped")
    steps = np.diff(y)
    step = float(steps.mean())
    if step <= 0.0 or np.any(np.abs(steps - step) > 1e-3 * step):
        raise ValueError("places must be evenly spaced and increasing")
    return step


def find_axis(y_m: FloatArray, eps_rad: FloatArray) -> float:
    """The place about which the angles are most nearly odd, metres, to a hundredth of a step.

    The correlation of the angles with their own mirror image, with the sign turned, peaks at
    twice the axis; a parabola through the peak refines it.
    """
    odd = -np.convolve(eps_rad, eps_rad)
    best = int(np.argmax(odd))
    place = float(best)
    if 0 < best < len(odd) - 1:
        below, top, above = odd[best - 1 : best + 2]
        bend = below - 2.0 * top + above
        if bend < 0.0:
            place += 0.5 * float((below - above) / bend)
    step = float(y_m[1] - y_m[0])
    return float(y_m[0]) + 0.5 * place * step


def _odd_half(
    y: FloatArray, eps: FloatArray, centre: float, step: float
) -> tuple[FloatArray, float]:
    """Odd part of the angles outwards from the axis, and the even part's share (rms)."""
    reach = min(centre - y[0], y[-1] - centre)
    count = math.floor(reach / step + 1e-6) + 1
    if count < 4:
        raise ValueError("the plume's axis is too near to the end of the profile")
    r = step * np.arange(count)
    right = np.interp(centre + r, y, eps)
    left = np.interp(centre - r, y, eps)
    odd: FloatArray = (right - left) / 2.0
    even = (right + left) / 2.0
    total = float(np.sqrt(np.mean(odd**2 + even**2)))
    return odd, 0.0 if total == 0.0 else float(np.sqrt(np.mean(even**2))) / total


_State = tuple[FloatArray, FloatArray, FloatArray, FloatArray | None, FloatArray | None]
"""Density, temperature and its sigma, share of the gas and its sigma."""


def _warm_air(
    change: FloatArray,
    sigma: FloatArray,
    ambient: float,
    temperature_k: float,
    pressure_pa: float,
    gas: Gas,
) -> _State:
    temperature = temperature_from_index(change, ambient, temperature_k)
    density = ideal_density(temperature_k, pressure_pa, gas.molar_mass) * (1.0 + change / ambient)
    return density, temperature, temperature**2 / (temperature_k * ambient) * sigma, None, None


def _mixture(
    change: FloatArray,
    sigma: FloatArray,
    ambient: float,
    temperature_k: float,
    pressure_pa: float,
    gas: Gas,
) -> _State:
    pure = gas.refractivity(temperature_k, pressure_pa)
    share = share_from_index(change, gas, ambient, pure)
    air = ideal_density(temperature_k, pressure_pa)
    density = air + share * (gas.density(temperature_k, pressure_pa) - air)
    same = np.full_like(change, temperature_k)
    return density, same, np.zeros_like(change), share, sigma / abs(pure - ambient)
