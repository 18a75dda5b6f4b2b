"""How fast a kernel or plume rises: the space-time diagram along a line, and optical flow.

A space-time diagram has one row per frame: the contrast along the line at that time. What moves
with speed v draws streaks of slope v. Two ways lead to it:

- What moves by less than a quarter of the line in all is taken as something that stands still
  plus something that moves and keeps its shape; the speed is where both together explain most.
- What moves further (a kernel that grows and curls up, a plume that pulses) is correlated with
  itself some frames later, each place compared on its own terms. Its shape changes as it rises,
  which the first way would take for slowness.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Light
from liveview.review.measure.geometry import Point, Scale
from liveview.review.measure.quantity import Measurement, Quantity

Floats = NDArray[np.float64]

FLOW_SMOOTHING_PX = 3.0
FLOW_WIDTH_PX = 15
FLOW_OWN_ERROR = 0.04
"""Relative standard uncertainty that dense flow has in a plume however long one looks: on plumes
of known speed it came out 2 to 4 % low."""


@dataclass(frozen=True, slots=True)
class SpaceTime:
    """Contrast along a line at several times.

    ``values`` is (frames, positions); positions are one pixel apart from ``start`` to ``end``;
    NaN where there is no contrast.
    """

    values: Floats
    times_s: Floats
    start: Point
    end: Point


def space_time(
    frames: Iterable[tuple[float, Light]], start: Point, end: Point, *, width_px: int = 5
) -> SpaceTime:
    """Sample (time, contrast) frames along a line, averaged over ``width_px`` across it.

    Raises
    ------
    ValueError
        A line shorter than 8 pixels, or no frames.
    """
    length = math.dist(start, end)
    if length < 8:
        raise ValueError("the line must be at least 8 pixels long")
    count = math.floor(length) + 1
    along = np.arange(count) / length
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    across = np.arange(width_px) - (width_px - 1) / 2
    x = start[0] + along * (end[0] - start[0]) - across[:, None] * uy
    y = start[1] + along * (end[1] - start[1]) + across[:, None] * ux
    rows, times = [], []
    for time_s, contrast in frames:
        strip = cv2.remap(
            contrast,
            x.astype(np.float32),
            y.astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=math.nan,
        )
        good = np.isfinite(strip)
        total = np.where(good, strip, 0).sum(axis=0, dtype=np.float64)
        seen = good.sum(axis=0)
        rows.append(np.where(seen > 0, total / np.maximum(seen, 1), np.nan))
        times.append(time_s)
    if not rows:
        raise ValueError("no frames to draw a space-time diagram from")
    return SpaceTime(np.array(rows), np.array(times, dtype=np.float64), start, end)


def pattern_speed(
    diagram: SpaceTime, *, fastest_px_s: float | None = None
) -> tuple[float, float, float]:
    """Speed of what moves along the line, pixels a second, positive from start to end.

    Returns
    -------
    speed, low, high : float
        With the 95 % interval from leaving out one part of the frames after the other
        (jackknife over up to 10 parts).

    Raises
    ------
    ValueError
        Fewer than 4 frames, or nothing moves.
    """
    from scipy import stats

    values, times = _prepared(diagram)
    if len(times) < 4:
        raise ValueError("a rise speed needs at least 4 frames")
    steps = np.diff(times)
    if not np.all(steps > 0):
        raise ValueError("the frames' times must grow")
    step = float(np.median(steps))
    top = fastest_px_s or 0.25 * values.shape[1] / step
    speed = _first_guess(values, times, top)
    if moved_share(diagram, speed) > RIGID_SHARE:
        speed, left_out = _correlated(values, times, speed)
    else:
        speed, left_out = _rigid(values, times, top)
    parts = len(left_out)
    spread = math.sqrt((parts - 1) / parts * float(((left_out - speed) ** 2).sum()))
    # A speed cannot be told better than a tenth of a pixel over the whole stretch.
    spread = math.hypot(spread, 0.1 / (times[-1] - times[0]))
    reach = float(stats.t.ppf(0.975, parts - 1)) * spread
    return speed, speed - reach, speed + reach


RIGID_SHARE = 0.25
"""Of the line: what moves no further may be taken to keep its shape."""
ENDLESS_SHARE = 0.6
"""Where something moves so far, one pattern follows another: a plume."""


def moved_share(diagram: SpaceTime, speed_px_s: float) -> float:
    """How far something moves in the stretch, as a share of the line; above 1: more than all."""
    seconds = float(diagram.times_s[-1] - diagram.times_s[0])
    return abs(speed_px_s) * seconds / float(diagram.values.shape[1])


def _prepared(diagram: SpaceTime) -> tuple[Floats, Floats]:
    """What is unknown set to zero, the mean of each frame taken off."""
    values = np.nan_to_num(diagram.values)
    values = values - values.mean(axis=1, keepdims=True)
    if not np.any(np.abs(values - values.mean(axis=0)) > 1e-9):
        raise ValueError("nothing moves along this line")
    return values, diagram.times_s


FINEST_WAVE = 1 / 8
"""Cycles per pixel; finer structure is mostly noise."""

FIRST_FRAMES = 12
FIRST_STRETCHES = 20
MOST_PARTS = 10


@dataclass(frozen=True, slots=True)
class _Waves:
    """The diagram as waves along the line, (frames, waves)."""

    spectrum: NDArray[np.complex128]
    wave: Floats

    @classmethod
    def of(cls, values: Floats) -> _Waves:
        size = 1 << (2 * values.shape[1] - 1).bit_length()
        # Cutting the pattern off at the line's ends would be something that stands still.
        ends = np.sin(np.pi * (np.arange(values.shape[1]) + 0.5) / values.shape[1])
        spectrum = np.fft.rfft(values * np.minimum(1.0, 4 * ends), size, axis=1)
        wave = np.arange(spectrum.shape[1]) / size
        keep = (wave > 0) & (wave <= FINEST_WAVE)
        return cls(spectrum[:, keep], wave[keep])

    def explained(self, speeds: Floats, times: Floats, rows: slice | NDArray[np.intp]) -> Floats:
        """Energy that a still and a moving part together account for in a while, per speed.

        Least squares with the two columns 1 and exp(-2 pi i k v t) for each wave k.
        """
        spectrum, count = self.spectrum[rows], len(times)
        turn = -2j * np.pi * speeds[:, None, None] * self.wave
        moved = np.exp(turn * (times - times[0])[None, :, None])
        common = moved.sum(axis=1)
        still = spectrum.sum(axis=0)
        moving = (spectrum * moved.conj()).sum(axis=1)
        apart = count**2 - np.abs(common) ** 2
        cross = (still.conj() * common * moving).real
        both = count * (np.abs(still) ** 2 + np.abs(moving) ** 2) - 2 * cross
        alone = np.abs(still) ** 2 / count
        told = apart > 1e-3 * count**2
        return np.asarray(np.where(told, both / np.where(told, apart, 1.0), alone).sum(axis=1))


def _first_guess(values: Floats, times: Floats, top: float) -> float:
    """Speed that explains most in stretches of a few frames each, a quarter of a wave fine."""
    waves = _Waves.of(values)
    frames = min(len(times), FIRST_FRAMES)
    starts = range(0, len(times) - frames + 1, max(1, frames // 2, len(times) // FIRST_STRETCHES))
    rows = [slice(k, k + frames) for k in starts]
    fine = 0.25 / FINEST_WAVE / min(float(times[r][-1] - times[r][0]) for r in rows)
    grid = np.linspace(-top, top, 2 * math.ceil(top / fine) + 1)
    total = sum(waves.explained(grid, times[r], r) for r in rows)
    return float(grid[int(np.argmax(total))])


def _rigid(values: Floats, times: Floats, top: float) -> tuple[float, Floats]:
    """Speed of what keeps its shape, and the same with parts of the frames left out."""
    waves, count = _Waves.of(values), len(times)
    fine = 0.25 / FINEST_WAVE / float(times[-1] - times[0])
    grid = np.linspace(-top, top, 2 * math.ceil(top / fine) + 1)
    every = np.arange(count)
    speed = _top(grid, waves.explained(grid, times, every))
    near = speed + fine * np.linspace(-2, 2, 65)
    speed = _top(near, waves.explained(near, times, every))
    edges = np.linspace(0, count, min(MOST_PARTS, count // 2) + 1).astype(int)
    keeps = [np.r_[0:a, b:count] for a, b in pairwise(edges)]
    left_out = [_top(near, waves.explained(near, times[keep], keep)) for keep in keeps]
    return speed, np.array(left_out)


def _correlated(values: Floats, times: Floats, guess: float) -> tuple[float, Floats]:
    """Speed by correlating frames that are further and further apart, near a first guess.

    As far apart as they are still alike by two thirds of what neighbours are. Returns also the
    speed with each part of the pairs left out.
    """
    moving = values - values.mean(axis=0)
    spread = cv2.GaussianBlur(moving.std(axis=0)[None], (0, 0), EVEN_PX)[0]
    moving = moving / (spread + EVEN_FLOOR * spread.max())
    step = abs(guess) * float(np.median(np.diff(times)))
    apart = max(1, round(LEAST_MOVE_PX / max(step, 1e-9)))
    reach = SEARCH_SHARE
    found: tuple[float, Floats] | None = None
    least = 0.0
    while apart <= len(times) // 3 and step * apart < 0.5 * values.shape[1]:
        speeds = guess * np.linspace(1 - reach, 1 + reach, 41)
        sums = _pair_sums(moving, times, apart, speeds)
        alike = _alike(sums)
        if found is not None and alike.max() < least:
            break
        least = least or ALIKE_SHARE * float(alike.max())
        parts = np.array_split(np.arange(len(sums)), min(MOST_PARTS, len(sums)))
        left_out = [_top(speeds, _alike(np.delete(sums, part, axis=0))) for part in parts]
        found = _top(speeds, alike), np.array(left_out)
        guess, reach = found[0], SEARCH_SHARE / 2
        apart = math.ceil(1.5 * apart)
    if found is None:
        raise ValueError("it moves too fast along this line for this frame rate")
    return found


EVEN_PX = 4.0
EVEN_FLOOR = 0.2
LEAST_MOVE_PX = 3.0
SEARCH_SHARE = 0.4
ALIKE_SHARE = 0.67
MOST_PAIRS = 400


def _pair_sums(moving: Floats, times: Floats, apart: int, speeds: Floats) -> Floats:
    """Sums of products of frames ``apart`` frames from each other, moved on by each speed.

    Returns
    -------
    ndarray (pairs, 3, speeds)
        Of earlier times later, earlier squared, later squared, where both are on the line.
    """
    count, size = moving.shape
    x = np.arange(size)
    rows = np.arange(0, count - apart, max(1, (count - apart) // MOST_PAIRS))
    found = np.empty((len(rows), 3, len(speeds)))
    for n, row in enumerate(rows):
        place = x + (speeds * (times[row + apart] - times[row]))[:, None]
        low = np.clip(np.floor(place).astype(np.intp), 0, size - 2)
        part = place - low
        inside = (place >= 0) & (place <= size - 1)
        later = moving[row + apart][low] * (1 - part) + moving[row + apart][low + 1] * part
        later = np.where(inside, later, 0.0)
        earlier = np.where(inside, moving[row], 0.0)
        found[n] = (later * earlier).sum(1), (earlier**2).sum(1), (later**2).sum(1)
    return found


def _alike(sums: Floats) -> Floats:
    """Correlation -1 .. 1 over all pairs, per speed."""
    product, earlier, later = sums.sum(axis=0)
    return np.asarray(product / np.sqrt(np.maximum(earlier * later, 1e-30)))


def _top(x: Floats, y: Floats) -> float:
    """Place of the highest value, by a parabola through it and its neighbours."""
    at = int(np.clip(np.argmax(y), 1, len(y) - 2))
    before, here, after = (float(v) for v in y[at - 1 : at + 2])
    bend = before - 2 * here + after
    off = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return float(x[at] + np.clip(off, -1, 1) * (x[1] - x[0]))


def flow_speed(
    frames: Sequence[tuple[float, Light]],
    start: Point,
    end: Point,
    *,
    width_px: int = FLOW_WIDTH_PX,
    step: int = 1,
) -> tuple[float, float]:
    """Speed along the line by dense optical flow, pixels a second: median and its standard error.

    Only pixels near the line whose contrast stands out count (Kroeger et al. 2016, fast dense
    inverse search, as in OpenCV). A check on :func:`pattern_speed` by other means. ``step``
    compares each frame with the one so many later: slow motion needs more than one.

    Raises
    ------
    ValueError
        Fewer than 2 frames, or nothing stands out.
    """
    if len(frames) <= step:
        raise ValueError(f"optical flow needs at least {step + 1} frames")
    length = math.dist(start, end)
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    box, start, end = strip_around(frames[0][1].shape, start, end, width_px)
    near = np.zeros(frames[0][1][box].shape, np.uint8)
    ends = [tuple(round(v) for v in point) for point in (start, end)]
    cv2.line(near, ends[0], ends[1], 255, width_px)

    def smooth(k: int) -> Light:
        known = np.nan_to_num(frames[k][1][box])
        return np.asarray(cv2.GaussianBlur(known, (0, 0), FLOW_SMOOTHING_PX), np.float32)

    rows = range(0, len(frames) - step, max(1, (len(frames) - step) // MOST_FLOWS))
    few = [smooth(k) for k in rows[:: max(1, len(rows) // 16)]]
    reach = float(np.median([np.abs(picture[near > 0]).max() for picture in few]))
    still = np.mean(few, axis=0)
    moving = float(np.median([np.abs(picture - still)[near > 0].max() for picture in few]))
    method = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    found = []
    for k in rows:
        t0, t1 = frames[k][0], frames[k + step][0]
        before, after = smooth(k), smooth(k + step)
        empty = np.zeros((*before.shape, 2), np.float32)
        flow = np.asarray(method.calc(_codes(before, reach), _codes(after, reach), empty))
        strong = (near > 0) & (np.abs(before - still) > 0.4 * moving)
        if t1 > t0 and strong.sum() >= 20:
            along = flow[..., 0] * ux + flow[..., 1] * uy
            found.append(float(np.median(along[strong])) / (t1 - t0))
    if not found:
        raise ValueError("nothing stands out along this line")
    apart = max(1.0, len(found) / step)
    spread = 1.2533 * float(np.std(found, ddof=1)) / math.sqrt(apart) if found[1:] else 0.0
    return float(np.median(found)), spread


STRIP_PX = 32
"""Neighbourhood of the line that optical flow sees."""


MOST_FLOWS = 120
"""Pairs of frames, evenly over the stretch."""


def strip_around(
    shape: tuple[int, ...], start: Point, end: Point, width_px: int = FLOW_WIDTH_PX
) -> tuple[tuple[slice, slice], Point, Point]:
    """The part of the picture (rows, columns) that matters to a line, and the line's ends in it."""
    margin = width_px + STRIP_PX
    low = [max(0, math.floor(min(start[k], end[k])) - margin) for k in (0, 1)]
    high = [min(shape[1 - k], math.ceil(max(start[k], end[k])) + margin) for k in (0, 1)]
    box = (slice(low[1], high[1]), slice(low[0], high[0]))
    moved = [(point[0] - low[0], point[1] - low[1]) for point in (start, end)]
    return box, moved[0], moved[1]


