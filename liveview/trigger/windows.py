"""The brightest run of rows, whatever its height, in units of its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Row = NDArray[np.float64]
MEMORY_FRAMES = 240
FIRST_FRAMES = 16
"""Until so many were seen, the middle one counts."""
STEP = 4.0
"""Of the first, those in which half of the bands are so far off, in their own noise, show a step of
the lamp and do not count."""


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
        heights = [*(2**k for k in range(bands.bit_length()) if 2**k < bands), bands]
        total = np.concatenate([[0.0], np.cumsum(self._used)])
        spans = [
            (h, low) for h in heights for low in range(bands - h + 1) if total[low + h] > total[low]
        ]
        height = np.array([h for h, _ in spans], np.intp)
        self._low = np.array([low for _, low in spans], np.intp)
        self._high = self._low + height
        self._root = np.sqrt(total[self._high] - total[self._low])
        # All windows of one height lie together; where each height begins, and how many it has.
        self._kind = np.cumsum(np.diff(height, prepend=height[:1]) != 0)
        self._begins = np.flatnonzero(np.diff(height, prepend=0))
        self._counts = np.bincount(self._kind)
        self._noise = np.ones(len(self._counts))
        self._frames = 0
        self._first: list[Row] = []
        self._seen: list[Row] = []
        self.trials = 2.0 * max(1.0, float(self._used.sum()))
        """Number of independent windows, about: each height has half as many as the one below."""

    def peaks(self, excess: Row) -> list[Peak]:
        """The strongest window of each frame; ``learn`` then takes them into the noise.

        ``excess`` is (frames, bands), in units of each band's noise.
        """
        if len(self._low) == 0:
            return [Peak(0, excess.shape[1], 0.0)] * len(excess)
        total = np.zeros((excess.shape[1] + 1, len(excess)))
        np.cumsum((excess * self._used).T, axis=0, out=total[1:])
        sums = total[self._high] - total[self._low]
        sums /= self._root[:, None]
        sigma = sums / np.maximum(self._noise, 1.0)[self._kind, None]
        tops = sigma.argmax(axis=0)
        np.abs(sums, out=sums)
        if self._frames < FIRST_FRAMES:
            sums = sums[:, np.median(np.abs(excess[:, self._used > 0]), axis=1) < STEP]
        self._seen.append(sums)
        return [
            Peak(int(self._low[top]), int(self._high[top]), float(sigma[top, frame]))
            for frame, top in enumerate(tops.tolist())
        ]

    def forget(self) -> None:
        """What was seen since ``learn`` is not to be learnt."""
        self._seen.clear()

    def learn(self) -> None:
        """Take what was seen since the last time into the noise."""
        if not self._seen:
            return
        size = self._seen[0] if len(self._seen) == 1 else np.concatenate(self._seen, axis=1)
        self._seen.clear()
        count = size.shape[1]
        if count == 0:
            return
        first = self._frames < FIRST_FRAMES
        self._frames += count
        if first:
            self._first += [self._usual(one) for one in size.T]
            self._noise = np.median(self._first, axis=0)
            return
        np.minimum(size, 4.0 * self._noise[self._kind, None], out=size)
        self._first.clear()
        rate = max(count / self._frames, 1.0 - (1.0 - 1.0 / MEMORY_FRAMES) ** count)
        self._noise += rate * (self._usual(size.mean(axis=1)) - self._noise)

    def _usual(self, size: Row) -> Row:
        """Standard deviation of each height's windows in one frame, from their mean size."""
        usual: Row = 1.2533 * np.add.reduceat(size, self._begins) / self._counts
        return usual
