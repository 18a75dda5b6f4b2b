"""Arrows of the flow: how fast the pattern moves, told on a grid and drawn to a stated scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Light

ARROWS_LONGEST_S = 0.045
"""Between two frames; in longer, a candle's flow goes farther than its pattern is wide, and arrows
would point anywhere. Twenty-four frames a second are enough."""
TIMES_S = (0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
"""An arrow is as long as the way covered in one of these times."""
GRID_PX = 32
"""Pixels of the picture from arrow to arrow, and the length of the fastest, about."""

_REDUCED = 4
_GRID = GRID_PX // _REDUCED
_MEMORY_S = 0.25
_STANDS_OUT = 4.0
_MOVES = 1.5
"""So many times its noise a block has to change from frame to frame."""
_SLACK = 0.6
_SLACK_SHARE = 0.25
"""There and back may miss by so many reduced pixels, and by this share of the way: along an edge
the flow is told badly."""
_SURE = 0.25
"""Share of the last frames in which an arrow was confirmed, from which on it is drawn."""
_GUESS = 0.1
"""That share from which on the next flow is looked for where it would lead."""
_COHERENT = 0.6
"""The mean speed's square is at least this share of the mean square: all else is to and fro."""
_FAST = 0.9
"""The speed that all but a tenth of the arrows stay below sets their length."""
_FEW = 4
"""Fewer arrows say nothing about their length."""
_WITHOUT_S = 0.1
"""What arrows show before there were enough of them."""
_TOO_LONG = 1.25
_CALM_S = 1.0
_FREE_S = 0.5
"""At the beginning, when speeds are means of few frames, every frame chooses anew."""


