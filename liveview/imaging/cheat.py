"""Tells by the picture alone when a camera changes exposure, gain or white balance by itself.

Light from the lamp reaches the inside of the mirror's disc only, light of the room what lies
outside. A camera that turns its own exposure or gain multiplies both, everywhere alike; a lamp or
a blade changes the inside only, a lit room the outside only, air and hands change some tiles and
not the others::

    inside    outside    spread over tiles    verdict
    moved     the same   small                the camera: exposure or gain
    moved     still      any                  lamp, blade or air
    still     moved      any                  the room
    any       any        large                something moves in the picture

In colour the ratios of red and blue to green tell of the white balance in the same way.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Disc, Pixels

Tiles = NDArray[np.float64]

ROWS, COLUMNS = 18, 32
LEARN_LOOKS = 10
"""Looks whose median is the quiet that later ones are compared with."""
CONFIRM_LOOKS = 5
"""A change counts when it is there in so many looks one after another."""
LEAST = 0.04
"""Smallest change of light that is told, as a natural logarithm: about 4 %."""
LEAST_COLOUR = 0.03
"""The same for the ratio of two colours."""
ANEW_AFTER_LOOKS = {"lamp": 100, "brightness": 600, "colour": 600}
"""How long a change that stays is told before it counts as the new quiet."""
ALIKE = 0.5
"""Inside and outside differ by at most this share of the change."""
EVEN = 0.35
"""Scatter over the tiles, as a share of the change, up to which all of them moved alike."""
DIMMEST = 0.004
"""Tiles darker than this share of white say nothing: rounding and the black level are as large."""
BRIGHTEST = 0.97
FEWEST_TILES = 8
RIM = 0.06
"""Of the disc's radius: tiles so near to its rim belong to neither side."""


class Drift(str, Enum):
    """What the watch has found."""

    LEARNING = "learning"
    STEADY = "steady"
    BRIGHTNESS = "brightness"
    COLOUR = "colour"
    LAMP = "lamp"
    UNTOLD = "untold"


@dataclass(frozen=True, slots=True)
class DriftReading:
    """The verdict; ``change`` is the factor by which the light (or a colour) changed."""

    kind: Drift = Drift.LEARNING
    change: float = 1.0
    since_s: float | None = None

    @property
    def cheats(self) -> bool:
        """True when the camera did it."""
        return self.kind in (Drift.BRIGHTNESS, Drift.COLOUR)

    @property
    def words(self) -> str:
        """One line for the screen."""
        percent = abs(self.change - 1.0) * 100
        way = "up" if self.change > 1 else "down"
        return {
            Drift.LEARNING: "learning what is quiet",
            Drift.STEADY: "steady: nothing changes by itself",
            Drift.BRIGHTNESS: f"the camera went {way} in brightness by {percent:.0f} %",
            Drift.COLOUR: f"the camera shifted its colours by {percent:.0f} %",
            Drift.LAMP: f"brightness went {way} by {percent:.0f} %: lamp, blade or air",
            Drift.UNTOLD: "cannot be told: too dark outside the disc",
        }[self.kind]


