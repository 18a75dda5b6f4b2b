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

_ROWS = 160
"""Rows that are counted, at least, where there are as many: they lie evenly over the disc."""
_BEYOND = 1000
"""One pixel in so many may lie in the outermost bins."""


class ContrastCounter:
    """Counts the contrasts of one frame after another over a range that holds the widest seen.

    The range is ± a power of two. It doubles when more than one pixel in 1000 lies in the
    outermost bins, and stays until ``restart``. In discs of 320 pixels and more only every
    second, third ... row is counted: some 80 000 pixels tell shares to a tenth of a per mille.
    """

    def __init__(self) -> None:
        self._range = LEAST_RANGE
        self._codes: Bytes = np.empty((0, 0), np.uint8)

    @property
    def range(self) -> float:
        """Contrast at the end of the histogram."""
        return self._range

    def restart(self) -> None:
        """Forget the widest seen."""
        self._range = LEAST_RANGE

    def count(
        self, ratio: Light, gain: float, inside: Bytes, offset: float = -1.0
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Edges and counts of ``C = ratio/gain + offset``.

        Parameters
        ----------
        ratio : ndarray, float32, (rows, columns)
        gain : float
            Lamp gain, above 0.
        inside : ndarray, uint8, (rows, columns)
            255 where a pixel counts, else 0.

        Returns
        -------
        edges : ndarray, float64, (257,)
        counts : ndarray, int64, (256,)
            What lies beyond the range is in the outermost bins.
        """
        step = max(1, min(ratio.shape) // _ROWS)
        ratio, inside = ratio[step // 2 :: step], inside[step // 2 :: step]
        if self._codes.shape != ratio.shape:
            self._codes = np.empty(ratio.shape, np.uint8)
        while True:
            counts = self._counted(ratio, gain, inside, offset)
            ends = int(counts[0] + counts[-1])
            if ends * _BEYOND <= int(counts.sum()) or self._range >= MOST_RANGE:
                break
            self._range *= 2
        return _edges(self._range), counts

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


def share_above(
    edges: NDArray[np.float64], counts: NDArray[np.int64], sigma: float | None
) -> float | None:
    """Share of the counted pixels beyond ± 3 sigma, 0..1; None without a sigma or pixels."""
    total = int(counts.sum())
    if sigma is None or total == 0:
        return None
    width = float(edges[-1] - edges[0]) / counts.size
    # Bins below the lower limit and above the upper one, and a part of those they lie in.
    ends = (
        (counts, (-SEEN_SIGMA * sigma - float(edges[0])) / width),
        (counts[::-1], (float(edges[-1]) - SEEN_SIGMA * sigma) / width),
    )
    return sum(_first(side, bins) for side, bins in ends) / total


def _first(counts: NDArray[np.int64], bins: float) -> float:
    """How many are in the first ``bins`` bins, the last of which may be a part of one."""
    if bins <= 0.0:
        return 0.0
    whole = min(int(bins), counts.size)
    part = float(counts[whole]) * (bins - whole) if whole < counts.size else 0.0
    return float(counts[:whole].sum()) + part


def in_unit(histogram: Histogram, unit: str, per_contrast: float = 1.0) -> Histogram:
    """The same counts in another unit, one of contrast being ``per_contrast`` of it."""
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
