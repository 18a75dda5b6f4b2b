"""Compact sparks: a tile that is suddenly brighter than its past and its neighbours."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.trigger.rows import Grid

PAST = 4
SLOW_FRAMES = 300
FAST_FRAMES = 12
READY_FRAMES = 60
HIGH_FRAMES = 240
"""Time constant in which a tile's record is forgotten."""
OUTLIER = 4.0
CHANGED = 5.0
"""Sigma beyond which a tile has changed, up or down."""
DIPOLE = 0.4
"""A shifted picture darkens beside what it brightens; more than this share is no spark."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A bright tile: where, by how much (codes), in units of its noise; its usual level, and by how
    much it is above its brightest of the last seconds, and how many tiles elsewhere changed."""

    band: int
    tile: int
    excess: float
    sigma: float
    level: float
    record: float
    crowd: int


class TileWatch:
    """Follows every tile's brightness relative to its row.

    The lamp's changes, common to a row, are taken out by the row's mean; what flows, moves or
    flickers in a place all the time raises the noise there and in the neighbour tiles.

    Parameters
    ----------
    inside : ndarray of bool, (bands, tiles)
        Tiles on the mirror, scaled by their row's brightness; the others are offset by it.
    floor : float
        Smallest noise assumed, codes.
    """

    def __init__(self, inside: NDArray[np.bool_], floor: float) -> None:
        self._inside = inside.astype(np.float32)
        self._outside = 1.0 - self._inside
        self._floor = np.float32(floor)
        self._across = self._inside.sum(axis=1)
        self._count_out = np.maximum(self._outside.sum(axis=1), 1)
        self._past: deque[Grid] = deque(maxlen=PAST)
        self._sum = np.zeros(inside.shape, np.float32)
        self._slow = np.full(inside.shape, floor, np.float32)
        self._fast = np.full(inside.shape, floor, np.float32)
        self._high = np.zeros(inside.shape, np.float32)
        self._expected = np.zeros(inside.shape, np.float32)
        self._frames = 0
        self.trials = float(inside.size)

    @property
    def ready(self) -> bool:
        """True once the noise is known."""
        return self._frames > READY_FRAMES

    def excess(self, tiles: Grid) -> Grid:
        """How much brighter each tile is than in the last frames, row changes taken out."""
        if len(self._past) < PAST:
            return np.zeros_like(tiles)
        usual = self._sum / np.float32(PAST)
        now_in = (tiles * self._inside).sum(axis=1)
        was_in = (usual * self._inside).sum(axis=1)
        gain = np.where(was_in > 0, now_in / np.maximum(was_in, 1e-3), 1.0).astype(np.float32)
        offset = (((tiles - usual) * self._outside).sum(axis=1) / self._count_out).astype(
            np.float32
        )
        expected = usual * (self._inside * gain[:, None] + self._outside)
        expected += self._outside * offset[:, None]
        self._expected = np.asarray(expected)
        return np.asarray(tiles - expected)

    def usual(self, band: int, tile: int) -> float:
        """Mean code of a tile over the last frames."""
        return float(self._sum[band, tile]) / PAST

    def share(self, excess: Grid, bands: tuple[int, int], size: float) -> float:
        """Share of the brightest column of tiles in the light of the mirror's bands low..high.

        ``size`` is their mean excess. A spot's light is in one column or two, a glow's in all.
        """
        part = slice(*bands)
        brightest = float((excess[part] * self._inside[part]).sum(axis=0).max())
        return brightest / max(size * float(self._across[part].sum()), 1e-9)

    def spots(self, excess: Grid, least: float, most: int) -> list[Spot]:
        """The strongest tiles of ``excess`` above ``least`` sigma, apart from each other.

        One that darkens its neighbours (a shifted picture does) is left out. The first one is
        given even when it is below ``least``, so that its strength can be learnt.
        """
        noise = cv2.dilate(np.maximum(self._slow, self._fast), np.ones((3, 3), np.uint8))
        ratio = excess / noise
        changed = np.abs(ratio) > CHANGED
        found: list[Spot] = []
        for _ in range(most):
            band, tile = divmod(int(np.argmax(ratio)), excess.shape[1])
            sigma, value = float(ratio[band, tile]), float(excess[band, tile])
            if found and sigma < least:
                break
            near = (slice(max(band - 2, 0), band + 3), slice(max(tile - 2, 0), tile + 3))
            if float(excess[near].min()) >= -DIPOLE * value:
                crowd = int(changed.sum()) - int(changed[near].sum())
                found.append(self._spot(band, tile, value, sigma, crowd))
            ratio[near] = 0.0
        return found

    def _spot(self, band: int, tile: int, value: float, sigma: float, crowd: int) -> Spot:
        usual = self.usual(band, tile)
        # The record, scaled as the row is now.
        high = float(self._high[band, tile] - usual) + float(self._expected[band, tile])
        record = value + float(self._expected[band, tile]) - high
        return Spot(band, tile, value, sigma, usual, record, crowd)

    def learn(self, tiles: Grid, excess: Grid) -> None:
        """Take the frame into the past and its fluctuation into the noise."""
        if len(self._past) == PAST:
            self._frames += 1
            size = np.abs(excess) * np.float32(1.2533)
            slow = np.minimum(size, OUTLIER * self._slow) if self.ready else size
            rate = max(1.0 / self._frames, 1.0 / SLOW_FRAMES)
            self._slow += np.float32(rate) * (slow - self._slow)
            np.maximum(self._slow, self._floor, out=self._slow)
            self._fast += np.float32(1.0 / FAST_FRAMES) * (size - self._fast)
            self._sum -= self._past[0]
            self._high -= np.float32(1.0 / HIGH_FRAMES) * (self._high - tiles)
        np.maximum(self._high, tiles, out=self._high)
        self._past.append(tiles)
        self._sum += tiles
