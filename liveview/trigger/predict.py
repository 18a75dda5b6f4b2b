"""What the rows' brightness should be next, from how it has been: mains flicker and drift included.

For each band of rows the change to the next frame is predicted from the changes before,
``d[n] = sum_j a[j] d[n-j]``, by least squares over all bands with exponential forgetting. A lamp
that flickers with the mains, sampled at the frame rate, is a sum of few sinusoids, which such a
recursion follows exactly (Prony's idea); noise alone makes it the mean of the last few frames.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Row = NDArray[np.float64]

ORDER = 8
OUTLIER = 4.0
"""In units of the band's noise; what a value exceeds this by does not enter the prediction."""
MEMORY_FRAMES = 240
"""Time constant of the forgetting and of the noise."""
RELIEF = 0.4
"""How much a frame on the prediction makes up for frames off it, when a step is believed."""
SOLVE_EVERY = 12
"""Frames between two solutions for the weights, which change slowly."""
_UNIT = np.eye(ORDER)
FIRST_FRAMES = ORDER + 4
"""Before that nothing is known."""


class _Seen(NamedTuple):
    """Frames to be learnt: changes before (frames, bands, ``ORDER``), then (frames, bands)."""

    changes: Row
    change: Row
    error: Row
    weight: Row


class RowPredictor:
    """One-step prediction of one value per band, and the noise of its errors.

    Parameters
    ----------
    bands : int
    patience : int
        Frames after which a band that stays off its prediction is believed (a step).
    floor : float
        Smallest noise assumed; may be set between two calls.
    """

    def __init__(self, bands: int, patience: int, floor: float) -> None:
        self._patience = patience
        self.floor = floor
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
        self._unsolved = 0
        self._matrix: Row | None = None
        self._seen: list[_Seen] = []

    @property
    def ready(self) -> bool:
        """True once predictions mean something."""
        return self.frames > 2 * FIRST_FRAMES

    def steps(self, values: Row) -> Row:
        """``step`` for several frames, (frames, bands), at once where that gives the same."""
        errors = self._all_at_once(values) if self.ready else None
        return np.array([self.step(value) for value in values]) if errors is None else errors

    def step(self, value: Row) -> Row:
        """Take the next value of each band; gives how much it exceeds its prediction.

        Noise and weights stay as they are until ``learn``.
        """
        if self.frames < FIRST_FRAMES:
            self._push(value, value)
            return np.zeros_like(value)
        changes = np.diff(self._clean, axis=0)
        predicted = self._within_reason(self._clean[-1] + self._weights @ changes)
        self._predicted = predicted
        self._since += 1
        error = value - predicted
        reach = OUTLIER * self.noise
        outlier = np.abs(error) > reach if self.ready else np.zeros(len(value), bool)
        weight = ((self._off == 0) & ~outlier).astype(np.float64)
        change = value - self._clean[-1]
        self._seen.append(_Seen(changes.T[None], change[None], error[None], weight[None]))
        self._off = np.where(outlier, self._off + 1.0, np.maximum(self._off - RELIEF, 0.0))
        self._push(predicted + np.clip(error, -reach, reach), value)
        believed = self._off > self._patience
        if believed.any():
            self._clean[:, believed] = self._raw[:, believed]
            self._off[believed] = 0
        return np.asarray(error)

    def _all_at_once(self, values: Row) -> Row | None:
        """The errors, if none is an outlier: then each value is its own clean one."""
        count = len(values)
        clean = np.concatenate([self._clean, values])
        last = clean[ORDER : ORDER + count]
        steps = np.diff(clean, axis=0)
        reach = OUTLIER * self.noise
        predicted = last + self._sliding(count) @ steps[:-1]
        raw = np.concatenate([self._raw, values])
        if bool((np.abs(predicted - raw[ORDER : ORDER + count]) > reach).any()):
            around = sliding_window_view(raw, ORDER + 1, axis=0)[:count]
            low, high = around.min(axis=2), around.max(axis=2)
            room = (high - low) + reach
            predicted = np.clip(predicted, low - room, high + room)
        error = np.asarray(values - predicted)
        if bool((np.abs(error) > reach).any()):
            return None
        relief = RELIEF * np.arange(count)[:, None]
        weight = (self._off <= relief).astype(np.float64)
        changes = sliding_window_view(steps, ORDER, axis=0)[:count]
        self._seen.append(_Seen(changes, values - last, error, weight))
        self._off = np.maximum(self._off - count * RELIEF, 0.0)
        self._clean, self._raw = clean[count:], raw[count:]
        self._since += count
        self.frames += count
        return error

    def _sliding(self, count: int) -> Row:
        """Matrix that applies the weights to each ``ORDER`` steps that follow each other."""
        if self._matrix is None or len(self._matrix) != count:
            self._matrix = np.zeros((count, count + ORDER - 1))
            for frame, row in enumerate(self._matrix):
                row[frame : frame + ORDER] = self._weights
        return self._matrix

    def remember(self) -> Callable[[], None]:
        """How to come back to the present state."""
        state = (self._clean.copy(), self._raw.copy(), self._off.copy(), self._since.copy())
        frames, seen = self.frames, len(self._seen)

        def come_back() -> None:
            self._clean, self._raw, self._off, self._since = state
            self.frames = frames
            del self._seen[seen:]

        return come_back

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

    def learn(self) -> None:
        """Take the frames since the last time into weights and noise."""
        if not self._seen:
            return
        changes, change, error, weight = (
            parts[0] if len(parts) == 1 else np.concatenate(parts)
            for parts in zip(*self._seen, strict=True)
        )
        self._seen.clear()
        count = len(error)
        seen = self.frames - FIRST_FRAMES
        rate = max(count / seen, 1.0 - (1.0 - 1.0 / MEMORY_FRAMES) ** count)
        scale = weight / self.noise
        design = (changes * scale[:, :, None]).reshape(-1, ORDER)
        self._normal += rate * (design.T @ design / count - self._normal)
        self._right += rate * (design.T @ (change * scale).ravel() / count - self._right)
        self._unsolved += count
        if not self.ready or self._unsolved >= SOLVE_EVERY:
            self._unsolved, self._matrix = 0, None
            ridge = 1e-6 * np.trace(self._normal) / ORDER + 1e-12
            self._weights = np.linalg.solve(self._normal + ridge * _UNIT, self._right)
        size = 1.2533 * np.abs(error)
        if self.ready:
            np.minimum(size, OUTLIER * self.noise, out=size)
        self.noise += rate * (size.mean(axis=0) - self.noise)
        np.maximum(self.noise, self.floor, out=self.noise)
