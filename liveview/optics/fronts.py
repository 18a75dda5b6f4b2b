"""Shock fronts and blasts: speeds, jumps, and fits to radius against time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from liveview.optics.numbers import FloatArray, FloatOrArray, same_kind
from liveview.optics.sound import sound_speed

GAMMA_AIR = 1.4


@dataclass(frozen=True, slots=True)
class ShockJump:
    """What a normal shock does, downstream over upstream; ``mach_behind`` is seen from it."""

    mach: float
    pressure: float
    density: float
    temperature: float
    mach_behind: float
    total_pressure: float


def normal_shock(mach: float, gamma: float = GAMMA_AIR) -> ShockJump:
    """Jumps over a normal shock of this Mach number (NACA Report 1135, 1953, eqs. 93-99).

    Raises
    ------
    ValueError
        Mach number below 1: no shock.
    """
    if not mach >= 1.0:
        raise ValueError("a shock is not slower than sound")
    square = mach * mach
    up, down = gamma + 1.0, gamma - 1.0
    pressure = 1.0 + 2.0 * gamma / up * (square - 1.0)
    density = up * square / (down * square + 2.0)
    behind = math.sqrt((down * square + 2.0) / (2.0 * gamma * square - down))
    total = density ** (gamma / down) * pressure ** (-1.0 / down)
    return ShockJump(mach, pressure, density, pressure / density, behind, total)


def mach_from_pressure(ratio: float, gamma: float = GAMMA_AIR) -> float:
    """Mach number of the normal shock with this pressure ratio (1 or more)."""
    if not ratio >= 1.0:
        raise ValueError("the pressure behind a shock is not lower")
    return math.sqrt(1.0 + (ratio - 1.0) * (gamma + 1.0) / (2.0 * gamma))


def mach_from_density(ratio: float, gamma: float = GAMMA_AIR) -> float:
    """Mach number of the normal shock with this density ratio, 1 to below 6 in air."""
    limit = (gamma + 1.0) / (gamma - 1.0)
    if not 1.0 <= ratio < limit:
        raise ValueError(f"the density ratio of a shock is from 1 to below {limit:g}")
    return math.sqrt(2.0 * ratio / (gamma + 1.0 - (gamma - 1.0) * ratio))


@dataclass(frozen=True, slots=True)
class FrontFit:
    """A straight line through radius against time.

    ``speed_low`` and ``speed_high`` enclose the speed with ``confidence`` (Student's t on the
    scatter about the line). ``slows`` tells that a parabola fits significantly better and bends
    down (99 %): then the speed is only the mean over the stretch.
    """

    speed: float
    speed_low: float
    speed_high: float
    confidence: float
    start_m: float
    scatter_m: float
    points: int
    mach: float
    mach_low: float
    mach_high: float
    slows: bool
    sound_speed: float

    @property
    def shock(self) -> ShockJump | None:
        """Jumps over the front as a normal shock; None where it is not faster than sound."""
        return normal_shock(self.mach) if self.mach > 1.0 else None


def fit_front(
    time_s: FloatArray,
    radius_m: FloatArray,
    *,
    temperature_k: float = 293.15,
    confidence: float = 0.95,
) -> FrontFit:
    """Speed of a front from its place at several times.

    Raises
    ------
    ValueError
        Fewer than 3 points, or all at one time.
    """
    from scipy import stats

    t, r = _points(time_s, radius_m, 3)
    line = _line(t, r)
    left = len(t) - 2
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, left)) * line.slope_error
    speed = line.slope
    sound = sound_speed(temperature_k)
    return FrontFit(
        speed=speed,
        speed_low=speed - reach,
        speed_high=speed + reach,
        confidence=confidence,
        start_m=line.start,
        scatter_m=line.scatter,
        points=len(t),
        mach=speed / sound,
        mach_low=(speed - reach) / sound,
        mach_high=(speed + reach) / sound,
        slows=_slows(t, r, left * line.scatter**2),
        sound_speed=sound,
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """The straight line of least squares; ``scatter`` about it and the slope's standard error."""

    slope: float
    start: float
    scatter: float
    slope_error: float


def _line(x: FloatArray, y: FloatArray) -> _Line:
    """Also where all ``y`` are the same, of which SciPy's ``linregress`` knows no error."""
    away = x - x.mean()
    squares = float(away @ away)
    slope = float(away @ (y - y.mean())) / squares
    start = float(y.mean()) - slope * float(x.mean())
    rest = y - y.mean() - slope * away
    scatter = math.sqrt(float(rest @ rest) / (len(x) - 2))
    return _Line(slope, start, scatter, scatter / math.sqrt(squares))


def _points(time_s: FloatArray, radius_m: FloatArray, least: int) -> tuple[FloatArray, FloatArray]:
    t = np.asarray(time_s, dtype=np.float64)
    r = np.asarray(radius_m, dtype=np.float64)
    if t.shape != r.shape or t.ndim != 1 or len(t) < least:
        raise ValueError(f"need at least {least} points, one radius for each time")
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(r))):
        raise ValueError("times and radii must be finite")
    if np.ptp(t) == 0.0:
        raise ValueError("all points are at the same time")
    return t, r


