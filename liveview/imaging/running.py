"""Backgrounds that follow: a running one that leaves flow alone, and a moving median.

Both are kept in light over the disc's box and are brought up to date a band of rows at a time,
so that the cost of a frame stays small.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Light

Floats = NDArray[np.float64]

_BANDS = 8
_ACTIVE_SIGMA = 4.0
_ACTIVE_LEAST = 0.002
"""Contrast of a block below which it never counts as flow."""
_TUNING = 4.685
KEYS = 9
"""Pictures of which the moving median is taken."""


@dataclass(frozen=True, slots=True)
class Followed:
    """What a frame adds.

    ``light`` gives its light in some rows of the box, lamp taken out. ``blocks`` are the block
    means of its ratio to the present background (NaN not usable), lamp taken out, ``side`` the
    side of a block, ``sigma`` the noise of one pixel's contrast.
    """

    light: Callable[[slice], Light]
    time_s: float
    blocks: Floats
    side: int
    sigma: float


class RunningBackground:
    """Follows slow drift; frozen where something moves.

    Two things are followed with the time constant: a smooth surface (second order) through the
    quiet majority of the disc, everywhere, so that drift of the lamp or blade is followed under
    the flow as well; and each pixel by itself where its block is quiet. A block counts as quiet
    while its mean differs from that surface by less than four sigmas of its noise; its
    neighbours count as active with it.

    Parameters
    ----------
    light : ndarray, float32, (rows, columns)
        To start from.
    time_constant_s : float
        In which a step in the background is followed to 63 %.
    """

    def __init__(self, light: Light, time_constant_s: float) -> None:
        self.light = light.copy()
        self._constant = time_constant_s
        self._band = 0
        self._seen: list[float | None] = [None] * _BANDS

    def follow(self, frame: Followed) -> slice:
        """Bring one band of rows up to date; returns those rows."""
        rows = self.light.shape[0]
        band = self._band
        self._band = (band + 1) % _BANDS
        place = slice(band * rows // _BANDS, (band + 1) * rows // _BANDS)
        last, self._seen[band] = self._seen[band], frame.time_s
        if last is None or not 0.0 < frame.time_s - last < 10 * self._constant:
            return place
        share = 1.0 - float(np.exp(-(frame.time_s - last) / self._constant))
        contrast = frame.blocks - 1.0
        surface = smooth_surface(contrast)
        quiet = _quiet_pixels(contrast, surface, frame, self.light.shape)[place]
        part = self.light[place]
        self._follow_surface(part, surface, place, share, frame.side)
        cv2.accumulateWeighted(frame.light(place), part, share, quiet)
        return place

    def _follow_surface(
        self, part: Light, surface: Floats | None, place: slice, share: float, side: int
    ) -> None:
        if surface is None or not part.size:
            return
        step = (1.0 + share * surface).astype(np.float32)
        columns = self.light.shape[1]
        # Corners of blocks are half a block away from their centres.
        grid_rows = (np.arange(place.start, place.stop) + 0.5) / side - 0.5
        grid_columns = (np.arange(columns) + 0.5) / side - 0.5
        map_y = np.repeat(grid_rows[:, None], columns, axis=1).astype(np.float32)
        map_x = np.repeat(grid_columns[None, :], map_y.shape[0], axis=0).astype(np.float32)
        factor = cv2.remap(step, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        cv2.multiply(part, factor, part)


def smooth_surface(contrast: Floats) -> Floats | None:
    """Second-order surface through the quiet majority of blocks, robustly.

    Parameters
    ----------
    contrast : ndarray, float64, (block rows, block columns)
        NaN where not usable.

    Returns
    -------
    ndarray, float64, same shape, or None
        None with fewer than 24 usable blocks.
    """
    usable = np.isfinite(contrast)
    if usable.sum() < 24:
        return None
    rows, columns = contrast.shape
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    matrix, values = terms[:, usable], contrast[usable]
    weights = np.ones_like(values)
    found = np.zeros(len(terms))
    for turn in range(5):
        weighted = matrix * weights
        normal = weighted @ matrix.T
        normal += 1e-6 * np.trace(normal) * np.eye(len(terms))
        found = np.linalg.solve(normal, weighted @ values)
        if turn == 0:
            found[1:] = 0.0
            found[0] = np.median(values)
        miss = np.abs(values - found @ matrix)
        scale = max(1.4826 * float(np.median(miss)), 1e-7)
        weights = np.clip(1 - (miss / (_TUNING * scale)) ** 2, 0, None) ** 2
    return np.asarray(np.tensordot(found, terms, 1))


def _quiet_pixels(
    contrast: Floats, surface: Floats | None, frame: Followed, shape: tuple[int, ...]
) -> Bytes:
    """255 where a pixel's block and its neighbours are quiet."""
    if contrast.size == 0:
        return np.zeros(shape, np.uint8)
    rest = contrast if surface is None else contrast - surface
    limit = max(_ACTIVE_SIGMA * frame.sigma / frame.side * np.sqrt(2), _ACTIVE_LEAST)
    active = (~np.isfinite(rest) | (np.abs(rest) > limit)).astype(np.uint8)
    unknown = ~np.isfinite(contrast)
    active = cv2.dilate(np.where(unknown, 0, active).astype(np.uint8), np.ones((3, 3), np.uint8))
    quiet = np.where(np.asarray(active) > 0, 0, 255).astype(np.uint8)
    rows, columns = (size * frame.side for size in contrast.shape)
    whole = np.zeros(shape, np.uint8)
    whole[:rows, :columns] = np.repeat(np.repeat(quiet, frame.side, 0), frame.side, 1)
    # What is left over at the right and bottom follows its neighbours.
    whole[rows:, :] = whole[rows - 1 : rows, :]
    whole[:, columns:] = whole[:, columns - 1 : columns]
    return whole


