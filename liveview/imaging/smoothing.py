"""Averaging in time and smoothing in space, with what they cost."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from liveview.imaging.cv import cv2
from liveview.model import Light

_EDGE_SIGMA = 2.0
"""Structure stronger than this many sigmas (of the reduced picture) is kept sharp."""


class TimeAverage:
    """Running mean of contrast: noise falls as in a mean of ``frames`` frames.

    The newest frame has the weight ``2/(frames + 1)`` and earlier ones fade geometrically; the
    first frames are averaged evenly until that weight is reached.
    """

    def __init__(self) -> None:
        self._mean: Light | None = None
        self._count = 0
        self._variance = 1.0

    @property
    def mean(self) -> Light | None:
        """The average so far; the array stays the averager's own."""
        return self._mean

    @property
    def equivalent(self) -> float:
        """Frames of an even mean with the same noise, so far."""
        return 1.0 / self._variance

    def restart(self) -> None:
        """Begin with the next frame."""
        self._mean, self._count, self._variance = None, 0, 1.0

    def add(self, ratio: Light, gain: float, frames: int) -> Light:
        """Take in ``ratio/gain``; returns :attr:`mean`."""
        if self._mean is None or self._mean.shape != ratio.shape:
            self._mean = ratio / np.float32(gain)
            self._count, self._variance = 1, 1.0
            return self._mean
        self._count += 1
        share = max(1.0 / self._count, 2.0 / (frames + 1))
        self._variance = (1.0 - share) ** 2 * self._variance + share**2
        cv2.addWeighted(self._mean, 1.0 - share, ratio, share / gain, 0.0, self._mean)
        return self._mean


def average_delay_s(frames: int, rate_hz: float) -> float:
    """How far the averaged picture lags behind: the mean age of the frames in it, seconds."""
    return (frames - 1) / 2 / rate_hz


def reduction_for(radius_px: float) -> int:
    """By how much the picture is reduced for the coefficients of :func:`smooth`."""
    return 1 if radius_px < 1.5 else 2 if radius_px < 4 else 4


def smooth(contrast: Light, radius_px: float, sigma: float, out: Light) -> Light:
    """Edge-preserving smoothing: the guided filter, guided by the picture itself.

    (He, Sun and Tang 2013, "Guided image filtering", IEEE Trans. Pattern Anal. Mach. Intell.
    35:1397; on a reduced picture as in He and Sun 2015.) What stands out of the noise stays
    sharp; where there is only noise, it becomes a mean over about ``2 radius + 1`` pixels square.

    Parameters
    ----------
    contrast : ndarray, float32, (rows, columns)
        No NaN.
    radius_px : float
        Above 0.
    sigma : float
        Noise of one pixel.
    out : ndarray, float32, (rows, columns)
        Filled and returned; not ``contrast``.
    """
    rows, columns = contrast.shape
    step = reduction_for(radius_px)
    size = (max(1, columns // step), max(1, rows // step))
    small = contrast if step == 1 else cv2.resize(contrast, size, interpolation=cv2.INTER_AREA)
    reach = 2 * max(1, round(radius_px / step)) + 1
    mean = _box_mean(small, reach)
    square = _box_mean(cv2.multiply(small, small), reach)
    noise = (_EDGE_SIGMA * sigma / step) ** 2
    variance = cv2.subtract(square, cv2.multiply(mean, mean))
    keep = np.asarray(cv2.threshold(variance, 0.0, 0.0, cv2.THRESH_TOZERO)[1], np.float32)
    keep /= keep + np.float32(max(noise, 1e-20))
    base = cv2.multiply(mean, 1.0 - keep)
    keep_wide, base_wide = _box_mean(keep, reach), _box_mean(base, reach)
    if step > 1:
        keep_wide = cv2.resize(keep_wide, (columns, rows), interpolation=cv2.INTER_LINEAR)
        base_wide = cv2.resize(base_wide, (columns, rows), interpolation=cv2.INTER_LINEAR)
    cv2.multiply(contrast, keep_wide, out)
    cv2.add(out, base_wide, out)
    return out


def _box_mean(picture: Any, reach: int) -> Any:
    """``cv2.blur`` in single precision: two thirds of the time."""
    if min(picture.shape) <= reach:
        return cv2.blur(picture, (reach, reach))
    taps = np.full(reach, 1.0 / reach, np.float32)
    return cv2.sepFilter2D(picture, cv2.CV_32F, taps, taps)


@lru_cache(maxsize=64)
def smoothing_noise(radius_px: float) -> float:
    """Factor by which :func:`smooth` lowers the noise where there is only noise, 0..1.

    Measured on drawn white noise; depends on the radius alone.
    """
    noise = np.random.default_rng(20).standard_normal((320, 320)).astype(np.float32)
    smoothed = smooth(noise, radius_px, 1.0, np.empty_like(noise))
    return float(smoothed[40:-40, 40:-40].std())
