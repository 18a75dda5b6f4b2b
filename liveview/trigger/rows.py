"""Row statistics of a frame on a reduced grid: what the flash detector looks at."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Disc, Pixels

Grid = NDArray[np.float32]

MOST_BANDS = 90
"""Bands of rows a frame is cut into, at most; a band is never less than ``FEWEST_ROWS`` high."""
FEWEST_ROWS = 4
ROWS_READ = 4
"""Of a band, about: half the time for a noise that is 1.4 times as high."""
COLUMNS = 64
CLEAR = 1.12
"""Tiles beyond this many radii count as outside: the mirror's rim and its glare are neither."""


class RowGrid:
    """Cuts frames of one shape into bands of rows and tiles within them, quickly.

    The rows' sums are exact (integers in float32); only whole bands are used, so up to a band's
    height of rows at the bottom is left out. Of high bands about ``ROWS_READ`` rows are read.

    Parameters
    ----------
    shape : tuple of int
        Shape of the frames.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.rows, self.columns = shape[:2]
        self.channels = shape[2] if len(shape) == 3 else 1
        self.band = max(FEWEST_ROWS, -(-self.rows // MOST_BANDS))
        self.band = min(self.band, self.rows)
        self.bands = self.rows // self.band
        self.tiles = min(COLUMNS, self.columns)
        self._picked = range(0, self.band, max(1, self.band // ROWS_READ))
        self._total = np.empty((self.bands, self.columns * self.channels), np.float32)

    def means(self, pixels: Pixels, out: Grid | None = None) -> Grid:
        """Mean code of each tile, float32 (bands, tiles), over all channels."""
        lines = pixels[: self.bands * self.band].reshape(self.bands, self.band, -1)
        total = self._sums(lines)
        small = np.empty((self.bands, self.tiles), np.float32) if out is None else out
        wide, left = divmod(total.shape[1], self.tiles)
        if left == 0:
            cv2.reduce(total.reshape(-1, wide), 1, cv2.REDUCE_SUM, dst=small.reshape(-1, 1))
            small *= np.float32(1.0 / (wide * len(self._picked)))
        else:
            # The channels of a pixel lie side by side: averaging along the row takes them all.
            cv2.resize(total, (self.tiles, self.bands), dst=small, interpolation=cv2.INTER_AREA)
            small *= np.float32(1.0 / len(self._picked))
        return small

    def _sums(self, lines: Pixels) -> Grid:
        """Sum of the rows read of each band, float32 (bands, columns x channels)."""
        if self._total.shape[1] != lines.shape[2]:
            self._total = np.empty((self.bands, lines.shape[2]), np.float32)
        np.copyto(self._total, lines[:, self._picked[0]])
        for row in self._picked[1:]:
            cv2.accumulate(lines[:, row], self._total)
        return self._total

    def inside(self, disc: Disc | None) -> NDArray[np.bool_]:
        """Which tiles lie wholly inside the disc, (bands, tiles); all without a disc."""
        if disc is None:
            return np.ones((self.bands, self.tiles), bool)
        return self._reach(disc, nearest=False) < disc.radius

    def outside(self, disc: Disc | None) -> NDArray[np.bool_]:
        """Which tiles lie clear of the disc; none without a disc."""
        if disc is None:
            return np.zeros((self.bands, self.tiles), bool)
        return self._reach(disc, nearest=True) > CLEAR * disc.radius

    def _reach(self, disc: Disc, nearest: bool) -> NDArray[np.float64]:
        """Distance of each tile's farthest (or nearest) point from the disc's centre, pixels."""
        width = self.columns / self.tiles
        left = np.arange(self.tiles) * width - 0.5 - disc.cx
        top = np.arange(self.bands) * self.band - 0.5 - disc.cy
        dx, dy = _reach(left, left + width, nearest), _reach(top, top + self.band, nearest)
        return np.asarray(np.hypot(dx[None, :], dy[:, None]))


def _reach(
    low: NDArray[np.floating], high: NDArray[np.floating], nearest: bool
) -> NDArray[np.float64]:
    """Distance from 0 to the far (or near) end of the spans ``low..high``."""
    a, b = np.abs(low), np.abs(high)
    if not nearest:
        return np.asarray(np.maximum(a, b), np.float64)
    return np.asarray(np.where((low <= 0) & (high >= 0), 0.0, np.minimum(a, b)), np.float64)
