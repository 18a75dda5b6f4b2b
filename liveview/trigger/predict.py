"""What the rows' brightness should be next, from how it has been: mains flicker and drift included.

For each band of rows the change to the next frame is predicted from the changes before,
``d[n] = sum_j a[j] d[n-j]``, by least squares over all bands with exponential forgetting. A lamp
that flickers with the mains, sampled at the frame rate, is a sum of few sinusoids, which such a
recursion follows exactly (Prony's idea); noise alone makes it the mean of the last few frames.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Row = NDArray[np.float64]

ORDER = 8
OUTLIER = 4.0
"""In units of the band's noise; what a value exceeds this by does not enter the prediction."""
MEMORY_FRAMES = 240
"""Time constant of the forgetting and of the noise."""
RELIEF = 0.4
"""How much a frame on the prediction makes up for frames off it, when a step is believed."""
SOLVE_EVERY = 4
"""Frames between two solutions for the weights, which change slowly."""
_UNIT = np.eye(ORDER)
FIRST_FRAMES = ORDER + 4
"""Before that nothing is known."""


class RowPredictor:
    """One-step prediction of one value per band, and the noise of its errors.

    Parameters
    ----------
    bands : int
    patience : int
        Frames after which a band that stays off its prediction is believed (a step).
    floor : float
        Smallest noise assumed.
    """

    def __init__(self, bands: int, patience: int, floor: float) -> None:
        self._patience = patience
        self._floor = floor
        self._clean = np.zeros((ORDER + 1, bands))
        self._raw = np.zeros((ORDER + 1, bands))
        self._normal = np.zeros((ORDER, ORDER))
        self._right = np.zeros(ORDER)
        self._weights = np.zeros(ORDER)
        self._off = np.zeros(bands)
        self._predicted = np.zeros(bands)
        self._since = np.full(bands, ORDER + 1)
        self.noise = np.full(bands, floor)
        """Standard deviation of the prediction error, learnt, per band."""
        self.frames = 0

    @property
    def ready(self) -> bool:
        """True once predictions mean something."""
        return self.frames > 2 * FIRST_FRAMES

    def step(self, value: Row) -> Row:
        """Take the next value of each band; gives how much it exceeds its prediction."""
        if self.frames < FIRST_FRAMES:
            self._push(value, value)
            return np.zeros_like(value)
        changes = np.diff(self._clean, axis=0)
        predicted = self._within_reason(self._clean[-1] + self._weights @ changes)
        self._predicted = predicted
        self._since += 1
        error = value - predicted
        outlier = np.abs(error) > OUTLIER * self.noise if self.ready else np.zeros(len(value), bool)
        self._learn(changes, value - self._clean[-1], error, outlier)
        self._off = np.where(outlier, self._off + 1.0, np.maximum(self._off - RELIEF, 0.0))
        reach = OUTLIER * self.noise
        self._push(predicted + np.clip(error, -reach, reach), value)
        believed = self._off > self._patience
        if believed.any():
            self._clean[:, believed] = self._raw[:, believed]
            self._off[believed] = 0
        return np.asarray(error)

    def leave_out(self, low: int, high: int) -> None:
        """Bands ``low <= band < high`` showed something else than the lamp: as if they had not.

        Not again within the next few frames: what comes back so soon belongs to the lamp.
        """
        bands = np.arange(low, high)
        fresh = bands[self._since[low:high] > ORDER]
        self._clean[-1, fresh] = self._predicted[fresh]
        self._since[fresh] = 0

    def _within_reason(self, predicted: Row) -> Row:
        """Not farther outside what was seen lately than that is wide: a recursion may run away."""
        low, high = self._raw.min(axis=0), self._raw.max(axis=0)
        room = (high - low) + OUTLIER * self.noise
        return np.asarray(np.clip(predicted, low - room, high + room))

    def _push(self, clean: Row, raw: Row) -> None:
        for history, value in ((self._clean, clean), (self._raw, raw)):
            history[:-1] = history[1:]
            history[-1] = value
        self.frames += 1

    def _learn(self, changes: Row, change: Row, error: Row, outlier: NDArray[np.bool_]) -> None:
        seen = self.frames - FIRST_FRAMES + 1
        rate = max(1.0 / seen, 1.0 / MEMORY_FRAMES)
        weight = (self._off == 0) & ~outlier
        design = changes * (weight / self.noise)
        self._normal += rate * (design @ design.T - self._normal)
        self._right += rate * (design @ (change * weight / self.noise) - self._right)
        if not self.ready or self.frames % SOLVE_EVERY == 0:
            ridge = 1e-6 * np.trace(self._normal) / ORDER + 1e-12
            self._weights = np.linalg.solve(self._normal + ridge * _UNIT, self._right)
        size = 1.2533 * np.abs(error)
        if self.ready:
            np.minimum(size, OUTLIER * self.noise, out=size)
        self.noise += rate * (size - self.noise)
        np.maximum(self.noise, self._floor, out=self.noise)
