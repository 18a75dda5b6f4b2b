"""Backgrounds that follow: a running one that leaves flow alone, and a moving median.

Both are kept in light over the disc's box and are brought up to date a band of rows at a time,
so that the cost of a frame stays small.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Light

Floats = NDArray[np.float64]

_BANDS = 16
"""Bands of rows, one of which is brought up to date with each frame."""
_BANDS_QUICK = 8
_QUICK_S = 2.0
"""For time constants below this: a band that is seen more often has less noise."""
_ACTIVE_SIGMA = 4.0
_SHARE = 0.1
"""Share of the newest frame in the mean over frames."""
_ACTIVE_LEAST = 0.001
"""Contrast of a block below which it never counts as flow."""
_TUNING = 3.0
_QUIET_SHARE = 0.35
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
    while its mean differs from that surface by less than four sigmas of its noise, in the frame
    and in a mean over some twenty frames, which sees flow far below the noise of a pixel; its
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
        self._bands = _BANDS if time_constant_s >= _QUICK_S else _BANDS_QUICK
        self._seen: list[float | None] = [None] * self._bands
        self._mean: Floats | None = None
        self._count = 0
        self._surface: Surface | None = None

    def follow(self, frame: Followed) -> slice:
        """Bring one band of rows up to date; returns those rows."""
        rows = self.light.shape[0]
        band = self._band
        self._band = (band + 1) % self._bands
        place = slice(band * rows // self._bands, (band + 1) * rows // self._bands)
        contrast = frame.blocks - 1.0
        mean = self._averaged(contrast)
        last, self._seen[band] = self._seen[band], frame.time_s
        if last is None or not 0.0 < frame.time_s - last < 10 * self._constant:
            return place
        share = 1.0 - float(np.exp(-(frame.time_s - last) / self._constant))
        if band == 0:
            self._surface = smooth_surface(mean, self._block_noise(frame))
        quiet = self._quiet(contrast, mean, frame, place)
        part = self.light[place]
        self._follow_surface(part, place, share, frame.side)
        cv2.accumulateWeighted(frame.light(place), part, share, quiet)
        return place

    def _averaged(self, contrast: Floats) -> Floats:
        if self._mean is None:
            self._mean, self._count = contrast.copy(), 1
            return self._mean
        self._count += 1
        share = max(1.0 / self._count, _SHARE)
        self._mean += share * (contrast - self._mean)
        return self._mean

    def _block_noise(self, frame: Followed) -> float:
        """Noise of a block in the mean over frames."""
        kept = max(1.0 / self._count, _SHARE / (2 - _SHARE))
        return max(_noise_of_block(frame) * float(np.sqrt(kept)), 1e-6)

    def _quiet(self, contrast: Floats, mean: Floats, frame: Followed, place: slice) -> Bytes:
        """255 in those rows where a pixel's block and its neighbours are quiet."""
        columns = self.light.shape[1]
        if contrast.size == 0:
            return np.zeros((place.stop - place.start, columns), np.uint8)
        base = np.zeros_like(mean) if self._surface is None else self._surface.of_blocks()
        single = _noise_of_block(frame)
        limits = [max(_ACTIVE_SIGMA * n, _ACTIVE_LEAST) for n in (single, self._block_noise(frame))]
        active = (np.abs(contrast - base) > limits[0]) | (np.abs(mean - base) > limits[1])
        wide = cv2.dilate(active.astype(np.uint8), np.ones((3, 3), np.uint8))
        quiet = np.where(np.asarray(wide) > 0, 0, 255).astype(np.uint8)
        # What is left over at the right and bottom follows its neighbours.
        block_rows = np.minimum(np.arange(place.start, place.stop) // frame.side, len(quiet) - 1)
        full = np.empty((len(block_rows), columns), np.uint8)
        whole = quiet.shape[1] * frame.side
        size = (whole, len(block_rows))
        cv2.resize(quiet[block_rows], size, full[:, :whole], interpolation=cv2.INTER_NEAREST)
        full[:, whole:] = quiet[block_rows, -1:]
        return full

    def _follow_surface(self, part: Light, place: slice, share: float, side: int) -> None:
        surface = self._surface
        if surface is None or not part.size:
            return
        rows = np.arange(place.start, place.stop, dtype=np.float32)
        columns = np.arange(self.light.shape[1], dtype=np.float32)
        cv2.multiply(part, 1.0 + np.float32(share) * surface.of_pixels(rows, columns, side), part)


def _noise_of_block(frame: Followed) -> float:
    """Every second row of a block is averaged (``imaging.lamp``)."""
    return frame.sigma * float(np.sqrt(2)) / frame.side


@dataclass(frozen=True, slots=True)
class Surface:
    """``c0 + c1 x + c2 y + c3 x^2 + c4 x y + c5 y^2`` over a picture of blocks, x, y in -1..1."""

    terms: Floats
    blocks: tuple[int, int]

    def of_blocks(self) -> Floats:
        """The surface at the centres of the blocks."""
        rows, columns = self.blocks
        return self._at(np.arange(rows, dtype=np.float64), np.arange(columns, dtype=np.float64))

    def of_pixels(
        self, rows: NDArray[np.float32], columns: NDArray[np.float32], side: int
    ) -> Light:
        """The surface at pixels, float32 (rows, columns)."""
        half = np.float32(0.5)
        at = (rows + half) / np.float32(side) - half, (columns + half) / np.float32(side) - half
        return np.asarray(self._at(*at), np.float32)

    def _at(self, row: NDArray[Any], column: NDArray[Any]) -> NDArray[Any]:
        y = row * row.dtype.type(2 / max(self.blocks[0] - 1, 1)) - row.dtype.type(1)
        x = column * column.dtype.type(2 / max(self.blocks[1] - 1, 1)) - column.dtype.type(1)
        c = self.terms.astype(row.dtype)
        of_row = c[0] + y * (c[2] + c[5] * y)
        slope = c[1] + c[4] * y
        return np.asarray(of_row[:, None] + slope[:, None] * x[None, :] + c[3] * (x * x)[None, :])


def smooth_surface(contrast: Floats, noise: float) -> Surface | None:
    """Second-order surface through the quiet part of the blocks, robustly.

    Started flat at zero, the present background: a block counts while it lies within three
    ``scale`` of the surface, and ``scale`` is ``noise``, or as many times twice that as it takes
    for a third of the blocks to agree. Flow is further off than that, however much of it there
    is, as long as a third is quiet.

    Parameters
    ----------
    contrast : ndarray, float64, (block rows, block columns)
        NaN where not usable.
    noise : float
        Noise of one block, above 0.

    Returns
    -------
    Surface or None
        None with fewer than 24 usable blocks.
    """
    usable = np.isfinite(contrast)
    if usable.sum() < 24:
        return None
    rows, columns = contrast.shape
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    matrix = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])[:, usable]
    values = contrast[usable]
    near = float(np.quantile(np.abs(values), _QUIET_SHARE))
    scale = noise * 2.0 ** max(0.0, np.ceil(np.log2(max(near / (2 * noise), 1e-9))))
    found = np.zeros(len(matrix))
    for _ in range(6):
        miss = np.abs(values - found @ matrix)
        weighted = matrix * np.clip(1 - (miss / (_TUNING * scale)) ** 2, 0, None) ** 2
        normal = weighted @ matrix.T
        normal += 1e-6 * np.trace(normal) * np.eye(len(matrix))
        found = np.linalg.solve(normal, weighted @ values)
    return Surface(found, (rows, columns))


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
        self._band = 0
        self._left = 0

    def follow(self, frame: Followed) -> slice:
        """Take the frame in when it is time, bring one band of rows up to date."""
        rows = self.light.shape[0]
        if self._taken_s is None or not 0.0 <= frame.time_s - self._taken_s < self._wait:
            np.copyto(self._keys[self._next], frame.light(slice(0, rows)))
            self._next = (self._next + 1) % KEYS
            self._taken_s = frame.time_s
            self._left = _BANDS
        if self._left == 0:
            return slice(0, 0)
        self._left -= 1
        place = slice(self._band * rows // _BANDS, (self._band + 1) * rows // _BANDS)
        self._band = (self._band + 1) % _BANDS
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