class MedianBackground:
    """The median of nine pictures spread over a stretch of time.

    What is at a pixel for less than half of that time is left out; what stays longer becomes
    background, flow as well.

    Parameters
    ----------
    light : ndarray, float32, (rows, columns)
        To start from.
    stretch_s : float
        Time over which the nine pictures are spread.
    """

    def __init__(self, light: Light, stretch_s: float) -> None:
        self.light = light.copy()
        self._keys = [light.copy() for _ in range(KEYS)]
        self._wait = stretch_s / KEYS
        self._next = 0
        self._taken_s: float | None = None
        self._band: int | None = None

    def follow(self, frame: Followed) -> slice:
        """Take the frame in when it is time, bring one band of rows up to date."""
        rows = self.light.shape[0]
        if self._taken_s is None or not 0.0 <= frame.time_s - self._taken_s < self._wait:
            np.copyto(self._keys[self._next], frame.light(slice(0, rows)))
            self._next = (self._next + 1) % KEYS
            self._taken_s = frame.time_s
            self._band = 0
        if self._band is None:
            return slice(0, 0)
        place = slice(self._band * rows // _BANDS, (self._band + 1) * rows // _BANDS)
        self._band = None if self._band + 1 == _BANDS else self._band + 1
        if place.stop > place.start:
            self.light[place] = median_of_nine([key[place] for key in self._keys])
        return place


_NETWORK = (
    (1, 2), (4, 5), (7, 8), (0, 1), (3, 4), (6, 7), (1, 2), (4, 5), (7, 8), (0, 3),
    (5, 8), (4, 7), (3, 6), (1, 4), (2, 5), (4, 7), (4, 2), (6, 4), (4, 2),
)  # fmt: skip


def median_of_nine(pictures: list[Light]) -> Light:
    """Median per pixel by a sorting network of 19 exchanges (Paeth 1990, Graphics Gems)."""
    p = list(pictures)
    for low, high in _NETWORK:
        p[low], p[high] = (
            np.asarray(cv2.min(p[low], p[high]), np.float32),
            np.asarray(cv2.max(p[low], p[high]), np.float32),
        )
    return p[4]
