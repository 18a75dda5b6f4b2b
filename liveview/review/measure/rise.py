"""How fast a kernel or plume rises: the space-time diagram along a line, and optical flow.

A space-time diagram has one row per frame: the contrast along the line at that time. What moves
with speed v draws streaks of slope v. Frames are taken as something that stands still plus
something that moves with v; the speed is where the two together explain most of the diagram.
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
    top = fastest_px_s or 0.25 * values.shape[1] / float(np.median(steps))
    speed = _best_speed(values, times, top)
    parts = min(10, len(times) // 2)
    edges = np.linspace(0, len(times), parts + 1).astype(int)
    left_out = []
    for a, b in pairwise(edges):
        keep = np.r_[0:a, b : len(times)]
        left_out.append(_best_speed(values[keep], times[keep], top, near=speed))
    spread = math.sqrt((parts - 1) / parts * float(((np.array(left_out) - speed) ** 2).sum()))
    # A speed cannot be told better than a tenth of a pixel over the whole stretch.
    spread = math.hypot(spread, 0.1 / (times[-1] - times[0]))
    reach = float(stats.t.ppf(0.975, parts - 1)) * spread
    return speed, speed - reach, speed + reach


def _prepared(diagram: SpaceTime) -> tuple[Floats, Floats]:
    """What is unknown set to zero, the mean of each frame taken off."""
    values = np.nan_to_num(diagram.values)
    values = values - values.mean(axis=1, keepdims=True)
    still = values - values.mean(axis=0)
    if not np.any(np.abs(still) > 1e-9):
        raise ValueError("nothing moves along this line")
    return values, diagram.times_s


FINEST_WAVE = 1 / 8
"""Cycles per pixel; finer structure is mostly noise."""


@dataclass(frozen=True, slots=True)
class _Waves:
    """The diagram as waves along the line."""

    spectrum: NDArray[np.complex128]
    wave: Floats
    times: Floats

    @classmethod
    def of(cls, values: Floats, times: Floats) -> _Waves:
        size = 1 << (2 * values.shape[1] - 1).bit_length()
        spectrum = np.fft.rfft(values, size, axis=1)
        wave = np.arange(spectrum.shape[1]) / size
        keep = (wave > 0) & (wave <= FINEST_WAVE)
        return cls(spectrum[:, keep], wave[keep], times - times[0])

    def explained(self, speed: float) -> float:
        """Energy that a still and a moving part together account for, summed over waves.

        Least squares with the two columns 1 and exp(-2 pi i k v t) for each wave k.
        """
        count = len(self.times)
        moved = np.exp(-2j * np.pi * speed * self.times[:, None] * self.wave)
        common = moved.sum(axis=0)
        still = self.spectrum.sum(axis=0)
        moving = (self.spectrum * moved.conj()).sum(axis=0)
        apart = count**2 - np.abs(common) ** 2
        cross = (still.conj() * common * moving).real
        both = count * (np.abs(still) ** 2 + np.abs(moving) ** 2) - 2 * cross
        alone = np.abs(still) ** 2 / count
        told = apart > 1e-5 * count**2
        return float(np.where(told, both / np.where(told, apart, 1.0), alone).sum())


def _best_speed(values: Floats, times: Floats, top: float, near: float | None = None) -> float:
    from scipy.optimize import minimize_scalar

    waves = _Waves.of(values, times)
    fine = 0.25 / FINEST_WAVE / float(times[-1] - times[0])
    low, high = (-top, top) if near is None else (near - 4 * fine, near + 4 * fine)
    grid = np.arange(low, high + fine, fine)
    best = float(grid[int(np.argmax([waves.explained(speed) for speed in grid]))])
    found = minimize_scalar(
        lambda speed: -waves.explained(speed),
        bounds=(best - fine, best + fine),
        method="bounded",
        options={"xatol": fine * 1e-3},
    )
    return float(found.x)


def flow_speed(
    frames: Sequence[tuple[float, Light]],
    start: Point,
    end: Point,
    *,
    width_px: int = 15,
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
    near = np.zeros(frames[0][1].shape, np.uint8)
    ends = [tuple(round(v) for v in point) for point in (start, end)]
    cv2.line(near, ends[0], ends[1], 255, width_px)
    smooth = [
        (time_s, cv2.GaussianBlur(np.nan_to_num(contrast), (0, 0), FLOW_SMOOTHING_PX))
        for time_s, contrast in frames
    ]
    reach = float(np.median([np.abs(picture[near > 0]).max() for _, picture in smooth]))
    method = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    found = []
    for (t0, before), (t1, after) in zip(smooth, smooth[step:], strict=False):
        empty = np.zeros((*before.shape, 2), np.float32)
        flow = np.asarray(method.calc(_codes(before, reach), _codes(after, reach), empty))
        strong = (near > 0) & (np.abs(before) > 0.4 * reach)
        if t1 > t0 and strong.sum() >= 20:
            along = flow[..., 0] * ux + flow[..., 1] * uy
            found.append(float(np.median(along[strong])) / (t1 - t0))
    if not found:
        raise ValueError("nothing stands out along this line")
    apart = max(1.0, len(found) / step)
    spread = 1.2533 * float(np.std(found, ddof=1)) / math.sqrt(apart) if found[1:] else 0.0
    return float(np.median(found)), spread


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
    """Rise speed along a line, by the space-time diagram, with optical flow beside it.

    Raises
    ------
    ValueError
        See :func:`space_time` and :func:`pattern_speed`.
    """
    diagram = space_time(frames, start, end, width_px=width_px)
    fastest = None if fastest_m_s is None else fastest_m_s / scale.metres_per_px
    speed, low, high = pattern_speed(diagram, fastest_px_s=fastest)
    value = Quantity(speed, low, high, "px/s").times(scale.metres_per_px, "m/s")
    value = value.widened(scale.relative_sigma)
    results = {"speed": value}
    words = ""
    try:
        step = _flow_step(diagram.times_s, speed)
        flow, error = flow_speed(frames, start, end, width_px=max(5, 3 * width_px), step=step)
    except ValueError as reason:
        words = f"no optical flow: {reason}"
    else:
        by_flow = Quantity.normal(flow, error, "px/s").times(scale.metres_per_px, "m/s")
        results["speed_by_flow"] = by_flow.widened(scale.relative_sigma)
        if abs(by_flow.value - value.value) > 0.25 * abs(value.value):
            words = "space-time diagram and optical flow disagree by more than a quarter"
    return Measurement(
        "rise speed",
        results,
        {
            "line_px": [list(start), list(end)],
            "width_px": width_px,
            "from_s": frames[0][0],
            "to_s": frames[-1][0],
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
