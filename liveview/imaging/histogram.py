"""The sensitivity histogram: how often each signed contrast occurs over the disc."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Histogram, Light

BINS = 256
"""An even number, so that zero contrast is an edge and halving merges bins exactly."""
LEAST_RANGE = 2.0**-7
MOST_RANGE = 16.0
SEEN_SIGMA = 3.0
"""Contrasts beyond this many sigma count as above the noise (0.27 % of pure noise does)."""

CALM_S = 3.0
"""For so long all has to lie within a quarter of the range before it becomes narrower."""

_ROWS = 160
"""Rows that are counted, at least, where there are as many: they lie evenly over the disc."""
_BEYOND = 1000
"""One pixel in so many may lie in the outermost bins."""


class ContrastCounter:
    """Counts the contrasts of one frame after another over a range that holds the widest seen.

    The range is ± a power of two. It doubles when more than one pixel in 1000 lies in the
    outermost bins. When for ``CALM_S`` all but one in 1000 have lain within a quarter of it, it
    becomes twice what they took, at least: nothing steady makes it go to and fro. In discs of 320
    pixels and more only every second, third ... row is counted: some 80 000 pixels tell shares to
    a tenth of a per mille.
    """

    def __init__(self) -> None:
        self._codes: Bytes = np.empty((0, 0), np.uint8)
        self.restart()

    @property
    def range(self) -> float:
        """Contrast at the end of the histogram."""
        return self._range

    def restart(self) -> None:
        """Forget the widest seen."""
        self._range = LEAST_RANGE
        self._taken = 0.0
        self._calm_from_s: float | None = None

    def count(
        self, ratio: Light, gain: float, inside: Bytes, offset: float = -1.0, time_s: float = 0.0
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Edges and counts of ``C = ratio/gain + offset``.

        Parameters
        ----------
        ratio : ndarray, float32, (rows, columns)
        gain : float
            Lamp gain, above 0.
        inside : ndarray, uint8, (rows, columns)
            255 where a pixel counts, else 0.
        time_s : float
            Time of the frame, by which the range may become narrower.

        Returns
        -------
        edges : ndarray, float64, (257,)
        counts : ndarray, int64, (256,)
            What lies beyond the range is in the outermost bins.
        """
        rows = _rows(ratio)
        ratio, inside = ratio[rows], inside[rows]
        if self._codes.shape != ratio.shape:
            self._codes = np.empty(ratio.shape, np.uint8)
        while True:
            counts = self._counted(ratio, gain, inside, offset)
            ends = int(counts[0] + counts[-1])
            if ends * _BEYOND <= int(counts.sum()) or self._range >= MOST_RANGE:
                break
            self._range *= 2
        edges = _edges(self._range)
        self._narrow(counts, time_s)
        return edges, counts

    def _narrow(self, counts: NDArray[np.int64], time_s: float) -> None:
        """Choose a narrower range for the frames to come when it was too wide for long enough."""
        taken = _reach(counts) * self._range
        calm_from = self._calm_from_s
        if 4 * taken > self._range or calm_from is None or time_s < calm_from:
            self._taken, self._calm_from_s = taken, time_s
            return
        self._taken = max(self._taken, taken)
        if time_s - calm_from < CALM_S:
            return
        while self._range >= 4 * self._taken and self._range > LEAST_RANGE:
            self._range /= 2
        self._calm_from_s = None

    def _counted(
        self, ratio: Light, gain: float, inside: Bytes, offset: float
    ) -> NDArray[np.int64]:
        steep = BINS / 2 / self._range
        # Half a code less makes rounding to a floor; zero contrast is the lower edge of code 128.
        shift = BINS / 2 - 0.5 + offset * steep
        cv2.addWeighted(ratio, steep / gain, ratio, 0.0, shift, self._codes, dtype=cv2.CV_8U)
        found = cv2.calcHist([self._codes], [0], inside, [BINS], [0, BINS])
        return found.ravel().astype(np.int64)


@lru_cache(maxsize=32)
def _edges(reach: float) -> NDArray[np.float64]:
    edges = np.linspace(-reach, reach, BINS + 1)
    edges.setflags(write=False)
    return edges


