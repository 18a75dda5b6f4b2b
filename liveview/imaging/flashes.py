"""Counting flashes as the published limits do, and how large the flashing part is.

Sources: W3C WCAG 2.2, success criterion 2.3.1 with "general flash and red flash thresholds";
ITU-R BT.1702-3 (2023). A general flash is a pair of opposing changes of relative luminance by 0.10
or more, the darker state below 0.80; on a screen of 200 cd/m2 these are BT.1702's 20 and 160 cd/m2.
A red flash is a pair of opposing changes from or to a saturated red (R/(R+G+B) of linear light at
least 0.8, however dark) with a step of more than 0.2 in CIE 1976 u'v'. Allowed are three of each in
any one second, or flashing parts that stay below a quarter of any ten degree field, which at the
usual distance is a third of the screen's width by a third of its height.

Passing these limits is no proof that a picture is harmless to everybody.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes

STEP = 0.10
"""Smallest change of relative luminance that counts."""
DARKER_BELOW = 0.80
"""A change counts only when its darker state is below this."""
RED_SHARE = 0.80
RED_STEP_UV = 0.20
FLASHES_PER_SECOND = 3
CHANGES_PER_SECOND = 2 * FLASHES_PER_SECOND
FIELD_SHARE = 0.25
"""Flashing part of a ten degree field that is still allowed."""
FIELD = 1.0 / 3.0
"""Ten degree field as a share of the screen's width and height (341 x 256 of 1024 x 768)."""

Plane = NDArray[np.float32]
Flags = NDArray[np.bool_]

_SRGB = Transfer.named("srgb").decode(np.arange(256) / 255.0).astype(np.float32).reshape(1, 256)


@dataclass(frozen=True, slots=True)
class Look:
    """One picture as the limits see it, on a coarse grid: luminance 0..1, red, and u'v'."""

    luminance: Plane
    red: Flags
    u: Plane
    v: Plane


def reduced(picture: Bytes, grid: tuple[int, int]) -> Bytes:
    """The picture halved, codes averaged, as long as it stays three times as fine as the grid.

    Means of two by two have a fast path; averaging to any other size costs ten times as much.
    """
    rows, columns = (6 * count for count in grid)
    while picture.shape[0] >= rows and picture.shape[1] >= columns:
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        even = picture[: 2 * half[1], : 2 * half[0]]
        picture = np.asarray(cv2.resize(even, half, interpolation=cv2.INTER_AREA), np.uint8)
    return picture


def look_at(picture: Bytes, grid: tuple[int, int]) -> Look:
    """Reduce a picture in sRGB to the grid.

    Parameters
    ----------
    picture : ndarray, uint8, (rows, columns, 3 or 4)
        Blue, green, red (and unused), as sent to the screen or already :func:`reduced`.
    grid : (rows, columns)
        Size to reduce to.

    Notes
    -----
    Pixels are averaged as linear light inside a cell after a first reduction to at least three
    times the grid, which averages codes: exact for anything not finer than a ninth of a cell.
    """
    rows, columns = grid
    light = cv2.LUT(reduced(picture, grid), _SRGB)
    linear = cv2.resize(light, (columns, rows), interpolation=cv2.INTER_AREA)
    blue, green, red = (linear[:, :, k] for k in range(3))
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    share = red / np.maximum(red + green + blue, 1e-6)
    x = 0.4124 * red + 0.3576 * green + 0.1805 * blue
    z = 0.0193 * red + 0.1192 * green + 0.9505 * blue
    weight = x + 15 * luminance + 3 * z
    lit = weight > 1e-4
    u = np.where(lit, 4 * x / np.maximum(weight, 1e-6), 0.1978).astype(np.float32)
    v = np.where(lit, 9 * luminance / np.maximum(weight, 1e-6), 0.4683).astype(np.float32)
    return Look(luminance.astype(np.float32), share >= RED_SHARE, u, v)


class _Changes:
    """Times of the latest opposing changes in every cell."""

    def __init__(self, grid: tuple[int, int]) -> None:
        self.times = np.full((CHANGES_PER_SECOND + 1, *grid), -np.inf)

    def with_changes(self, where: Flags, time_s: float) -> NDArray[np.float64]:
        """The times after a change at ``where``; ``self`` stays as it is."""
        if not where.any():
            return self.times
        shifted = np.roll(self.times, 1, axis=0)
        shifted[0] = time_s
        return np.where(where[None], shifted, self.times)

    @staticmethod
    def too_many(times: NDArray[np.float64], time_s: float) -> Flags:
        """Cells with more opposing changes within one second than allowed."""
        # Changes exactly a second apart are not within one: 3 Hz is allowed, whatever the rounding.
        crowded: Flags = times[CHANGES_PER_SECOND] > time_s - 1.0 + 1e-6
        return crowded


