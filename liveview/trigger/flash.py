"""Flash detector: row statistics against their own recent past and near future."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Cause, Disc, Frame, FrameStamp, SourceInfo, Spotted
from liveview.trigger.rows import RowGrid
from liveview.trigger.shutter import flash_time

Rows = NDArray[np.float64]

BEFORE = 2
AFTER = 2
LEARN_FRAMES = 12
MEMORY_FRAMES = 120
HEIGHTS = (1, 3, 9, 27)


@dataclass(frozen=True, slots=True)
class _Seen:
    """One frame's row means inside and outside the disc, (bands, 2)."""

    stamp: FrameStamp
    rows: Rows


class FlashDetector:
    """Finds frames in which rows are brighter than before *and* after. Two frames late.

    Parameters
    ----------
    info : SourceInfo
        Shape, row time and exposure of the frames.
    sigma : float
        Threshold in units of the statistic's own noise.
    """

    def __init__(self, info: SourceInfo, sigma: float) -> None:
        self._grid = RowGrid(info.shape)
        self._info = info
        self.sigma = sigma
        self._seen: deque[_Seen] = deque(maxlen=BEFORE + 1 + AFTER)
        self._weights: tuple[NDArray[np.float32], ...] = ()
        self._spread: dict[int, Rows] = {}
        self._usual: dict[int, Rows] = {}
        self._learnt = 0
        self._lit_before = -10
        self.set_disc(None)

    def set_disc(self, disc: Disc | None) -> None:
        """Where the mirror is in the picture; what was learnt starts anew."""
        parts = [self._grid.inside(disc), self._grid.outside(disc)]
        self._weights = tuple(
            (part / np.maximum(part.sum(axis=1, keepdims=True), 1)).astype(np.float32)
            for part in parts
            if part.any()
        )
        self._seen.clear()
        self._spread.clear()
        self._usual.clear()
        self._learnt = 0

    @property
    def ready(self) -> bool:
        """True once the usual spread of the statistic is known."""
        return self._learnt >= LEARN_FRAMES

    @property
    def lag_s(self) -> float:
        """How far behind the newest frame the verdicts are."""
        if len(self._seen) < 2:
            return 0.0
        return self._seen[-1].stamp.time_s - self._seen[0].stamp.time_s

    def look(self, frame: Frame) -> tuple[Spotted, ...]:
        """See the next frame; gives what was found two frames ago."""
        tiles = self._grid.means(frame.pixels)
        rows = np.stack([(tiles * w).sum(axis=1) for w in self._weights], axis=1)
        self._seen.append(_Seen(frame.stamp, rows.astype(np.float64)))
        if len(self._seen) < BEFORE + 1 + AFTER:
            return ()
        return self._judge()

    def _judge(self) -> tuple[Spotted, ...]:
        seen = tuple(self._seen)
        middle = seen[BEFORE]
        around = [s.rows for i, s in enumerate(seen) if i not in (BEFORE, BEFORE + 1)]
        excess = middle.rows - np.max(around, axis=0)
        best, lit = 0.0, None
        quiet: list[tuple[int, Rows]] = []
        for height in HEIGHTS:
            if height > len(excess):
                break
            window = _sliding_mean(excess, height)
            strength = self._strength(height, window)
            quiet.append((height, window))
            top = float(strength.max())
            if top > best:
                best, lit = top, strength.max(axis=1) > max(0.5 * top, 0.5 * self.sigma)
        fired = self.ready and best > self.sigma and lit is not None
        if not fired:
            for height, window in quiet:
                self._learn(height, window)
            self._learnt += 1
            return ()
        assert lit is not None
        if middle.stamp.number == self._lit_before + 1:
            self._lit_before = middle.stamp.number
            return ()
        self._lit_before = middle.stamp.number
        return (self._spotted(middle.stamp, np.flatnonzero(lit), best),)

    def _strength(self, height: int, window: Rows) -> Rows:
        if height not in self._spread:
            return np.zeros_like(window)
        return np.asarray((window - self._usual[height]) / self._spread[height])

    def _learn(self, height: int, window: Rows) -> None:
        if height not in self._spread:
            self._usual[height] = window.copy()
            self._spread[height] = np.full_like(window, 1e-3)
        rate = max(1.0 / (self._learnt + 1), 1.0 / MEMORY_FRAMES)
        usual, spread = self._usual[height], self._spread[height]
        off = np.abs(window - usual)
        usual += rate * (window - usual)
        spread += rate * (1.2533 * off - spread)
        np.maximum(spread, 1e-3 * self._info.white / 255, out=spread)

    def _spotted(self, stamp: FrameStamp, lit: NDArray[np.intp], strength: float) -> Spotted:
        band = self._grid.band
        rows = (int(lit[0]) * band, min((int(lit[-1]) + 1) * band, self._info.height) - 1)
        time_s, error_s = flash_time(stamp, rows, self._info)
        return Spotted(time_s, error_s, Cause.FLASH, strength, stamp.number, rows)


def _sliding_mean(values: Rows, height: int) -> Rows:
    total = np.cumsum(np.vstack([np.zeros((1, values.shape[1])), values]), axis=0)
    half = height // 2
    index = np.arange(len(values))
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, len(values))
    return np.asarray((total[high] - total[low]) / (high - low)[:, None])
