"""Noise by photon transfer, from pairs of live frames.

``variance = sigma_d^2 + K (mean - dark)`` for a linear camera (EMVA Standard 1288, release 4.0
linear, 2021). The variance comes from the difference of two frames, which cancels the fixed
pattern; a second difference between pixels two columns apart cancels smooth flow, flicker and
drift as well.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.quick import median
from liveview.model import Light

Floats = NDArray[np.float64]

Rounding = Callable[[NDArray[np.floating]], Floats]
"""Variance of rounding to whole codes at a level of light."""

BLOCK = 16
_LAG = 2
_LEVELS = 16
_STRIPS = 8
_PAUSE = 8
"""Frames between two pairs."""
_MEMORY = 12.0
"""Pairs over which the estimate is averaged."""
_SAME_LIGHT = 0.2
"""Share by which the light of two frames may differ: more than lamps flicker by."""
_FROZEN = 0.5
_JUST_DARK, _JUST_BRIGHT = 1e-9, 1.0 - 1e-6
_LAPLACE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


@dataclass(frozen=True, slots=True)
class PhotonTransfer:
    """Noise against level, in units of light (1.0 is the top code).

    ``levels`` and ``variances`` are the measured points. ``gain`` is K (light per electron),
    None where the levels seen are too much alike to tell it. The straight line has the value
    ``at_dark`` at the level ``dark`` of the dark picture, with the standard error ``error``.
    ``rounding`` gives the variance of rounding to codes, which the line is without: behind a
    curved transfer it grows with the level and would pass for photons. ``frozen`` says that
    frames differ by less than rounding alone would make them: compressed or processed video,
    whose noise cannot be told from pairs; the variances are lower bounds then.
    """

    levels: Floats
    variances: Floats
    dark: float = 0.0
    gain: float | None = None
    at_dark: float = 0.0
    error: float = 0.0
    rounding: Rounding | None = None
    frozen: bool = False

    @property
    def dark_variance(self) -> float | None:
        """Variance at no light, rounding apart; None where it drowns in its own error."""
        known = self.gain is not None and self.at_dark > 2 * self.error
        return self.at_dark if known else None

    def variance_at(self, light: NDArray[np.floating]) -> Floats:
        """Variance of one pixel at these levels; held flat or scaled beyond the points seen."""
        if self.gain is not None:
            line = np.maximum(self.at_dark + self.gain * (light - self.dark), 0.0)
            return np.asarray(line if self.rounding is None else line + self.rounding(light))
        return np.asarray(np.interp(light, self.levels, self.variances))


def block_statistics(first: Light, second: Light) -> tuple[Floats, Floats]:
    """Level and variance of blocks of 16 x 16 pixels from two frames of the same scene.

    Parameters
    ----------
    first, second : ndarray, float32, (rows, columns)
        Linear light; rows and columns beyond whole blocks are not used. A block that touches
        0 or 1 (clipped) or holds NaN is left out.

    Returns
    -------
    levels, variances : ndarray, float64, (blocks,)
        Mean light of the two and temporal variance of a single pixel.
    """
    rows = first.shape[0] // BLOCK * BLOCK
    columns = (first.shape[1] - _LAG) // BLOCK * BLOCK
    if rows == 0 or columns <= 0:
        return np.empty(0), np.empty(0)
    a, b = first[:rows], second[:rows]
    difference = cv2.subtract(a, b)
    twice = cv2.subtract(difference[:, _LAG : columns + _LAG], difference[:, :columns])
    squares = _block_mean(cv2.multiply(twice, twice))
    both = cv2.add(a, b)
    # Of the same pixels as the variances: beside an edge the two columns matter.
    levels = _block_mean(cv2.add(both[:, :columns], both[:, _LAG : columns + _LAG])) / 4
    fine = cv2.bitwise_and(
        cv2.inRange(a, _JUST_DARK, _JUST_BRIGHT), cv2.inRange(b, _JUST_DARK, _JUST_BRIGHT)
    )
    inside = _block_mean(fine[:, :columns].astype(np.float32)) == 255
    keep = inside & np.isfinite(squares) & np.isfinite(levels)
    return levels[keep].ravel(), squares[keep].ravel() / 4


def _unclipped(light: Light) -> NDArray[np.uint8]:
    return np.asarray(cv2.inRange(light, _JUST_DARK, _JUST_BRIGHT), np.uint8)


def _block_mean(picture: NDArray[Any]) -> Floats:
    rows, columns = picture.shape
    size = (columns // BLOCK, rows // BLOCK)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float64)


def transfer_points(levels: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Blocks gathered by level: mean level and typical variance of each of up to 16 equal bins.

    The typical variance is the median, so that blocks with flow or moving edges in them do not
    count, corrected for the small skew of the distribution of block variances. It is the median
    over a straight line through all bins: where a bin spans very different levels, as beside the
    disc's rim, the middle variance would not be that of the mean level.
    """
    if levels.size < 8:
        return np.empty(0), np.empty(0)
    bins = min(_LEVELS, levels.size // 4)
    each = levels.size // bins
    # What is left over after equal bins is dropped at both ends.
    spare = (levels.size - each * bins) // 2
    order = np.argsort(levels)[spare : spare + each * bins].reshape(bins, each)
    at, found = levels[order], variances[order]
    mean = at.mean(axis=1)
    line = _rough_line(mean, np.median(found, axis=1))
    typical = np.median(found / line(at), axis=1) * line(mean)
    # Neighbouring double differences overlap: a block of 256 has about 171 degrees of freedom.
    skew = 1.0 + 2.0 / (3.0 * BLOCK * BLOCK / 1.5)
    return mean, typical * skew


def _rough_line(x: Floats, v: Floats) -> Callable[[Floats], Floats]:
    """A straight line through points, rising or flat, held positive."""
    weights = 1.0 / np.maximum(v, 1e-16) ** 2
    weights /= weights.sum()
    mean_x, mean_v = float(weights @ x), float(weights @ v)
    spread = float(weights @ (x - mean_x) ** 2)
    slope = max(float(weights @ ((x - mean_x) * (v - mean_v))) / max(spread, 1e-30), 0.0)
    least = max(float(v.min()) / 4, 1e-16)
    return lambda at: np.maximum(mean_v + slope * (at - mean_x), least)


def fit_photon_transfer(
    levels: Floats, variances: Floats, dark: float = 0.0, rounding: Rounding | None = None
) -> PhotonTransfer | None:
    """The straight line through measured points, robustly.

    Parameters
    ----------
    levels, variances : ndarray
        Points, any order.
    dark : float
        Light of the dark picture; ``dark_variance`` is the variance there.
    rounding : callable, optional
        Variance of rounding to codes; taken off before the line is fitted.

    Returns
    -------
    PhotonTransfer or None
        None with fewer than two points.
    """
    if levels.size < 2:
        return None
    order = np.argsort(levels)
    x, total = levels[order], variances[order]
    if rounding is not None and median(total) < _FROZEN * median(rounding(x)):
        return PhotonTransfer(x, np.maximum(total, rounding(x)), dark, frozen=True)
    v = np.maximum(total if rounding is None else total - rounding(x), 1e-16)
    weights = 1.0 / v**2
    keep = np.ones(x.size, bool)
    slope = base = 0.0
    for _ in range(5):
        w = weights * keep
        w /= w.sum()
        mean_x, mean_v = float(w @ x), float(w @ v)
        spread = float(w @ (x - mean_x) ** 2)
        slope = float(w @ ((x - mean_x) * (v - mean_v))) / max(spread, 1e-30)
        base = mean_v - slope * mean_x
        model = np.maximum(base + slope * x, 1e-16)
        miss = (v - model) / model
        scale = max(1.4826 * median(np.abs(miss[keep])), 0.02)
        keep = np.abs(miss) < 3 * scale
        if keep.sum() < 2:
            return PhotonTransfer(x, total, dark)
        weights = 1.0 / model**2
    told_apart = x[-1] - dark > 1.5 * (x[0] - dark) and slope > 0
    if not told_apart:
        return PhotonTransfer(x, total, dark)
    w = weights * keep
    mean_x = float(w @ x) / w.sum()
    lever = 1 / w.sum() + (mean_x - dark) ** 2 / float(w @ (x - mean_x) ** 2)
    error = float(scale * np.sqrt(lever))
    return PhotonTransfer(x, total, dark, slope, base + slope * dark, error, rounding)


class InStrips(Protocol):
    """Light of which rows can be had."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""

    def __getitem__(self, rows: Any, /) -> Any:
        """Some of the rows, float32."""


class NoiseMeter:
    """Measures the noise from the frames that go by: one pair in a few frames.

    Only a few strips of rows are kept and compared, which costs a few hundredths of a
    millisecond a frame. The result is an average over the last dozen pairs.
    """

    def __init__(self) -> None:
        self._first: tuple[Light, float] | None = None
        self._wait = 0
        self._points: tuple[Floats, Floats] | None = None
        self._result: PhotonTransfer | None = None
        self._pairs = 0

    @property
    def result(self) -> PhotonTransfer | None:
        """The newest estimate, None before the first pair."""
        return self._result

    def restart(self) -> None:
        """Forget everything: the camera or the exposure changed."""
        self.__init__()  # type: ignore[misc]

    def add(
        self,
        light: InStrips,
        dark: float = 0.0,
        rounding: Rounding | None = None,
        pairs: float = 1.0,
    ) -> None:
        """See one frame.

        Parameters
        ----------
        light : ndarray, float32, (rows, columns)
            Linear light; strips of it are copied. Anything that gives rows by slices will do.
        dark : float
            Light of the dark picture.
        rounding : callable, optional
            Variance of rounding to codes.
        pairs : float
            What interpolating this frame did to the variance of pairs
            (``imaging.steadiness.Kernel``); it is taken out.
        """
        if self._first is not None:
            first, earlier = self._first
            self._compare(first, _strips(light), (earlier + pairs) / 2, dark, rounding)
            self._first = None
            self._wait = 0 if self._pairs < 4 else _PAUSE
        elif self._wait > 0:
            self._wait -= 1
        else:
            self._first = _strips(light), pairs

    def _compare(
        self, first: Light, second: Light, pairs: float, dark: float, rounding: Rounding | None
    ) -> None:
        if first.shape != second.shape or not first.size or _another_scene(first, second):
            return
        levels, variances = block_statistics(first, second)
        at, typical = transfer_points(levels, variances / pairs)
        if at.size < 2:
            return
        self._pairs += 1
        self._points = self._averaged(at, typical)
        self._result = fit_photon_transfer(*self._points, dark, rounding)

    def _averaged(self, at: Floats, typical: Floats) -> tuple[Floats, Floats]:
        if self._points is None or self._points[0].size != at.size:
            return at, typical
        share = max(1.0 / self._pairs, 1.0 / _MEMORY)
        old_at, old = self._points
        return old_at + share * (at - old_at), old + share * (typical - old)


def _another_scene(first: Light, second: Light) -> bool:
    """True when lamp, cap or blade moved between two frames: every edge would pass for noise."""
    before, after = float(first.mean()), float(second.mean())
    return abs(after - before) > _SAME_LIGHT * max(before, after)


def _strips(light: InStrips) -> Light:
    """A few strips of 16 rows, one above the other, copied."""
    rows, columns = light.shape
    count = min(_STRIPS, rows // BLOCK)
    starts = np.linspace(0, max(rows - BLOCK, 0), count).astype(int)
    copied = np.empty((count * BLOCK, columns), np.float32)
    for index, start in enumerate(starts):
        copied[index * BLOCK : (index + 1) * BLOCK] = light[start : start + BLOCK]
    return copied


def contrast_sigma(
    transfer: PhotonTransfer,
    light: NDArray[np.floating],
    reference: NDArray[np.floating],
    dark: NDArray[np.floating] | float,
    frames_averaged: float = 1.0,
    reference_frames: float = np.inf,
) -> float | None:
    """Standard deviation of the contrast of one pixel, median over the pixels given.

    ``sqrt(variance)/(I_ref - I_dark) * sqrt(1/n_avg + 1/n_ref)``. None without usable pixels.
    """
    below = np.asarray(reference - dark, np.float64)
    usable = np.isfinite(below) & np.isfinite(light) & (below > 0)
    if not usable.any():
        return None
    deviation = np.sqrt(transfer.variance_at(np.asarray(light)[usable])) / below[usable]
    return float(np.median(deviation) * np.sqrt(1 / frames_averaged + 1 / reference_frames))


def immerkaer_sigma(picture: NDArray[np.floating]) -> float:
    """Noise of one picture (Immerkaer 1996, "Fast noise variance estimation", eq. 5).

    Structure counts as noise; a cross-check for even pictures.
    """
    answer = cv2.filter2D(np.asarray(picture, np.float64), cv2.CV_64F, _LAPLACE)[1:-1, 1:-1]
    return float(np.sqrt(np.pi / 2) / 6 * np.abs(answer).mean())


def median_deviation_sigma(picture: NDArray[np.floating]) -> float:
    """The same from the median of the filtered picture (Hampel 1974): edges count less."""
    answer = cv2.filter2D(np.asarray(picture, np.float64), cv2.CV_64F, _LAPLACE)[1:-1, 1:-1]
    return float(1.482602 * np.median(np.abs(answer - np.median(answer))) / 6)