class CheatWatch:
    """Looks at a frame now and then; see the table at the top.

    Parameters
    ----------
    white : int
        Top code.
    gamma : float
        Codes grow as light to the power of its reciprocal; a rough value serves, for only
        changes are judged.
    """

    def __init__(self, white: int, gamma: float = 2.2) -> None:
        self._white = white
        self._gamma = gamma
        self._disc: Disc | None = None
        self._sides: tuple[NDArray[np.bool_], NDArray[np.bool_]] | None = None
        self.expect_change()

    def set_disc(self, disc: Disc | None, shape: tuple[int, ...]) -> None:
        """Where the mirror is, in a picture of this shape; begins anew when it moved."""
        if disc == self._disc:
            return
        before, self._disc = self._disc, disc
        if disc is None or before is None or _moved(before, disc):
            self._sides = None if disc is None else _sides(disc, shape)
            self.expect_change()

    def expect_change(self) -> None:
        """Somebody changed something: learn the quiet anew."""
        self._looks: deque[Tiles] = deque(maxlen=LEARN_LOOKS)
        self._quiet: Tiles | None = None
        self._pending: deque[DriftReading] = deque(maxlen=CONFIRM_LOOKS)
        self._told = 0
        self.reading = DriftReading()

    def look(self, pixels: Pixels, time_s: float) -> DriftReading:
        """Judge the next frame, (rows, columns) or (rows, columns, 3) codes."""
        if self._sides is None:
            return self.reading
        tiles = self._tiles(pixels)
        if self._quiet is None:
            self._looks.append(tiles)
            if len(self._looks) == LEARN_LOOKS:
                self._quiet = np.median(np.stack(self._looks), axis=0)
                self.reading = DriftReading(Drift.STEADY)
            return self.reading
        found = self._judge(tiles, time_s)
        self._pending.append(found)
        same = len({reading.kind for reading in self._pending}) == 1
        if same and len(self._pending) == CONFIRM_LOOKS:
            since_s = self._pending[0].since_s
            self.reading = DriftReading(found.kind, found.change, since_s)
        self._told = self._told + 1 if found.kind is self.reading.kind else 0
        if self._told > ANEW_AFTER_LOOKS.get(self.reading.kind.value, self._told):
            self.expect_change()
        return self.reading

    def _tiles(self, pixels: Pixels) -> Tiles:
        """Mean light of the tiles, (channels, ROWS, COLUMNS), white is 1."""
        step = max(1, min(pixels.shape[0] // (4 * ROWS), pixels.shape[1] // (4 * COLUMNS)))
        reduced = cv2.resize(
            np.ascontiguousarray(pixels[::step, ::step]).astype(np.float32),
            (COLUMNS, ROWS),
            interpolation=cv2.INTER_AREA,
        )
        codes = np.atleast_3d(np.asarray(reduced, np.float64)) / self._white
        tiles: Tiles = np.moveaxis(codes**self._gamma, 2, 0)
        return tiles

    def _judge(self, tiles: Tiles, time_s: float) -> DriftReading:
        assert self._quiet is not None and self._sides is not None
        inside, outside = self._sides
        least = DIMMEST**self._gamma
        most = BRIGHTEST**self._gamma
        clear = ((self._quiet > least) & (self._quiet < most) & (tiles < most)).all(axis=0)
        change = np.log(np.maximum(tiles, 1e-12) / np.maximum(self._quiet, 1e-12))
        parts = [change[:, side & clear] for side in (inside, outside)]
        if parts[0].shape[1] < FEWEST_TILES:
            return DriftReading(Drift.UNTOLD, 1.0, time_s)
        green = min(1, len(change) - 1)
        (within, spread_in), (beyond, spread_out) = (_middle(part[green]) for part in parts)
        if parts[1].shape[1] < FEWEST_TILES:
            kind = Drift.LAMP if abs(within) > LEAST else Drift.UNTOLD
            return DriftReading(kind, float(np.exp(within)), time_s)
        colour = self._colour(parts) if len(change) == 3 else None
        if colour is not None:
            return DriftReading(Drift.COLOUR, colour, time_s)
        size = max(abs(within), abs(beyond))
        alike = size > LEAST and abs(within - beyond) <= ALIKE * size
        even = max(spread_in, spread_out) <= EVEN * size
        if alike and even and min(abs(within), abs(beyond)) > LEAST / 2:
            return DriftReading(Drift.BRIGHTNESS, float(np.exp(within)), time_s)
        if abs(within) > LEAST and spread_in <= EVEN * abs(within):
            return DriftReading(Drift.LAMP, float(np.exp(within)), time_s)
        return DriftReading(Drift.STEADY, 1.0, time_s)

    def _colour(self, parts: list[Tiles]) -> float | None:
        """By how much red or blue moved against green, inside and outside alike; None if not."""
        for channel in (0, 2):
            shifts = [_middle(part[channel] - part[1]) for part in parts]
            (within, spread_in), (beyond, spread_out) = shifts
            size = max(abs(within), abs(beyond))
            if size <= LEAST_COLOUR or abs(within - beyond) > ALIKE * size:
                continue
            if max(spread_in, spread_out) <= EVEN * size:
                return float(np.exp(within))
        return None


def _middle(values: Tiles) -> tuple[float, float]:
    """Median and its scatter (1.48 times the median of the distances from it)."""
    if values.size == 0:
        return 0.0, 0.0
    middle = float(np.median(values))
    return middle, 1.4826 * float(np.median(np.abs(values - middle)))


def _sides(disc: Disc, shape: tuple[int, ...]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tiles wholly inside and wholly outside the disc."""
    high, wide = shape[0] / ROWS, shape[1] / COLUMNS
    y = (np.arange(ROWS)[:, None] + 0.5) * high - 0.5
    x = (np.arange(COLUMNS)[None, :] + 0.5) * wide - 0.5
    away = np.hypot(x - disc.cx, y - disc.cy)
    half = 0.5 * float(np.hypot(high, wide)) + RIM * disc.radius
    return away < disc.radius - half, away > disc.radius + half


def _moved(before: Disc, now: Disc) -> bool:
    far = max(abs(before.cx - now.cx), abs(before.cy - now.cy), abs(before.radius - now.radius))
    return far > 0.02 * before.radius