def _slows(t: FloatArray, r: FloatArray, line_squares: float) -> bool:
    """F test of the bend of a parabola against the line."""
    from scipy import stats

    if len(t) < 5:
        return False
    scaled = (t - t.mean()) / np.ptp(t)
    bend, *rest = np.polyfit(scaled, r, 2)
    residual = r - np.polyval([bend, *rest], scaled)
    left = len(t) - 3
    squares = float(residual @ residual)
    if squares <= 1e-24 * float(r @ r):
        return bool(bend < -1e-9 * np.ptp(r))
    ratio = (line_squares - squares) / (squares / left)
    return bool(bend < 0.0 and stats.f.sf(ratio, 1, left) < 0.01)


BlastShape = Literal["point", "line"]

_STRONG = {"point": (5, 0.851072), "line": (4, 0.984074)}
"""Power of the radius, and K of ``E = K rho R^power / t^2`` for gamma 1.4: the integral of
Sedov's exact solution (Sedov 1946; values as in Kamm & Timmes 2007). Taylor (1950) found 0.856
for the point."""

STRONG_MACH = 3.0
"""Fronts slower than this leave the strong-blast law: the room's pressure then matters."""


@dataclass(frozen=True, slots=True)
class BlastFit:
    """A power law ``R = A t^b`` and the energy of a strong blast through radius against time.

    ``energy_j`` is J for a point, J per metre for a line; from the points whose front is faster
    than Mach 3 by the strong law (``strong`` marks them), or None when there is none. ``valid``
    says whether the whole fit is in that range and its exponent agrees with the law's
    (0.4 point, 0.5 line) within its confidence and 0.05. ``reason`` is empty then.
    """

    shape: BlastShape
    exponent: float
    exponent_low: float
    exponent_high: float
    confidence: float
    expected_exponent: float
    energy_j: float | None
    energy_low_j: float | None
    energy_high_j: float | None
    strong: tuple[bool, ...]
    slowest_mach: float
    valid: bool
    reason: str


def blast_radius(
    time_s: FloatOrArray, energy_j: float, density: float, shape: BlastShape = "point"
) -> FloatOrArray:
    """Radius of a strong blast in air: ``(E t^2/(K rho))^(1/5)``, a line's with 1/4; metres."""
    power, k = _STRONG[shape]
    t = np.asarray(time_s, dtype=np.float64)
    return same_kind(time_s, (energy_j * t * t / (k * density)) ** (1.0 / power))


def blast_energy(
    time_s: FloatOrArray, radius_m: FloatOrArray, density: float, shape: BlastShape = "point"
) -> FloatOrArray:
    """Energy from one radius and time; inverse of ``blast_radius``."""
    power, k = _STRONG[shape]
    r = np.asarray(radius_m, dtype=np.float64)
    t = np.asarray(time_s, dtype=np.float64)
    return same_kind(radius_m, k * density * r**power / (t * t))


def fit_blast(
    time_s: FloatArray,
    radius_m: FloatArray,
    *,
    density: float = 1.204,
    temperature_k: float = 293.15,
    shape: BlastShape = "point",
    confidence: float = 0.95,
) -> BlastFit:
    """Exponent and energy of a blast from radius against time since its start.

    The exponent is the least-squares slope of log R over log t. The energy is the geometric
    mean over the strong points, its bounds from their scatter.

    Raises
    ------
    ValueError
        Fewer than 3 points, or a time or radius not above zero.
    """
    from scipy import stats

    t, r = _points(time_s, radius_m, 3)
    if np.any(t <= 0.0) or np.any(r <= 0.0):
        raise ValueError("times since the spark and radii must be above zero")
    power, _ = _STRONG[shape]
    expected = 2.0 / power
    line = _line(np.log(t), np.log(r))
    exponent = line.slope
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, len(t) - 2)) * line.slope_error
    mach = expected * r / t / sound_speed(temperature_k)
    strong = mach >= STRONG_MACH
    energy = _mean_energy(t[strong], r[strong], density, shape, confidence)
    off = abs(exponent - expected)
    reason = ""
    if not strong.all():
        reason = (
            f"{int((~strong).sum())} of {len(t)} points are slower than Mach {STRONG_MACH:g}: "
            "the strong-blast law does not hold there"
        )
    elif off > reach + 0.05:
        reason = (
            f"the exponent {exponent:.3f} does not agree with {expected:g}: wrong start time, "
            f"or not a {shape} blast"
        )
    return BlastFit(
        shape=shape,
        exponent=exponent,
        exponent_low=exponent - reach,
        exponent_high=exponent + reach,
        confidence=confidence,
        expected_exponent=expected,
        energy_j=None if energy is None else energy[0],
        energy_low_j=None if energy is None else energy[1],
        energy_high_j=None if energy is None else energy[2],
        strong=tuple(bool(flag) for flag in strong),
        slowest_mach=float(mach.min()),
        valid=not reason,
        reason=reason,
    )


def _mean_energy(
    t: FloatArray, r: FloatArray, density: float, shape: BlastShape, confidence: float
) -> tuple[float, float | None, float | None] | None:
    """Geometric mean of the energies and its bounds (None with a single point)."""
    from scipy import stats

    if len(t) == 0:
        return None
    logs = np.log(blast_energy(t, r, density, shape))
    mean = float(logs.mean())
    if len(t) == 1:
        return math.exp(mean), None, None
    error = float(logs.std(ddof=1)) / math.sqrt(len(t))
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, len(t) - 1)) * error
    return math.exp(mean), math.exp(mean - reach), math.exp(mean + reach)
