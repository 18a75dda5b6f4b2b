"""Brightness of the lamp against the reference, from the quiet part of the disc.

Flow over a third of the disc must not bend it. Blocks of pixels are averaged first, which makes
weak flow stand out against the blocks' noise; then a redescending estimator (Tukey's biweight;
Huber and Ronchetti 2009, section 4.8) started at the densest half finds the quiet level.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.quick import median
from liveview.model import Light


def block_side(shape: tuple[int, ...]) -> int:
    """Side of a block in pixels: 16, or 8 for small discs."""
    return 16 if min(shape[:2]) >= 256 else 8


_TUNING = 4.0


_LEAST_SHARE = 0.75
_PLENTY = 1200
"""Of more blocks than this some are left out: the level is known well enough."""


def block_ratios(ratio: Light, share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean ratio of square blocks; NaN where less than three quarters of one are usable.

    Parameters
    ----------
    ratio : ndarray, float32, (rows, columns)
        Light over the reference, 1.0 where a pixel is not usable.
    share : ndarray, float64, (rows // side, columns // side)
        Usable share of each block; ``side`` is that of ``block_side``.
    """
    rows, columns = share.shape
    if rows == 0 or columns == 0:
        return np.full(share.shape, np.nan)
    # Every second row is enough for the mean, at half the price.
    side = block_side(ratio.shape)
    whole = ratio[: rows * side : 2, : columns * side]
    mean = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    enough = share >= _LEAST_SHARE
    return np.where(enough, (mean - (1.0 - share)) / np.where(enough, share, 1.0), np.nan)


def quiet_level(values: NDArray[np.floating]) -> float | None:
    """The level of the larger, quiet part of a sample.

    Parameters
    ----------
    values : ndarray
        Block means; those that are not finite are left out. In a picture of blocks (2-D) the
        blocks' noise is told from neighbours, so that weak flow can be told from it.

    Returns
    -------
    float or None
        None with fewer than 4 values.
    """
    sample = values[np.isfinite(values)]
    if sample.size > _PLENTY:
        sample = sample[:: sample.size // (_PLENTY // 2)]
    sample = np.sort(sample)
    if sample.size < 4:
        return None
    level, half_width = _densest_half(sample)
    scale = _scale(values, half_width)
    weight = np.empty_like(sample)
    for _ in range(8):
        np.subtract(sample, level, out=weight)
        weight *= 1.0 / (_TUNING * scale)
        weight *= weight
        np.subtract(1.0, weight, out=weight)
        np.maximum(weight, 0.0, out=weight)
        weight *= weight
        total = float(np.add.reduce(weight))
        new = float(weight @ sample) / total if total > 0 else level
        if abs(new - level) < 1e-3 * scale:
            return new
        level = new
    return level


def _scale(values: NDArray[np.floating], half_width: float) -> float:
    """Noise of one value: from neighbours, but within reason of the densest half's width."""
    # Half of a normal sample lies within 0.6745 sigma.
    widest = max(half_width / 0.6745, 1e-9)
    if values.ndim != 2 or min(values.shape) < 4:
        return widest
    difference = np.abs(values[:, 1:] - values[:, :-1])
    difference = difference[np.isfinite(difference)]
    if difference.size < 8:
        return widest
    noise = 1.4826 * median(difference) / np.sqrt(2)
    return float(min(max(noise, widest / 4), widest))


def _densest_half(ordered: NDArray[np.float64]) -> tuple[float, float]:
    """Middle and half width of the shortest stretch with a good half of the values."""
    half = ordered.size // 2 + 1
    widths = ordered[half - 1 :] - ordered[: ordered.size - half + 1]
    first = int(np.argmin(widths))
    middle = median(ordered[first : first + half])
    return middle, float(widths[first]) / 2
