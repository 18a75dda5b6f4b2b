"""Compact sparks: a tile that is suddenly brighter than its past and its neighbours."""

from __future__ import annotations

from collections.abc import Iterator
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
ALIKE = 0.25
"""Of a spot: tiles that changed less than that may be in its own stray light."""
DIPOLE = 0.4
"""A shifted picture darkens beside what it brightens; more than this share is no spark."""
MOST_SPOTS = 3
"""Tiles suspected in one frame."""
STILL_SHARE = 0.03
"""Share of long rows all of whose tiles are the same to the digit in two frames, beyond which a
coder repeats what has hardly changed. A sensor's noise never leaves a whole row alike, JPEG does
one or two in a hundred, coders with motion prediction five and more."""
STILL_FRAMES = 3600
"""Time constant of that: a recording is coded from beginning to end."""
_AROUND = np.ones((3, 3), np.uint8)


@dataclass(frozen=True, slots=True)
class Looks:
    """Some frames beside their past: tiles, how much brighter each is than usual, what is usual,
    all (frames, bands, tiles), and the rows' sums inside and outside the mirror, (frames, bands).
    """

    tiles: Grid
    excess: Grid
    usual: Grid
    inside: Grid
    outside: Grid


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

    Grids of several frames are (frames, bands, tiles).

    Parameters
    ----------
    inside : ndarray of bool, (bands, tiles)
        Tiles on the mirror, scaled by their row's brightness.
    outside : ndarray of bool, (bands, tiles)
        Tiles clear of it, whose rows are followed, too.
    floor, coded_floor : float
        Smallest noise assumed, codes; the latter while a video coder repeats tiles.
    predicted : bool
        Whether it is known that one does (``SourceInfo.predicted``).
    """

    def __init__(
        self,
        inside: NDArray[np.bool_],
        outside: NDArray[np.bool_],
        floor: float,
        coded_floor: float,
        predicted: bool = False,
    ) -> None:
        self._inside = inside.astype(np.float32)
        self._beside = 1.0 - self._inside
        self._outside = outside.astype(np.float32)
        self._floor, self._coded_floor = np.float32(floor), np.float32(coded_floor)
        self._across = self._inside.sum(axis=1)
        self._count_beside = np.maximum(self._beside.sum(axis=1), 1)
        self._past = np.zeros((0, *inside.shape), np.float32)
        self._past_inside = np.zeros((0, len(inside)), np.float32)
        self._slow = np.full(inside.shape, floor, np.float32)
        self._fast = np.full(inside.shape, floor, np.float32)
        self._precision = np.full(inside.shape, 1.0 / floor, np.float32)
        self._high = np.zeros(inside.shape, np.float32)
        self._seen: list[Grid] = []
        self._long = np.flatnonzero(self._across >= max(0.5 * float(self._across.max()), 1.0))
        self._elsewhere = ~inside[self._long]
        self._predicted = predicted
        self._still: list[float] = []
        self._still_share = 0.0
        self._frames = 0
        self.trials = float(inside.size)

    @property
    def ready(self) -> bool:
        """True once the noise is known."""
        return self._frames > READY_FRAMES

    @property
    def has_past(self) -> bool:
        """True when there are frames to compare with."""
        return len(self._past) == PAST

    @property
    def coded(self) -> bool:
        """True when a video coder made the pictures, as the source says or repeated rows betray.

        Its noise is not the scene's: blocks stand still and jump when they are coded anew.
        """
        return self._predicted or self._still_share > STILL_SHARE

    def look(self, tiles: Grid) -> Looks:
        """How much brighter each tile is than in the frames before, row changes taken out.

        Of several frames each one is taken to be usual to the next.
        """
        inside = np.einsum("kbt,bt->kb", tiles, self._inside)
        outside = np.einsum("kbt,bt->kb", tiles, self._outside)
        if not self.has_past:
            nothing = np.zeros_like(tiles)
            return Looks(tiles, nothing, tiles, inside, outside)
        usual = _mean_before(np.concatenate([self._past, tiles]), len(tiles))
        was = _mean_before(np.concatenate([self._past_inside, inside]), len(tiles))
        gain = np.where(was > 0, inside / np.maximum(was, 1e-3), 1.0) - 1.0
        excess = np.asarray(tiles - usual)
        beside = np.einsum("kbt,bt->kb", excess, self._beside) / self._count_beside
        expected = usual * self._inside
        expected *= gain.astype(np.float32)[:, :, None]
        expected += beside.astype(np.float32)[:, :, None] * self._beside
        excess -= expected
        return Looks(tiles, excess, usual, inside, outside)

    def share(self, excess: Grid, bands: tuple[int, int], size: float) -> float:
        """Share of the brightest column of tiles in the light of the mirror's bands low..high.

        ``size`` is their mean excess. A spot's light is in one column or two, a glow's in all.
        """
        part = slice(*bands)
        brightest = float((excess[part] * self._inside[part]).sum(axis=0).max())
        return brightest / max(size * float(self._across[part].sum()), 1e-9)

    def strongest(self, excess: Grid) -> list[float]:
        """For each frame how far its first spot (see ``spots``) is above its noise, or 0."""
        ratio = excess * self._precision
        return [
            next((float(one[at]) for at, _ in _apart(one, now)), 0.0)
            for one, now in zip(ratio, excess, strict=True)
        ]

    def spots(self, look: Looks, least: float) -> list[Spot]:
        """The strongest tiles of one frame above ``least`` sigma, apart from each other.

        One that darkens its neighbours (a shifted picture does) is left out. The first one is
        given even when it is below ``least``, so that its strength can be learnt.
        """
        excess, high = look.excess[0], self._high
        ratio = excess * self._precision
        size = np.abs(ratio)
        found: list[Spot] = []
        for at, near in _apart(ratio, excess):
            sigma, value, usual = float(ratio[at]), float(excess[at]), float(look.usual[0][at])
            if found and sigma < least:
                break
            much = max(CHANGED, ALIKE * sigma)
            crowd = int((size > much).sum()) - int((size[near] > much).sum())
            record = value + usual - float(high[at])
            found.append(Spot(*at, value, sigma, usual, record, crowd))
        return found

    def pass_on(self, look: Looks) -> None:
        """The frames become the past of the next ones; their noise waits for ``learn``."""
        if self.has_past:
            self._seen.append(look.excess)
            self._still.append(self._share_alike(look))
        np.maximum(self._high, look.tiles.max(axis=0), out=self._high)
        self._past = np.concatenate([self._past, look.tiles])[-PAST:]
        self._past_inside = np.concatenate([self._past_inside, look.inside])[-PAST:]

    def _share_alike(self, look: Looks) -> float:
        """Share of the mirror's long rows that are wholly the same as in the frame before."""
        if self._predicted or not len(self._long):
            return 0.0
        tiles = np.concatenate([self._past[-1:], look.tiles])[:, self._long]
        return float(((tiles[1:] == tiles[:-1]) | self._elsewhere).all(axis=2).mean())

    def learn(self) -> None:
        """Take the frames passed on since the last time into the noise."""
        if not self._seen:
            return
        size = np.abs(self._seen[0] if len(self._seen) == 1 else np.concatenate(self._seen))
        self._seen.clear()
        count = len(size)
        size *= np.float32(1.2533)
        self._frames += count
        usual = size.mean(axis=0)
        self._fast += np.float32(_rate(FAST_FRAMES, count)) * (usual - self._fast)
        if self.ready:
            usual = np.minimum(size, OUTLIER * self._slow, out=size).mean(axis=0)
        rate = max(count / self._frames, _rate(SLOW_FRAMES, count))
        self._slow += np.float32(rate) * (usual - self._slow)
        lasting = max(count / self._frames, _rate(STILL_FRAMES, count))
        self._still_share += lasting * (sum(self._still) / len(self._still) - self._still_share)
        self._still.clear()
        np.maximum(self._slow, self._coded_floor if self.coded else self._floor, out=self._slow)
        noise = cv2.dilate(np.maximum(self._slow, self._fast), _AROUND)
        self._precision = np.asarray(np.float32(1.0) / noise)
        self._high -= np.float32(_rate(HIGH_FRAMES, count)) * (self._high - self._past[-1])


def _apart(ratio: Grid, excess: Grid) -> Iterator[tuple[tuple[int, int], tuple[slice, slice]]]:
    """The brightest tiles that do not darken their neighbours, with these; at most some are tried.

    What was tried is taken out of ``ratio`` afterwards.
    """
    for _ in range(MOST_SPOTS):
        band, tile = divmod(int(ratio.argmax()), ratio.shape[1])
        near = (slice(max(band - 2, 0), band + 3), slice(max(tile - 2, 0), tile + 3))
        if excess[near].min() >= -DIPOLE * excess[band, tile]:
            yield (band, tile), near
        ratio[near] = 0.0


def _rate(memory_frames: float, frames: int) -> float:
    """Weight of some new frames in a mean that forgets with this time constant."""
    return float(1.0 - (1.0 - 1.0 / memory_frames) ** frames)


def _mean_before(values: Grid, frames: int) -> Grid:
    """Mean of the ``PAST`` values before each of the last ones."""
    total = values[:frames] + values[1 : frames + 1]
    for shift in range(2, PAST):
        total += values[shift : shift + frames]
    total *= np.float32(1.0 / PAST)
    return total