def _codes(contrast: NDArray[Any], reach: float) -> NDArray[np.uint8]:
    scaled = contrast * (100.0 / max(reach, 1e-9)) + 128.0
    return np.asarray(np.clip(scaled, 0, 255).astype(np.uint8))


def _flow_step(times: Floats, speed_px_s: float) -> int:
    """Frames in which the motion is about three pixels."""
    between = abs(speed_px_s) * float(np.median(np.diff(times)))
    return int(np.clip(round(3.0 / max(between, 1e-9)), 1, max(1, len(times) // 4)))


def measure_rise_speed(
    frames: Sequence[tuple[float, Light]],
    start: Point,
    end: Point,
    scale: Scale,
    *,
    width_px: int = 5,
    fastest_m_s: float | None = None,
) -> Measurement:
    """Rise speed along a line, by the space-time diagram and by optical flow.

    ``speed`` is that of the diagram for what passes once (a kernel), with ``speed_by_flow`` beside
    it; half the difference of the two is taken as a standard uncertainty. For what goes on and on
    (a plume) it is that of the flow, which follows whatever moves sideways, too, with
    ``speed_by_diagram`` beside it. A kernel that curls up turns, so that its flanks differ: the
    mean of a line on either side is its rise.

    Raises
    ------
    ValueError
        See :func:`space_time` and :func:`pattern_speed`.
    """
    diagram = space_time(frames, start, end, width_px=width_px)
    fastest = None if fastest_m_s is None else fastest_m_s / scale.metres_per_px
    pattern, low, high = pattern_speed(diagram, fastest_px_s=fastest)
    by_diagram = Quantity(pattern, low, high, "px/s")
    goes_on = moved_share(diagram, pattern) > ENDLESS_SHARE
    words = ""
    try:
        step = _flow_step(diagram.times_s, pattern)
        flow, error = flow_speed(frames, start, end, width_px=max(5, 3 * width_px), step=step)
    except ValueError as reason:
        found = {"speed": by_diagram}
        words = f"no optical flow: {reason}"
    else:
        if goes_on:
            sigma = math.hypot(error, FLOW_OWN_ERROR * flow)
            found = {
                "speed": Quantity.normal(flow, sigma, "px/s"),
                "speed_by_diagram": by_diagram,
            }
        else:
            found = {
                "speed": by_diagram.widened_by(abs(flow - pattern) / 2),
                "speed_by_flow": Quantity.normal(flow, error, "px/s"),
            }
        if abs(flow - pattern) > 0.25 * abs(pattern):
            words = "space-time diagram and optical flow disagree by more than a quarter"
    return Measurement(
        "rise speed",
        {
            name: speed.times(scale.metres_per_px, "m/s").widened(scale.relative_sigma)
            for name, speed in found.items()
        },
        {
            "line_px": [list(start), list(end)],
            "width_px": width_px,
            "from_s": frames[0][0],
            "to_s": frames[-1][0],
            "frames": len(frames),
            "scale": scale.how,
        },
        ("what is seen moves in the object's plane, along the line",),
        words,
    )


def space_time_table(diagram: SpaceTime) -> str:
    """The diagram as CSV: a row per frame, its time first."""
    head = "time_s," + ",".join(f"px{n}" for n in range(diagram.values.shape[1]))
    rows = (
        f"{time:.9f}," + ",".join("" if math.isnan(v) else f"{v:.6g}" for v in row)
        for time, row in zip(diagram.times_s, diagram.values, strict=True)
    )
    return "\n".join((head, *rows)) + "\n"
