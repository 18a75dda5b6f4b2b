"""A round front in contrast frames: its radius in each, its speed, Mach number, shock and blast.

With a knife edge a round front shades like the cosine of the direction against the blade's
normal: one side bright, the other dark. At each radius the amplitude of that cosine is fitted over
all directions; noise, uneven light and flow that is not round drop out, and each amplitude has its
own standard error. The front is the outermost radius where it stands out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Light, Side
from liveview.optics.fronts import BlastShape, FrontFit, fit_blast, fit_front, normal_shock
from liveview.review.measure.geometry import POINTING_PX, Point, Scale
from liveview.review.measure.quantity import Measurement, Quantity

Floats = NDArray[np.float64]

THRESHOLD_SIGMA = 6.0
LEAST_COVER = 0.2
"""Share of a ring that must be inside the disc and not clipped."""


@dataclass(frozen=True, slots=True)
class FrontPoint:
    """Where the front is in one frame. ``time_s`` is on the session's clock."""

    frame: int
    time_s: float
    radius_px: float
    sigma_px: float
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class RadialProfile:
    """Amplitude of the cosine part at each whole radius, its standard error, NaN where unseen."""

    amplitude: Floats
    sigma: Floats


def radial_profile(contrast: Light, centre: Point, side: Side) -> RadialProfile:
    """The shading of round structures about ``centre``.

    Parameters
    ----------
    contrast : ndarray (rows, columns)
        Signed contrast, NaN where there is none.
    centre : (x, y)
        Pixels.
    side : Side
        From where the blade comes in: sets the direction of the cosine.
    """
    rows, columns = contrast.shape
    y, x = np.mgrid[:rows, :columns]
    dx, dy = x - centre[0], y - centre[1]
    radius = np.hypot(dx, dy)
    good = np.isfinite(contrast) & (radius >= 1.0)
    nx, ny = side.normal
    ring = np.rint(radius[good]).astype(np.intp)
    cosine = (dx[good] * nx + dy[good] * ny) / radius[good]
    value = contrast[good].astype(np.float64)
    size = int(ring.max(initial=0)) + 1

    def total(weights: Floats | None) -> Floats:
        return np.bincount(ring, weights, size).astype(np.float64)

    count, sc, scc = total(None), total(cosine), total(cosine**2)
    sv, scv, svv = total(value), total(cosine * value), total(value**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = scc - sc**2 / count
        amplitude = (scv - sc * sv / count) / spread
        rest = svv - sv**2 / count - amplitude**2 * spread
        sigma = np.sqrt(np.maximum(rest, 0.0) / np.maximum(count - 2, 1.0) / spread)
    full = 2 * math.pi * np.maximum(np.arange(size), 1)
    seen = (count >= LEAST_COVER * full) & (count >= 8) & (spread > 0.05 * count)
    amplitude[~seen] = np.nan
    sigma[~seen] = np.nan
    return RadialProfile(amplitude, sigma)


def find_front(
    profile: RadialProfile,
    *,
    inner_px: float = 3.0,
    outer_px: float = math.inf,
    threshold: float = THRESHOLD_SIGMA,
) -> tuple[float, float] | None:
    """Radius of the outermost front and its standard uncertainty in pixels; None without one.

    The place is the centre of mass of the amplitude's peak above its half height.
    """
    amplitude = np.nan_to_num(profile.amplitude)
    sigma = np.where(np.isfinite(profile.sigma), profile.sigma, np.inf)
    radius = np.arange(len(amplitude), dtype=np.float64)
    floor = np.nanmedian(profile.sigma) if np.isfinite(profile.sigma).any() else np.inf
    strength = np.abs(amplitude) / np.maximum(sigma, 0.3 * floor)
    strength[(radius < inner_px) | (radius > outer_px)] = 0.0
    found = np.flatnonzero((strength[1:] > threshold) & (strength[:-1] > threshold / 2)) + 1
    if not len(found):
        return None
    peak = _climb(np.abs(amplitude) * (strength > 0), int(found[-1]))
    return _centre(amplitude, sigma, peak)


def _climb(height: Floats, start: int) -> int:
    """Inwards from ``start`` uphill to the next summit."""
    at = start
    while at > 1 and max(height[at - 1], height[at - 2]) > height[at]:
        at -= 1
    return at


def _centre(amplitude: Floats, sigma: Floats, peak: int) -> tuple[float, float]:
    sign = 1.0 if amplitude[peak] > 0 else -1.0
    height = sign * amplitude
    half = height[peak] / 2
    low = high = peak
    while low > 0 and height[low - 1] > half:
        low -= 1
    while high < len(height) - 1 and height[high + 1] > half:
        high += 1
    span = slice(max(0, low - 1), min(len(height), high + 2))
    radius = np.arange(len(height), dtype=np.float64)[span]
    weight = np.maximum(height[span] - half, 0.0)
    centre = float((weight * radius).sum() / weight.sum())
    noise = np.where(np.isfinite(sigma[span]), sigma[span], 0.0)
    spread = math.sqrt(float((((radius - centre) * noise) ** 2).sum())) / float(weight.sum())
    return centre, max(spread, 0.02)


def track_front(
    frames: Sequence[tuple[int, float, Light]],
    centre: Point,
    side: Side,
    *,
    inner_px: float = 3.0,
    outer_px: float = math.inf,
) -> tuple[FrontPoint, ...]:
    """The front in each of (frame, time, contrast); frames without one are left out.

    A point that does not fit a smooth motion through the others is left out, too.
    """
    points = []
    for number, time_s, contrast in frames:
        profile = radial_profile(contrast, centre, side)
        found = find_front(profile, inner_px=inner_px, outer_px=outer_px)
        if found is not None:
            points.append(FrontPoint(number, time_s, *found))
    return without_outliers(points)


def without_outliers(points: Sequence[FrontPoint]) -> tuple[FrontPoint, ...]:
    """Drop points far from a robust parabola through radius against time."""
    from scipy.optimize import least_squares

    if len(points) < 5:
        return tuple(points)
    t = np.array([point.time_s for point in points])
    r = np.array([point.radius_px for point in points])
    if np.ptp(t) == 0:
        return tuple(points)
    scaled = (t - t.mean()) / np.ptp(t)
    first = np.polyfit(scaled, r, 1)
    spread = 1.4826 * float(np.median(np.abs(r - np.polyval(first, scaled)))) + 0.1

    def rest(k: Floats) -> Floats:
        return np.asarray((r - np.polyval(k, scaled)) / spread)

    fit = least_squares(rest, np.concatenate(([0.0], first)), loss="soft_l1")
    away = np.abs(r - np.polyval(fit.x, scaled))
    limit = 5.0 * max(1.4826 * float(np.median(away)), 0.1)
    return tuple(point for point, off in zip(points, away, strict=True) if off <= limit)


def hand_point(frame: int, time_s: float, centre: Point, place: Point) -> FrontPoint:
    """A point of the front set by hand."""
    radius = math.dist(centre, place)
    return FrontPoint(frame, time_s, radius, math.sqrt(2) * POINTING_PX, by_hand=True)


def measure_front_speed(
    points: Sequence[FrontPoint],
    scale: Scale,
    *,
    temperature_k: float = 293.15,
    since_s: float | None = None,
    density: float = 1.204,
    shape: BlastShape = "point",
) -> Measurement:
    """Speed, Mach number, shock ratios and (with the spark's time) strong-blast energy.

    Parameters
    ----------
    since_s : float, optional
        When the spark was, for the blast fit; left out otherwise.

    Raises
    ------
    ValueError
        Fewer than 3 points, or all at one time.
    """
    times = np.array([point.time_s for point in points])
    radii = np.array([scale.length(point.radius_px) for point in points])
    fit = fit_front(times, radii, temperature_k=temperature_k)
    speed = Quantity(fit.speed, fit.speed_low, fit.speed_high, "m/s", fit.confidence)
    speed = speed.widened(scale.relative_sigma)
    mach = speed.times(1.0 / fit.sound_speed, "1")
    results = {"speed": speed, "mach": mach, **_shock(mach)}
    words = ["it slows down: this is the mean speed over the stretch"] if fit.slows else []
    if since_s is not None and np.all(times > since_s):
        blast, blast_words = _blast(times - since_s, radii, density, temperature_k, shape)
        results |= blast
        words += [blast_words] if blast_words else []
    return Measurement(
        "front speed",
        results,
        {
            "points": [[p.frame, p.time_s, p.radius_px, p.sigma_px, p.by_hand] for p in points],
            "scale": scale.how,
            "temperature_k": temperature_k,
        },
        _assumptions(fit, temperature_k),
        "; ".join(words),
    )


def _assumptions(fit: FrontFit, temperature_k: float) -> tuple[str, ...]:
    words = [f"dry air at {temperature_k - 273.15:.1f} C, sound at {fit.sound_speed:.1f} m/s"]
    if fit.shock is not None:
        words.append("the front is a normal shock into air at rest (gamma 1.4)")
    return tuple(words)


def _shock(mach: Quantity) -> dict[str, Quantity]:
    """Ratios over the front; none where it is not faster than sound."""
    if mach.value <= 1.0:
        return {}
    low, mid, high = (normal_shock(max(1.0, m)) for m in (mach.low, mach.value, mach.high))
    return {
        f"{name}_ratio": Quantity(getattr(mid, name), getattr(low, name), getattr(high, name), "1")
        for name in ("pressure", "density", "temperature")
    }


def _blast(
    since: Floats, radii: Floats, density: float, temperature_k: float, shape: BlastShape
) -> tuple[dict[str, Quantity], str]:
    fit = fit_blast(since, radii, density=density, temperature_k=temperature_k, shape=shape)
    results = {
        "blast_exponent": Quantity(fit.exponent, fit.exponent_low, fit.exponent_high, "1"),
    }
    energy = (fit.energy_j, fit.energy_low_j, fit.energy_high_j)
    if None not in energy:
        value, low, high = (float(part or 0.0) for part in energy)
        unit = "J" if shape == "point" else "J/m"
        results["blast_energy"] = Quantity(value, low, high, unit)
    return results, "" if fit.valid else f"strong-blast fit not valid: {fit.reason}"


def front_table(points: Sequence[FrontPoint], scale: Scale) -> str:
    """Radius against time as CSV."""
    lines = ["frame,time_s,radius_px,radius_m,sigma_m,by_hand"]
    for p in points:
        radius, sigma = scale.length(p.radius_px), scale.length(p.sigma_px)
        row = (
            f"{p.frame},{p.time_s:.9f},{p.radius_px:.4f},{radius:.8g},{sigma:.3g},{int(p.by_hand)}"
        )
        lines.append(row)
    return "\n".join(lines) + "\n"