@dataclass(frozen=True, slots=True)
class _Step:
    """What a picture would change; applied only when it is sent."""

    look: Look
    time_s: float
    direction: NDArray[np.int8]
    low: Plane
    high: Plane
    general: NDArray[np.float64]
    red_side: NDArray[np.int8]
    red_mark_u: Plane
    red_mark_v: Plane
    red: NDArray[np.float64]
    worst: float


class FlashCounter:
    """Follows a sequence of pictures and says how much of a field flashes too often.

    Parameters
    ----------
    grid : (rows, columns)
        Cells the screen is divided into.
    """

    def __init__(self, grid: tuple[int, int] = (54, 96)) -> None:
        self.grid = grid
        self._general = _Changes(grid)
        self._red = _Changes(grid)
        self._direction = np.zeros(grid, np.int8)
        self._low: Plane | None = None
        self._high: Plane | None = None
        self._red_side = np.zeros(grid, np.int8)
        self._mark: tuple[Plane, Plane] | None = None

    def weigh(self, picture: Bytes, time_s: float) -> _Step:
        """What would happen if ``picture`` were shown at ``time_s``; changes nothing.

        Returns
        -------
        step
            ``step.worst`` is the largest flashing share of any ten degree field, 0..1: above
            ``FIELD_SHARE`` is not allowed. Hand the step to :meth:`commit` if it is shown.
        """
        look = look_at(picture, self.grid)
        general, direction, low, high = self._general_step(look.luminance, time_s)
        red, side, u, v = self._red_step(look, time_s)
        bad = _Changes.too_many(general, time_s) & (general[0] == time_s)
        bad |= _Changes.too_many(red, time_s) & (red[0] == time_s)
        return _Step(
            look, time_s, direction, low, high, general, side, u, v, red, _worst_field(bad)
        )

    def commit(self, step: _Step) -> None:
        """The picture of ``step`` has been shown."""
        self._direction, self._low, self._high = step.direction, step.low, step.high
        self._general.times = step.general
        self._red_side = step.red_side
        self._mark = (step.red_mark_u, step.red_mark_v)
        self._red.times = step.red

    def flashes(self, time_s: float) -> int:
        """Flashes (pairs of opposing changes, general or red) within the second before ``time_s``
        that more than the allowed part of a field has made; what is more than three counts as
        three.
        """
        for changes in range(CHANGES_PER_SECOND, 1, -2):
            recent = self._general.times[changes - 1] > time_s - 1.0 + 1e-6
            recent |= self._red.times[changes - 1] > time_s - 1.0 + 1e-6
            if _worst_field(recent) > FIELD_SHARE:
                return changes // 2
        return 0

    def _general_step(
        self, light: Plane, time_s: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int8], Plane, Plane]:
        if self._low is None or self._high is None:
            return self._general.times, self._direction, light, light
        low, high = np.minimum(self._low, light), np.maximum(self._high, light)
        # Rounding of 8-bit codes must not hide a step of exactly a tenth.
        step = STEP - 1e-6
        up = (self._direction <= 0) & (light - low >= step) & (low < DARKER_BELOW)
        down = (self._direction >= 0) & (high - light >= step) & (light < DARKER_BELOW)
        up &= ~down
        direction = np.where(up, 1, np.where(down, -1, self._direction)).astype(np.int8)
        changed = up | down
        low = np.where(changed, light, low)
        high = np.where(changed, light, high)
        return self._general.with_changes(changed, time_s), direction, low, high

    def _red_step(
        self, look: Look, time_s: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int8], Plane, Plane]:
        side = np.where(look.red, 1, -1).astype(np.int8)
        if self._mark is None:
            return self._red.times, side, look.u, look.v
        u, v = self._mark
        far = np.hypot(look.u - u, look.v - v) > RED_STEP_UV
        changed = (side != self._red_side) & far
        keep = ~changed & (side != self._red_side)
        new_side = np.where(changed, side, self._red_side).astype(np.int8)
        return (
            self._red.with_changes(changed, time_s),
            new_side,
            np.where(keep, u, look.u),
            np.where(keep, v, look.v),
        )


def _worst_field(bad: Flags) -> float:
    """Largest share of flashing cells in any ten degree field of the screen."""
    if not bad.any():
        return 0.0
    rows, columns = bad.shape
    window = (max(1, round(columns * FIELD)), max(1, round(rows * FIELD)))
    share = cv2.boxFilter(bad.astype(np.float32), -1, window, borderType=cv2.BORDER_CONSTANT)
    return float(share.max())
