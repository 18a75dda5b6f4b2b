"""Gain of every row: a flickering lamp seen through a rolling shutter.

The bands are periodic along the rows: flicker frequency times readout time of them, the same
number in every frame. So each frame is fitted with a constant, a slope, a wave and its first
harmonic; the number of bands is learned from many frames. So few parameters, fitted robustly to
the whole disc at once, do not follow flow, even where it fills most of the short rows at the
disc's top and bottom.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.quick import median

Floats = NDArray[np.float64]

_BANDS = np.arange(0.3, 5.01, 0.05)
_MEMORY = 0.1
"""Share of the newest frame in what is known of the number of bands."""
_EVERY = 4
"""Frames between two looks at the number of bands, which stays the same."""
_TUNING = 4.0
_SETTLED = 0.05
"""Of a block's noise: when no row moves farther, the fit is done."""
_HELD = {size: np.diag([0.0] + [1.0] * (size - 1)) for size in (4, 6)}
"""What is held down a little in fits of four and six terms: all but the constant."""
_LEAST_BLOCKS = 3
_LEAST_ROWS = 8


class RowGains:
    """Fits the rows of one frame after another.

    Parameters
    ----------
    share : ndarray, float64, (block rows, block columns)
        Usable share of each block (``imaging.lamp``).
    rows, side : int
        Rows of the picture, side of a block.
    """

    def __init__(self, share: Floats, rows: int, side: int) -> None:
        counts = (share >= 0.75).sum(axis=1)
        self._counts = counts
        self._usable_rows = np.flatnonzero(counts >= _LEAST_BLOCKS)
        at = (np.arange(share.shape[0]) + 0.5) * side / rows
        every = (np.arange(rows) + 0.5) / rows
        self._at, self._every = at, every
        # Long rows, of which flow fills less, count most.
        self._weight = np.where(counts >= _LEAST_BLOCKS, counts, 0).astype(np.float64) ** 3
        self._enough = self._usable_rows.size >= _LEAST_ROWS
        if self._enough:
            left_over = [self._remainder(_basis(at, b)[:, :4]) for b in _BANDS]
            self._left_over = np.concatenate(left_over)
        self._cost: Floats | None = None
        self._fits = 0

    @property
    def bands(self) -> float | None:
        """Number of bands in the picture, None before the first frame."""
        return None if self._cost is None else _lowest(_BANDS, self._cost)

    def fit(self, blocks: Floats) -> NDArray[np.float32] | None:
        """Gains of the rows from ``imaging.lamp.block_ratios``.

        Returns
        -------
        ndarray, float32, (rows,) or None
            None when too few rows of the disc are usable.
        """
        if not self._enough:
            return None
        medians = self._medians(blocks)
        if self._fits < _EVERY or self._fits % _EVERY == 0:
            self._learn(medians)
        self._fits += 1
        bands = self.bands
        assert bands is not None
        basis = _basis(self._at, bands)
        level = basis @ _fitted(basis, self._weight, self._weight * medians)
        found = _robustly(basis, blocks, level)
        return np.asarray(np.clip(_basis(self._every, bands) @ found, 0.05, 20.0), np.float32)

    def _medians(self, blocks: Floats) -> Floats:
        """Median of each row; 0 where a row has too few blocks."""
        ordered = np.sort(blocks, axis=1)
        counts = np.isfinite(blocks).sum(axis=1)
        rows = np.arange(len(blocks))
        medians = ordered[rows, np.maximum(counts // 2, 0)]
        return np.where((counts >= _LEAST_BLOCKS) & np.isfinite(medians), medians, 0.0)

    def _remainder(self, basis: Floats) -> Floats:
        """Matrix that leaves of row medians what the basis does not explain, weighted.

        Without the harmonic: with it, half the number of bands would explain as much.
        """
        fit = np.stack([_fitted(basis, self._weight, w) for w in np.diag(self._weight)], axis=1)
        return np.sqrt(self._weight)[:, None] * (np.eye(len(basis)) - basis @ fit)

    def _learn(self, medians: Floats) -> None:
        costs = ((self._left_over @ medians) ** 2).reshape(len(_BANDS), -1).sum(axis=1)
        costs /= max(float(costs.max()), 1e-12)
        self._cost = costs if self._cost is None else self._cost + _MEMORY * (costs - self._cost)


def _lowest(places: Floats, costs: Floats) -> float:
    """Where a parabola through the lowest of ``costs`` and its neighbours is lowest."""
    best = int(np.clip(np.argmin(costs), 1, len(costs) - 2))
    before, here, after = (float(c) for c in costs[best - 1 : best + 2])
    bend = before - 2 * here + after
    if bend <= 0:
        return float(places[int(np.argmin(costs))])
    step = float(np.clip((before - after) / (2 * bend), -1, 1))
    return float(places[best] + step * (places[best + 1] - places[best]))


def _basis(place: Floats, bands: float) -> Floats:
    """Constant, slope, wave and its first harmonic at places 0..1: (places, 6)."""
    angle = 2 * np.pi * bands * place
    waves = [np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)]
    return np.stack([np.ones_like(place), place - 0.5, *waves], axis=1)


def _fitted(basis: Floats, weight: Floats, sums: Floats) -> Floats:
    """Least squares from weights and weighted sums of each row."""
    normal = (basis.T * weight) @ basis
    # A wave longer than the picture is nearly a slope: hold the difference down.
    normal += (1e-4 * normal.trace() / len(normal)) * _HELD[len(normal)]
    return np.asarray(np.linalg.solve(normal, basis.T @ sums))


def _robustly(basis: Floats, blocks: Floats, level: Floats) -> Floats:
    usable = np.isfinite(blocks)
    values, counts = np.where(usable, blocks, 0.0), usable.astype(np.float64)
    noise = _noise(blocks, usable)
    away = np.abs(blocks - level[:, None])[usable]
    scale = max(1.4826 * median(away), noise)
    found = np.zeros(basis.shape[1])
    for _ in range(5):
        weight = values - level[:, None]
        weight *= 1 / (_TUNING * scale)
        weight *= weight
        np.subtract(counts, weight, out=weight)
        np.maximum(weight, 0.0, out=weight)
        weight *= weight
        found = _fitted(basis, weight.sum(axis=1) + 1e-9, np.einsum("rb,rb->r", weight, values))
        before, level = level, basis @ found
        if scale == noise and float(np.abs(level - before).max()) < _SETTLED * noise:
            break
        scale = max(0.35 * scale, noise)
    return found


def _noise(blocks: Floats, usable: NDArray[np.bool_]) -> float:
    """Noise of a block, from neighbours in the same row."""
    both = usable[:, 1:] & usable[:, :-1]
    if both.sum() < 8:
        return 1e-6
    difference = np.abs(blocks[:, 1:] - blocks[:, :-1])[both]
    return float(max(1.4826 * median(difference) / np.sqrt(2), 1e-6))
