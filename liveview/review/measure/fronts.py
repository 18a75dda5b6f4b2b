"""A round front in contrast frames: its radius in each, its speed, Mach number, shock and blast.

With a knife edge a round front shades like the cosine of the direction against the blade's
normal: one side bright, the other dark. At each radius the amplitude of that cosine is fitted over
all directions; noise, uneven light and flow that is not round drop out, and each amplitude has its
own standard error. The front is the outermost radius where it stands out.

Behind a shock the shading falls off over a shell that grows with it, and a strong one drives the
blade's range to its end. So neither the summit nor the middle of the shading keeps step with the
front; its leading flank does. All fronts of one measurement are told from that flank and moved
inwards by one common distance, the median from flank to summit, so that a thin ring is found where
it is and a speed does not depend on the shell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Light, Side
from liveview.optics.fronts import BlastShape, FrontFit, fit_blast, fit_front, normal_shock
from liveview.optics.gas import ideal_density
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


@dataclass(frozen=True, slots=True)
class FrontSeen:
    """A front in one frame: radius of its leading flank at half height, of its summit, pixels.

    ``sigma_px`` is the standard uncertainty of the flank from the noise of the picture.
    """

    edge_px: float
    summit_px: float
    sigma_px: float


LEAST_SIGMA_PX = 0.05
"""Pixels are rounded to whole radii."""


def find_front(
    profile: RadialProfile,
    *,
    inner_px: float = 3.0,
    outer_px: float = math.inf,
    threshold: float = THRESHOLD_SIGMA,
) -> FrontSeen | None:
    """The outermost front; None without one, or when its leading flank is out of the picture."""
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
    return _flank(amplitude * np.sign(amplitude[peak]), sigma, peak)


def _climb(height: Floats, start: int) -> int:
    """Inwards from ``start`` uphill to the next summit."""
    at = start
    while at > 1 and max(height[at - 1], height[at - 2]) > height[at]:
        at -= 1
    if at > 0 and height[at - 1] > height[at]:
        at -= 1
    return at


def _flank(height: Floats, sigma: Floats, peak: int) -> FrontSeen | None:
    """Summit by a parabola through its neighbours, flank by a line through half its height."""
    seen = np.isfinite(sigma)
    around = slice(max(0, peak - 2), min(len(height), peak + 3))
    x = np.arange(around.start, around.stop) - float(peak)
    bend, slope, top = np.polyfit(x, height[around], 2)
    summit = float(np.clip(-slope / (2 * bend), -1.5, 1.5)) if bend < 0 else 0.0
    top = max(float(top), float(height[peak]) / 2)
    at = peak
    while at + 1 < len(height) and seen[at + 1] and height[at + 1] > top / 2:
        at += 1
    if at + 2 >= len(height) or not (seen[at + 1] and seen[at + 2]):
        return None
    fall = float(height[at] - height[at + 1])
    noise = float(np.hypot(sigma[at], sigma[at + 1])) / math.sqrt(2)
    edge = at + float(height[at] - top / 2) / fall
    return FrontSeen(edge, peak + summit, max(noise / fall, LEAST_SIGMA_PX))


def front_points(seen: Sequence[tuple[int, float, FrontSeen]]) -> tuple[FrontPoint, ...]:
    """Places of one front from (frame, time, front seen), told alike in all frames."""
    if not seen:
        return ()
    width = float(np.median([front.edge_px - front.summit_px for _, _, front in seen]))
    return tuple(
        FrontPoint(number, time_s, front.edge_px - width, front.sigma_px)
        for number, time_s, front in seen
    )


FLASH_LIGHT = 0.03
"""Contrast by which a flash lights the whole picture; gas does so only where it is."""


def flash_lit(contrasts: Sequence[Light]) -> tuple[bool, ...]:
    """Which of an event's frames are lit or saturated by a flash: no front can be seen there.

    Told from the median contrast of the whole picture and the share of clipped pixels, against
    those of the other frames.
    """
    return flashes_among(
        [_median(picture) for picture in contrasts],
        [float(np.isnan(picture).mean()) for picture in contrasts],
    )


def _median(picture: Light) -> float:
    known = picture[np.isfinite(picture)]
    return float(np.median(known)) if known.size else math.inf


def flashes_among(medians: Sequence[float], unknown: Sequence[float]) -> tuple[bool, ...]:
    """See :func:`flash_lit`; from the medians and the shares of pixels without a contrast."""
    middle, share = np.asarray(medians, np.float64), np.asarray(unknown, np.float64)
    if not len(middle):
        return ()
    away = middle - np.median(middle)
    spread = 1.4826 * float(np.median(np.abs(away)))
    lit = (away > max(FLASH_LIGHT, 8 * spread)) | (share > np.median(share) + 0.02)
    return tuple(bool(flag) for flag in lit)


CENTRE_REACH_PX = 6.0
"""How far a centre that was pointed at may be moved: twice three sigma of pointing, and the
distance between the two images of a rig whose light passes the air twice."""

CENTRE_FRAMES = 4


def refined_centre(contrasts: Sequence[Light], centre: Point, side: Side) -> Point:
    """The centre about which the fronts in these frames are the sharpest rings, near ``centre``.

    A centre that is off by a pixel moves a front that is seen on one side only by as much, and so
    falsifies its speed when more and more of the ring is out of the picture.
    """
    from scipy.optimize import minimize

    rings = []
    for contrast in contrasts:
        front = find_front(radial_profile(contrast, centre, side))
        if front is not None and front.edge_px > 4 * CENTRE_REACH_PX:
            rings.append(_Ring.around(contrast, centre, side, front.edge_px))
    rings = rings[:CENTRE_FRAMES]
    if not rings:
        return centre

    def blur(move: Floats) -> float:
        if np.hypot(*move) > CENTRE_REACH_PX:
            return 0.0
        return -sum(ring.sharpness(move) for ring in rings)

    simplex = np.array([[0.0, 0.0], [1.5, 0.0], [0.0, 1.5]])
    found = minimize(
        blur,
        simplex[0],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.05, "fatol": 1e-4, "maxfev": 60},
    )
    return centre[0] + float(found.x[0]), centre[1] + float(found.x[1])


@dataclass(frozen=True, slots=True)
class _Ring:
    """The pixels near a front, seen from a centre that is still to be moved."""

    dx: Floats
    dy: Floats
    value: Floats
    normal: tuple[float, float]
    inner: float
    bins: int

    @classmethod
    def around(cls, contrast: Light, centre: Point, side: Side, radius: float) -> _Ring:
        rows, columns = contrast.shape
        y, x = np.mgrid[:rows, :columns]
        dx, dy = x - centre[0], y - centre[1]
        reach = 2 * CENTRE_REACH_PX + 4
        near = (np.abs(np.hypot(dx, dy) - radius) < reach) & np.isfinite(contrast)
        value = contrast[near].astype(np.float64)
        inner = radius - reach - CENTRE_REACH_PX
        bins = math.ceil(2 * (reach + CENTRE_REACH_PX)) + 2
        return cls(dx[near], dy[near], value, side.normal, inner, bins)

    def sharpness(self, move: Floats) -> float:
        """Energy of the cosine part, the radii each told apart by two neighbouring bins."""
        dx, dy = self.dx - move[0], self.dy - move[1]
        radius = np.hypot(dx, dy)
        cosine = (dx * self.normal[0] + dy * self.normal[1]) / radius
        place = radius - self.inner
        low = np.clip(place.astype(np.intp), 0, self.bins - 2)
        part = place - low
        weights = (low, 1.0 - part), (low + 1, part)

        def total(values: Floats) -> Floats:
            binned = [np.bincount(at, w * values, self.bins) for at, w in weights]
            return np.asarray(binned[0] + binned[1])

        return float((total(cosine * self.value) ** 2 / (total(cosine**2) + 1.0)).sum())


GONE = 0.8
"""A front that seems to shrink below this part of its largest radius has left the picture."""

LEAST_GONE = 3
"""So many frames in a row must say so."""


def has_left(radii_px: Sequence[float]) -> bool:
    """True when what is found now is something else: the front itself is out of the picture."""
    if len(radii_px) <= LEAST_GONE:
        return False
    largest = max(radii_px[:-LEAST_GONE])
    return all(radius < GONE * largest for radius in radii_px[-LEAST_GONE:])


def while_growing(
    seen: Sequence[tuple[int, float, FrontSeen]],
) -> Sequence[tuple[int, float, FrontSeen]]:
    """The front as long as it is in the picture: up to its largest radius, if it then shrinks."""
    edges = [front.edge_px for _, _, front in seen]
    for k in range(1, len(edges)):
        later = edges[k : k + LEAST_GONE]
        if all(edge < GONE * max(edges[:k]) for edge in later):
            return seen[:k]
    return seen


def track_front(
    frames: Sequence[tuple[int, float, Light]],
    centre: Point,
    side: Side,
    *,
    inner_px: float = 3.0,
    outer_px: float = math.inf,
) -> tuple[FrontPoint, ...]:
    """The front in each of (frame, time, contrast); frames without one are left out.

    Frames lit by a flash, and points that do not fit a smooth motion through the others, are left
    out, too. The centre is refined first.
    """
    pictures = [contrast for _, _, contrast in frames]
    dark = [not lit for lit in flash_lit(pictures)]
    frames = [frame for frame, good in zip(frames, dark, strict=True) if good]
    centre = refined_centre([contrast for _, _, contrast in frames], centre, side)
    seen = []
    for number, time_s, contrast in frames:
        profile = radial_profile(contrast, centre, side)
        found = find_front(profile, inner_px=inner_px, outer_px=outer_px)
        if found is not None:
            seen.append((number, time_s, found))
    return without_outliers(front_points(while_growing(seen)))


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
    pressure_pa: float = 101325.0,
    since_s: float | None = None,
    shape: BlastShape = "point",
) -> Measurement:
    """Speed, Mach number, shock ratios and (with the spark's time) strong-blast energy.

    Parameters
    ----------
    temperature_k, pressure_pa : float
        Of the still air: they set the speed of sound, and the density that a blast drives.
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
    speed = _speed(fit, times, np.array([scale.length(point.sigma_px) for point in points]))
    speed = speed.widened(scale.relative_sigma)
    mach = speed.times(1.0 / fit.sound_speed, "1")
    results = {"speed": speed, "mach": mach, **_shock(mach)}
    inputs = {
        "points": [[p.frame, p.time_s, p.radius_px, p.sigma_px, p.by_hand] for p in points],
        "scale": scale.how,
        "temperature_k": temperature_k,
        "pressure_pa": pressure_pa,
    }
    assumptions = _assumptions(fit, temperature_k)
    words = ["it slows down: this is the mean speed over the stretch"] if fit.slows else []
    if since_s is not None and np.all(times > since_s):
        density = ideal_density(temperature_k, pressure_pa)
        blast, blast_words = _blast(times - since_s, radii, density, temperature_k, shape)
        results |= blast
        words += [blast_words] if blast_words else []
        inputs |= {"density_kg_m3": density, "blast_from": shape}
        assumptions += (
            f"a blast from a {shape} at the spark's time, into air of {density:.4g} kg/m3 "
            f"(ideal gas, {pressure_pa / 100:.4g} hPa)",
        )
    return Measurement("front speed", results, inputs, assumptions, "; ".join(words))


BETTER_THAN_TOLD = 0.1
"""Of the points' own uncertainty: three or more scatter by less only by chance, or when they were
set on the same whole pixel."""


def _speed(fit: FrontFit, times: Floats, sigma_m: Floats) -> Quantity:
    """The fit's speed, its interval from the scatter, or from the points' own uncertainty where
    the scatter is too small to say anything.
    """
    low, high = fit.speed_low, fit.speed_high
    if fit.scatter_m < BETTER_THAN_TOLD * float(np.median(sigma_m)):
        away = times - times.mean()
        error = math.sqrt(float(away**2 @ sigma_m**2)) / float(away @ away)
        own = Quantity.normal(fit.speed, error, "m/s")
        low, high = min(low, own.low), max(high, own.high)
    return Quantity(fit.speed, low, high, "m/s", fit.confidence)


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
