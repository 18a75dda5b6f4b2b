"""Noise by photon transfer, from pairs of live frames.

``variance = sigma_d^2 + K (mean - dark)`` for a linear camera (EMVA Standard 1288, release 4.0
linear, 2021). The variance comes from the difference of two frames, which cancels the fixed
pattern; a second difference between pixels two columns apart cancels smooth flow, flicker and
drift as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Light

Floats = NDArray[np.float64]

BLOCK = 16
_LAG = 2
_LEVELS = 24
_STRIPS = 12
_PAUSE = 6
"""Frames between two pairs."""
_MEMORY = 12.0
"""Pairs over which the estimate is averaged."""
_LAPLACE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)


@dataclass(frozen=True, slots=True)
class PhotonTransfer:
    """Noise against level, in units of light (1.0 is the top code).

    ``levels`` and ``variances`` are the measured points. ``gain`` is K (light per electron),
    ``dark_variance`` the variance at no light; both None where the levels seen are too much
    alike to tell them apart.
    """

    levels: Floats
    variances: Floats
    gain: float | None = None
    dark_variance: float | None = None

    def variance_at(self, light: NDArray[np.floating]) -> Floats:
        """Variance of one pixel at these levels; held flat or scaled beyond the points seen."""
        if self.gain is not None and self.dark_variance is not None:
            return np.asarray(np.maximum(self.dark_variance + self.gain * light, 0.0))
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
    total = cv2.add(a, b)[:, :columns]
    levels = _block_mean(total) / 2
    low = cv2.erode(cv2.min(a, b)[:, :columns], np.ones((BLOCK, BLOCK), np.uint8))
    high = cv2.dilate(cv2.max(a, b)[:, :columns], np.ones((BLOCK, BLOCK), np.uint8))
    half = BLOCK // 2
    inside = (low[half::BLOCK, half::BLOCK] > 0) & (high[half::BLOCK, half::BLOCK] < 1)
    keep = inside & np.isfinite(squares) & np.isfinite(levels)
    return levels[keep].ravel(), squares[keep].ravel() / 4


def _block_mean(picture: NDArray[Any]) -> Floats:
    rows, columns = picture.shape
    blocks = picture.reshape(rows // BLOCK, BLOCK, columns // BLOCK, BLOCK)
    return np.asarray(blocks.mean(axis=(1, 3), dtype=np.float64))


def transfer_points(levels: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Blocks gathered by level: mean level and typical variance of each of up to 24 bins.

    The typical variance is the median, so that blocks with flow or moving edges in them do not
    count, corrected for the small skew of the distribution of block variances.
    """
    if levels.size < 8:
        return np.empty(0), np.empty(0)
    edges = np.unique(np.quantile(levels, np.linspace(0, 1, min(_LEVELS, levels.size // 4) + 1)))
    which = np.clip(np.searchsorted(edges, levels, side="right") - 1, 0, max(len(edges) - 2, 0))
    at, typical = [], []
    for index in np.unique(which):
        members = which == index
        if members.sum() >= 4:
            at.append(levels[members].mean())
            typical.append(np.median(variances[members]))
    # Neighbouring double differences overlap: a block of 256 has about 171 degrees of freedom.
    skew = 1.0 + 2.0 / (3.0 * BLOCK * BLOCK / 1.5)
    return np.array(at), np.array(typical) * skew


def fit_photon_transfer(
    levels: Floats, variances: Floats, dark: float = 0.0
) -> PhotonTransfer | None:
    """The straight line through measured points, robustly.

    Parameters
    ----------
    levels, variances : ndarray
        Points, any order.
    dark : float
        Light of the dark picture; ``dark_variance`` is the variance there.

    Returns
    -------
    PhotonTransfer or None
        None with fewer than two points.
    """
    if levels.size < 2:
        return None
    order = np.argsort(levels)
    x, v = levels[order], np.maximum(variances[order], 1e-16)
    weights = 1.0 / v**2
    keep = np.ones(x.size, bool)
    slope = base = 0.0
    for _ in range(6):
        w = weights * keep
        mean_x, mean_v = np.average(x, weights=w), np.average(v, weights=w)
        spread = np.average((x - mean_x) ** 2, weights=w)
        slope = float(np.average((x - mean_x) * (v - mean_v), weights=w) / max(spread, 1e-30))
        base = float(mean_v - slope * mean_x)
        model = np.maximum(base + slope * x, 1e-16)
        miss = (v - model) / model
        scale = max(1.4826 * float(np.median(np.abs(miss[keep]))), 0.02)
        keep = np.abs(miss) < 3 * scale
        if keep.sum() < 2:
            return PhotonTransfer(x, v)
        weights = 1.0 / model**2
    at_dark = base + slope * dark
    told_apart = x[-1] - dark > 1.5 * (x[0] - dark) and slope > 0 and at_dark >= 0
    if not told_apart:
        return PhotonTransfer(x, v)
    return PhotonTransfer(x, v, slope, base)


class NoiseMeter:
    """Measures the noise from the frames that go by: one pair in a few frames.

    Only a dozen strips of rows are kept and compared, which costs a tenth of a millisecond a
    frame. The result is an average over the last dozen pairs.
    """

    def __init__(self) -> None:
        self._first: list[Light] = []
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

    def add(self, light: Light, dark: float = 0.0) -> None:
        """See one frame, float32 (rows, columns) linear light; strips of it are copied."""
        if self._first:
            self._compare(_strips(light), dark)
            self._first = []
            self._wait = 0 if self._pairs < 4 else _PAUSE
        elif self._wait > 0:
            self._wait -= 1
        else:
            self._first = [strip.copy() for strip in _strips(light)]

    def _compare(self, second: list[Light], dark: float) -> None:
        if [s.shape for s in second] != [s.shape for s in self._first]:
            return
        found = [block_statistics(a, b) for a, b in zip(self._first, second, strict=True)]
        levels = np.concatenate([f[0] for f in found])
        variances = np.concatenate([f[1] for f in found])
        at, typical = transfer_points(levels, variances)
        if at.size < 2:
            return
        self._pairs += 1
        self._points = self._averaged(at, typical)
        self._result = fit_photon_transfer(*self._points, dark)

    def _averaged(self, at: Floats, typical: Floats) -> tuple[Floats, Floats]:
        if self._points is None or self._points[0].size != at.size:
            return at, typical
        share = max(1.0 / self._pairs, 1.0 / _MEMORY)
        old_at, old = self._points
        return old_at + share * (at - old_at), old + share * (typical - old)


def _strips(light: Light) -> list[Light]:
    rows = light.shape[0]
    count = min(_STRIPS, rows // BLOCK)
    if count == 0:
        return []
    starts = np.linspace(0, rows - BLOCK, count).astype(int)
    return [light[start : start + BLOCK] for start in starts]


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