def _rows(ratio: Light) -> slice:
    """The rows that are counted."""
    step = max(1, min(ratio.shape) // _ROWS)
    return slice(step // 2, None, step)


def _reach(counts: NDArray[np.int64]) -> float:
    """The part of the range, 0..1, that all but one pixel in 1000 lie within."""
    half = counts.size // 2
    within = np.cumsum(counts[half:] + counts[half - 1 :: -1])
    found = int(np.searchsorted(within, within[-1] * (1 - 1 / _BEYOND)))
    return min(found + 1, half) / half if within[-1] else 0.0


def share_above(
    ratio: Light, gain: float, inside: Bytes, sigma: float | None, offset: float = -1.0
) -> float | None:
    """Share of the pixels whose ``C = ratio/gain + offset`` is beyond ± 3 sigma, 0..1.

    Of the same pixels as :meth:`ContrastCounter.count` takes; the values themselves are asked,
    however wide the bins are. None without a sigma or pixels.
    """
    rows = _rows(ratio)
    ratio, inside = ratio[rows], inside[rows]
    total = cv2.countNonZero(inside)
    if sigma is None or total == 0:
        return None
    limit = SEEN_SIGMA * sigma
    quiet = cv2.inRange(ratio, (-limit - offset) * gain, (limit - offset) * gain)
    return 1.0 - cv2.countNonZero(cv2.bitwise_and(quiet, inside)) / total


def in_unit(histogram: Histogram, unit: str, per_contrast: float = 1.0) -> Histogram:
    """The same counts in another unit, one of contrast being ``per_contrast`` of it."""
    if (unit, per_contrast) == (histogram.unit, histogram.per_contrast):
        return histogram
    factor = per_contrast / histogram.per_contrast

    def turned(value: float | None) -> float | None:
        return None if value is None else value * factor

    return replace(
        histogram,
        unit=unit,
        edges=histogram.edges * factor,
        noise_sigma=turned(histogram.noise_sigma),
        range_low=turned(histogram.range_low),
        range_high=turned(histogram.range_high),
        per_contrast=per_contrast,
    )


def merged(first: Histogram, second: Histogram) -> Histogram:
    """Two histograms of the same unit as one over the wider range; counts add.

    Those of several frames are to be in contrast: what it is in another unit follows the noise
    and the blade (see :func:`in_unit`).

    Shares are weighted with the counts; noise and range ends are those of the second.

    Raises
    ------
    ValueError
        Different units, or ranges that are not a power of two apart.
    """
    if first.unit != second.unit:
        raise ValueError(f"cannot merge histograms in {first.unit} and {second.unit}")
    edges = max(first.edges, second.edges, key=lambda edges: float(edges[-1]))
    end = float(edges[-1])
    counts = _widened(first, end) + _widened(second, end)
    a, b = int(first.counts.sum()), int(second.counts.sum())

    def mix(x: float | None, y: float | None) -> float | None:
        if x is None or y is None or a + b == 0:
            return y
        return (a * x + b * y) / (a + b)

    return Histogram(
        unit=second.unit,
        edges=edges,
        counts=counts,
        noise_sigma=second.noise_sigma,
        above_noise=mix(first.above_noise, second.above_noise),
        clipped_dark=mix(first.clipped_dark, second.clipped_dark) or 0.0,
        clipped_bright=mix(first.clipped_bright, second.clipped_bright) or 0.0,
        range_low=second.range_low,
        range_high=second.range_high,
        per_contrast=second.per_contrast,
    )


def _widened(histogram: Histogram, end: float) -> NDArray[np.int64]:
    """The counts over ± ``end``, bins merged by factors of two."""
    counts = histogram.counts
    reach = float(histogram.edges[-1])
    size = counts.size
    while reach < end * (1 - 1e-9):
        pad = np.zeros(size // 4, np.int64)
        counts = np.concatenate([pad, counts.reshape(-1, 2).sum(axis=1), pad])
        reach *= 2
    if abs(reach - end) > 1e-6 * end:
        raise ValueError("histogram ranges are not a power of two apart")
    return counts