class Arrows:
    """Speed of the pattern on a grid, by optical flow on the reduced contrast picture.

    Dense inverse search (Kroeger et al. 2016, "Fast optical flow using dense inverse search").
    It is the pattern that moves, not necessarily the air. A speed is told where the pattern stands
    out of the noise, changes from frame to frame by more than the noise, and is found again by the
    flow from the second frame back to the first: an edge that stands still has none, however noisy
    it is.
    """

    def __init__(self) -> None:
        self._flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_ULTRAFAST)
        self.restart()

    def restart(self) -> None:
        """The next frame has nothing to be compared with."""
        self.too_far = False
        self._last: tuple[Light, Bytes] | None = None
        self._time_s = 0.0
        self._means: _Means | None = None
        self._told: tuple[float, Light] | None = None

    def see(self, contrast: Light, scale: float, sigma: float, time_s: float) -> Light | None:
        """Speeds in pixels per second on the grid, (rows, columns, 2); NaN where none is told.

        Parameters
        ----------
        contrast : ndarray, float32, (rows, columns)
        scale : float
            Contrast that fills half the range of codes.
        sigma : float
            Noise of one pixel's contrast.
        time_s : float
            Time of the frame.

        Returns
        -------
        ndarray or None
            None for the first frame, for pictures too small for it, and (``too_far``) when frames
            are more than ``ARROWS_LONGEST_S`` apart; one lost frame is bridged.
        """
        rows, columns = (size // _REDUCED for size in contrast.shape)
        if min(rows, columns) < 4 * _GRID:
            return None
        reduced = cv2.resize(contrast, (columns, rows), interpolation=cv2.INTER_AREA)
        small: Light = np.asarray(reduced, np.float32)
        codes = np.empty((rows, columns), np.uint8)
        cv2.addWeighted(small, 100 / scale, small, 0.0, 128.0, codes, dtype=cv2.CV_8U)
        last, self._last = self._last, (small, codes)
        passed, self._time_s = time_s - self._time_s, time_s
        if last is None or last[1].shape != codes.shape or passed <= 0.0:
            return None
        if passed > ARROWS_LONGEST_S:
            return self._held(time_s)
        confirmed = _stands_out(last[0], small, sigma)
        moved = np.zeros((*confirmed.shape, 2), np.float32)
        if confirmed.any():
            moved, agreed = self._found(last[1], codes, passed)
            confirmed &= agreed
        if self._means is None or self._means.shape != confirmed.shape:
            self._means = _Means(confirmed.shape)
        speeds = self._means.see(moved * np.float32(_REDUCED / passed), confirmed, passed)
        self._told, self.too_far = (time_s, speeds), False
        return speeds

    def _held(self, time_s: float) -> Light | None:
        """Those told last, over the gap that a lost frame leaves."""
        told = self._told
        self.too_far = told is None or not 0.0 <= time_s - told[0] <= _MEMORY_S
        return None if told is None or self.too_far else told[1].copy()

    def _found(self, last: Bytes, codes: Bytes, passed: float) -> tuple[Light, NDArray[np.bool_]]:
        """Reduced pixels moved at the grid, and where the way back leads to where it began."""
        start = np.zeros((*codes.shape, 2), np.float32)
        if self._means is not None:
            # A fast flow is found from where the frames before lead to.
            guess = self._means.guess * np.float32(passed / _REDUCED)
            cv2.resize(guess, codes.shape[::-1], start, interpolation=cv2.INTER_LINEAR)
        there = np.asarray(self._flow.calc(last, codes, start.copy()), np.float32)
        back = np.asarray(self._flow.calc(codes, last, -start), np.float32)
        at = slice(_GRID // 2, None, _GRID)
        moved = there[at, at]
        ends = np.rint(_grid_points(codes.shape) + moved).astype(np.intp)
        columns = ends[..., 0].clip(0, codes.shape[1] - 1)
        rows = ends[..., 1].clip(0, codes.shape[0] - 1)
        miss = _lengths(moved + back[rows, columns])
        return moved, miss <= _SLACK + _SLACK_SHARE * _lengths(moved)


class _Means:
    """Means of the last frames' speeds where they were confirmed, fading."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.shape = shape
        self.guess: Light = np.zeros((*shape, 2), np.float32)
        """Speeds that begin to be sure, pixels per second; 0 elsewhere."""
        self._seen = 0.0
        self._sure = np.zeros(shape, np.float32)
        self._squares = np.zeros(shape, np.float32)
        self._sums = np.zeros((*shape, 2), np.float32)

    def see(self, speed: Light, confirmed: NDArray[np.bool_], passed: float) -> Light:
        """Take in one frame's, ``passed`` seconds after the last; NaN where there is no arrow."""
        share = np.float32(1 - np.exp(-passed / _MEMORY_S))
        told = confirmed.astype(np.float32)
        self._seen += float(share) * (1.0 - self._seen)
        self._sure += share * (told - self._sure)
        self._squares += share * (told * _lengths(speed) ** 2 - self._squares)
        self._sums += share * (told[..., None] * speed - self._sums)
        one_way = _lengths(self._sums) ** 2 >= _COHERENT * self._squares * self._sure
        drawn = one_way & (self._sure > _SURE * self._seen)
        begun = one_way & (self._sure > _GUESS * self._seen)
        self.guess = np.zeros_like(self._sums)
        np.divide(self._sums, self._sure[..., None], out=self.guess, where=begun[..., None])
        mean = np.full(speed.shape, np.nan, np.float32)
        mean[drawn] = self.guess[drawn]
        return mean


def _lengths(vectors: Light) -> Light:
    return np.asarray(np.hypot(vectors[..., 0], vectors[..., 1]), np.float32)


def _grid_points(shape: tuple[int, ...]) -> Light:
    """(x, y) of the grid on the reduced picture, (rows, columns, 2)."""
    x = np.arange(_GRID // 2, shape[1], _GRID, dtype=np.float32)
    y = np.arange(_GRID // 2, shape[0], _GRID, dtype=np.float32)
    return np.stack(np.meshgrid(x, y), axis=-1)


def _stands_out(last: Light, small: Light, sigma: float) -> NDArray[np.bool_]:
    """Where on the grid the pattern is more than noise, and changes by more than noise."""
    at = slice(_GRID // 2, None, _GRID)
    noise = sigma / _REDUCED

    def blocks(picture: Light) -> Light:
        return np.asarray(cv2.blur(picture, (_GRID, _GRID)), np.float32)[at, at]

    variance = blocks(small * small) - blocks(small) ** 2
    change = small - last
    moving = blocks(change * change) > 2 * (_MOVES * noise) ** 2
    return np.asarray((variance > (_STANDS_OUT * noise) ** 2) & moving, np.bool_)


class ArrowScale:
    """Chooses the time whose way the arrows show, so that they stay within the grid.

    After its beginning it becomes shorter at once when the fast ones are too long, and longer only
    when they would have fitted for ``_CALM_S``.
    """

    def __init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        """Choose afresh."""
        self._chosen_s: float | None = None
        self._free_until_s: float | None = None
        self._calm_from_s: float | None = None

    def fit(self, speeds: Light, time_s: float) -> float:
        """The time for these speeds (:meth:`Arrows.see`), seconds; few arrows change nothing."""
        told = _lengths(speeds)
        told = told[np.isfinite(told)]
        if told.size < _FEW:
            return self._chosen_s or _WITHOUT_S
        fast = float(np.quantile(told, _FAST))
        fitting = next((t for t in TIMES_S if fast * t <= GRID_PX), TIMES_S[-1])
        if self._free_until_s is None:
            self._free_until_s = time_s + _FREE_S
        chosen = self._chosen_s
        free = chosen is None or time_s < self._free_until_s or self._calm(fitting, time_s)
        if free or fast * (chosen or 0.0) > _TOO_LONG * GRID_PX:
            self._chosen_s = fitting
        return self._chosen_s or fitting

    def _calm(self, fitting: float, time_s: float) -> bool:
        """True when longer ones would have fitted for long enough."""
        if fitting <= (self._chosen_s or 0.0):
            self._calm_from_s = None
        elif self._calm_from_s is None or time_s < self._calm_from_s:
            self._calm_from_s = time_s
        elif time_s - self._calm_from_s > _CALM_S:
            self._calm_from_s = None
            return True
        return False


def draw_arrows(speeds: Light, picture: Bytes, arrow_s: float) -> None:
    """Draw the speeds of :meth:`Arrows.see` into a BGRA picture of the same box.

    As long as the way covered in ``arrow_s``; at most one and a half times the grid's spacing.
    """
    for row, column in zip(*np.nonzero(np.isfinite(speeds[:, :, 0])), strict=True):
        vx, vy = speeds[row, column] * arrow_s
        long = float(np.hypot(vx, vy))
        if long < 2.0:
            continue
        cut = min(1.0, 1.5 * GRID_PX / long)
        x, y = (column + 0.5) * GRID_PX, (row + 0.5) * GRID_PX
        start, end = (round(x), round(y)), (round(x + cut * vx), round(y + cut * vy))
        # A dark rim keeps the arrow visible on bright and dark alike.
        cv2.arrowedLine(picture, start, end, (0, 0, 0, 255), 3, cv2.LINE_AA, tipLength=0.35)
        cv2.arrowedLine(picture, start, end, (255, 255, 255, 255), 1, cv2.LINE_AA, tipLength=0.35)
