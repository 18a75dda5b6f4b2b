"""The brightest run of rows, whatever its height, in units of its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Row = NDArray[np.float64]
MEMORY_FRAMES = 240
FIRST_FRAMES = 16
"""Until then everything is taken for noise."""


@dataclass(frozen=True, slots=True)
class Peak:
    """Bands ``low <= band < high`` and how far they are above their noise."""

    low: int
    high: int
    sigma: float


class RowWindows:
    """Sums over runs of 1, 2, 4, ... bands, each height with a noise of its own.

    Neighbouring bands do not fluctuate independently (the lamp is common to all): so the noise of
    each height is learnt, not computed from that of one band.

    Parameters
    ----------
    used : ndarray of bool
        Which bands count (those with tiles of this kind).
    """

    def __init__(self, used: NDArray[np.bool_]) -> None:
        self._used = used.astype(np.float64)
        bands = len(used)
        heights = [2**k for k in range(bands.bit_length()) if 2**k < bands]
        self._spans = [
            (np.arange(bands - h + 1), np.arange(h, bands + 1)) for h in [*heights, bands]
        ]
        total = np.concatenate([[0.0], np.cumsum(self._used)])
        self._root = [np.sqrt(np.maximum(total[b] - total[a], 1.0)) for a, b in self._spans]
        self._there = [(total[b] - total[a]) >= 1.0 for a, b in self._spans]
        self._noise = np.ones(len(self._spans))
        self._frames = 0
        self.trials = 2.0 * max(1.0, float(self._used.sum()))
        """Number of independent windows, about: each height has half as many as the one below."""

    def peak(self, excess: Row) -> Peak:
        """The strongest window of ``excess`` (in units of each band's noise); learns the noise."""
        total = np.concatenate([[0.0], np.cumsum(excess * self._used)])
        best = Peak(0, len(excess), 0.0)
        self._frames += 1
        rate = max(1.0 / self._frames, 1.0 / MEMORY_FRAMES)
        for k, (low, high) in enumerate(self._spans):
            if not self._there[k].any():
                continue
            sums = (total[high] - total[low]) / self._root[k]
            size = np.abs(sums)
            if self._frames > FIRST_FRAMES:
                size = np.minimum(size, 4.0 * self._noise[k])
            usual = 1.2533 * float(size[self._there[k]].mean())
            top = int(np.argmax(sums))
            sigma = float(sums[top]) / max(self._noise[k], 1.0)
            if sigma > best.sigma:
                best = Peak(int(low[top]), int(high[top]), sigma)
            self._noise[k] += rate * (usual - self._noise[k])
        return best
