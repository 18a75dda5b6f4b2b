"""When each row of a frame is exposed, and which rows see a short flash."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Shutter:
    """Timing of one frame.

    Row r is exposed from ``start + r row_time`` for ``exposure``; a global shutter has row time 0.
    """

    rows: int
    exposure_s: float
    row_time_s: float = 0.0

    @property
    def seconds(self) -> float:
        """From the first row's begin to the last row's end."""
        return self.exposure_s + self.row_time_s * (self.rows - 1)

    def middles(self, start_s: float) -> NDArray[np.float64]:
        """Middle of each row's exposure, (rows,), seconds."""
        return np.asarray(
            start_s + 0.5 * self.exposure_s + self.row_time_s * np.arange(self.rows), np.float64
        )

    def shares(self, start_s: float, flash_s: float, lasts_s: float) -> NDArray[np.float64]:
        """Share 0..1 of a flash that each row collects, (rows,).

        Parameters
        ----------
        start_s : float
            Begin of the first row's exposure.
        flash_s, lasts_s : float
            Begin and length of an even flash.
        """
        begin = start_s + self.row_time_s * np.arange(self.rows)
        overlap = np.minimum(begin + self.exposure_s, flash_s + lasts_s) - np.maximum(
            begin, flash_s
        )
        return np.asarray(np.clip(overlap / lasts_s, 0.0, 1.0))

    def rows_lit(self, start_s: float, flash_s: float, lasts_s: float) -> tuple[int, int] | None:
        """First and last row (inclusive) that see any part of a flash; None when none does."""
        if flash_s >= start_s + self.seconds or flash_s + lasts_s <= start_s:
            return None
        if self.row_time_s == 0.0:
            return (0, self.rows - 1)
        after = (flash_s - self.exposure_s - start_s) / self.row_time_s
        before = (flash_s + lasts_s - start_s) / self.row_time_s
        first = max(0, math.floor(after) + 1)
        last = min(self.rows - 1, math.ceil(before) - 1)
        return (first, last) if first <= last else None
