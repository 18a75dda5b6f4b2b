"""Steadiness: how far the picture has moved against the reference, and moving it back.

The shift is found by Gauss-Newton steps (Lucas and Kanade 1981) on those pixels where the
reference has structure of its own: rim, dust, scratches, vignette. Each step solves for shift and
brightness together and weighs pixels by Tukey's biweight, so that flow in front of the mirror
does not pull. A reduced picture is used first, so that several pixels of shake are caught; where
that fails (fine texture without a rim), phase correlation gives the start.

Sign: the shift is how far the frame's content lies right of and below its place in the reference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.quick import median
from liveview.model import Bytes, Light

Floats = NDArray[np.float64]

MARGIN = 14
"""Pixels beyond the disc's box that are kept for moving back; also the largest shift, about."""
_REACH = 10.0
"""Largest shift that is undone, pixels."""
_COARSE = 4
_POINTS_COARSE = 600
_POINTS_FINE = 1500
_MOST_ERROR = 0.15
"""Standard error above which the shift is not believed, pixels."""
_SETTLING = 0.6
"""Step below which points are weighed; before, the rim itself would look like a stranger."""
_NEAR = 0.5
"""Pixels from the last frame's shift within which the reduced picture is not needed."""
_LEAST_AGREEING = 0.3
_LEAST_GAIN = 0.2
_LEAST_POINTS = 50
_PATCH = 256
"""Side of the patch for phase correlation, at half size."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Shift in pixels (x right, y down) and its standard error."""

    x: float
    y: float
    error: float


class _Level:
    """Points with structure on one picture of the reference."""

    def __init__(self, reference: Light, inside: Bytes, points: int, border: int) -> None:
        gx = cv2.Sobel(reference, cv2.CV_32F, 1, 0, scale=1 / 8)
        gy = cv2.Sobel(reference, cv2.CV_32F, 0, 1, scale=1 / 8)
        strength = (gx * gx + gy * gy) * (inside > 0)
        strength[:border] = strength[-border:] = 0
        strength[:, :border] = strength[:, -border:] = 0
        flat = strength.ravel()
        count = min(points, int(np.count_nonzero(flat)))
        chosen = np.argpartition(flat, -count)[-count:] if count else np.empty(0, int)
        self.index = np.sort(chosen)
        self.columns = reference.shape[1]
        self.border = border
        value = reference.ravel()[self.index].astype(np.float64)
        # Where the frame is as unlike the reference as the reference is unlike its own mean, it
        # shows something else.
        self.spread = float(1.4826 * np.median(np.abs(value - np.median(value)))) if count else 0.0
        slopes = [g.ravel()[self.index].astype(np.float64) for g in (gx, gy)]
        self.value = value
        self.matrix = np.stack([*slopes, value, np.ones_like(value)])

    def sampled(self, picture: Light, dx: float, dy: float) -> Floats:
        """The picture at the points moved by (dx, dy), bilinear."""
        whole_x, whole_y = int(np.floor(dx)), int(np.floor(dy))
        fx, fy = dx - whole_x, dy - whole_y
        flat = picture.ravel()
        first = self.index + (whole_y * self.columns + whole_x)
        top = flat[first] * (1 - fx) + flat[first + 1] * fx
        first += self.columns
        below = flat[first] * (1 - fx) + flat[first + 1] * fx
        return np.asarray(top * (1 - fy) + below * fy, np.float64)

    def solve(
        self, picture: Light, start: tuple[float, float], turns: int, most_step: float = np.inf
    ) -> _Solved | None:
        """Gauss-Newton from ``start``; None when it leaves the border or is not determined.

        Each turn weighs the points by how well the last one explained them. None, too, when one
        wants to go farther than ``most_step`` pixels at once.
        """
        dx, dy = start
        limit = self.border - 2
        weights = np.ones_like(self.value)
        error = agreeing = 0.0
        for _ in range(turns):
            if not (abs(dx) < limit and abs(dy) < limit):
                return None
            miss = self.sampled(picture, dx, dy) - self.value
            weighted = self.matrix * weights
            try:
                inverse = np.linalg.inv(weighted @ self.matrix.T)
            except np.linalg.LinAlgError:
                return None
            found = inverse @ (weighted @ miss)
            # Where the frame is brighter by a factor its slopes are steeper by the same.
            gain = 1.0 + float(found[2])
            if gain < _LEAST_GAIN:
                return None
            step_x, step_y = float(found[0]) / gain, float(found[1]) / gain
            dx, dy = dx - step_x, dy - step_y
            step = abs(step_x) + abs(step_y)
            if step > most_step:
                return None
            if step > _SETTLING:
                continue
            rest = np.abs(miss - found @ self.matrix)
            scale = max(1.4826 * median(rest), 1e-7)
            weights = np.clip(1 - (rest / (4.685 * scale)) ** 2, 0, None) ** 2
            error = scale * float(np.sqrt(max(inverse[0, 0] + inverse[1, 1], 0.0))) / gain
            agreeing = float((weights > 0.2).mean()) if scale < gain * self.spread else 0.0
            if step < 0.01:
                break
        if not (abs(dx) < limit and abs(dy) < limit) or agreeing == 0.0:
            return None
        return _Solved(dx, dy, error, agreeing)


@dataclass(frozen=True, slots=True)
class _Solved:
    x: float
    y: float
    error: float
    agreeing: float


class Steadiness:
    """Finds the shift of frames against one reference.

    Parameters
    ----------
    reference : ndarray, float32, (rows, columns)
        Reference picture over the wide box (the disc's box and a margin where there is one).
    inside : ndarray, uint8
        255 where there is disc or its rim, else 0: what lies beyond may move on its own.
    """

    def __init__(self, reference: Light, inside: Bytes) -> None:
        rows, columns = reference.shape
        size = (columns // _COARSE, rows // _COARSE)
        self._size = size
        self._coarse: _Level | None = None
        border = MARGIN // _COARSE + 2
        if min(size) > 4 * border:
            small = cv2.resize(_whole(reference), size, interpolation=cv2.INTER_AREA)
            mask = cv2.resize(_whole(inside), size, interpolation=cv2.INTER_AREA)
            self._coarse = _Level(_light(small), _bytes(mask), _POINTS_COARSE, border)
        self._fine = _Level(reference, inside, _POINTS_FINE, MARGIN)
        self._patch = _patch(reference)
        self._last = (0.0, 0.0)
        self._following = False

    def find(self, light: Light) -> Shift | None:
        """The shift of a frame over the wide box; None when it cannot be told.

        It cannot where there is too little structure, too much of the disc has changed, or the
        shift is larger than about 10 pixels.
        """
        found = self._settled(light, self._last, _NEAR) if self._following else None
        for start in dict.fromkeys((self._last, (0.0, 0.0))):
            if found is not None:
                break
            found = self._settled(light, self._roughly(light, start))
        if found is None:
            found = self._settled(light, self._correlated(light))
        self._following = found is not None
        self._last = (0.0, 0.0) if found is None else (found.x, found.y)
        return found

    def _roughly(self, light: Light, start: tuple[float, float]) -> tuple[float, float] | None:
        """A better start from the reduced picture."""
        if self._coarse is None or self._coarse.index.size < _LEAST_POINTS:
            return start
        # Halved twice: the same means in half the time of quartering at once.
        columns, rows = self._size
        half = cv2.resize(_whole(light), (2 * columns, 2 * rows), interpolation=cv2.INTER_AREA)
        small = cv2.resize(half, self._size, interpolation=cv2.INTER_AREA)
        rough = self._coarse.solve(_light(small), (start[0] / _COARSE, start[1] / _COARSE), 6)
        return None if rough is None else (rough.x * _COARSE, rough.y * _COARSE)

    def _settled(
        self, light: Light, start: tuple[float, float] | None, most_step: float = np.inf
    ) -> Shift | None:
        if start is None or self._fine.index.size < _LEAST_POINTS:
            return None
        fine = self._fine.solve(light, start, 5, most_step)
        if fine is None or fine.error > _MOST_ERROR or fine.agreeing < _LEAST_AGREEING:
            return None
        return (
            Shift(fine.x, fine.y, fine.error) if max(abs(fine.x), abs(fine.y)) <= _REACH else None
        )

    def _correlated(self, light: Light) -> tuple[float, float] | None:
        patch = _patch(light)
        if self._patch is None or patch is None:
            return None
        window = cv2.createHanningWindow(patch.shape[::-1], cv2.CV_32F)
        (x, y), _ = cv2.phaseCorrelate(self._patch, patch, window)
        return 2.0 * x, 2.0 * y


def _patch(picture: Light) -> Light | None:
    """The middle of the picture at half size, for phase correlation; None when it is small."""
    rows, columns = (min(size // 2, _PATCH) // 2 * 2 for size in picture.shape)
    if min(rows, columns) < 32:
        return None
    top, left = (picture.shape[0] - 2 * rows) // 2, (picture.shape[1] - 2 * columns) // 2
    middle = picture[top : top + 2 * rows, left : left + 2 * columns]
    return _light(cv2.resize(middle, (columns, rows), interpolation=cv2.INTER_AREA))


def _whole(picture: NDArray[Any]) -> NDArray[Any]:
    rows, columns = picture.shape
    return picture[: rows // _COARSE * _COARSE, : columns // _COARSE * _COARSE]


def _light(picture: Any) -> Light:
    return np.ascontiguousarray(picture, np.float32)


def _bytes(picture: Any) -> Bytes:
    return np.where(np.asarray(picture) >= 255, 255, 0).astype(np.uint8)


def cubic_taps(fraction: float) -> NDArray[np.float32]:
    """Weights of four neighbours for a place between the middle two (Keys 1981, a = -1/2)."""
    t = np.array([1 + fraction, fraction, 1 - fraction, 2 - fraction])
    near = 1.5 * t**3 - 2.5 * t**2 + 1
    far = -0.5 * t**3 + 2.5 * t**2 - 4 * t + 2
    return np.where(t < 1, near, far).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Kernel:
    """What interpolating between pixels did to the noise.

    ``noise`` is the factor on one pixel's standard deviation, 0.4..1. ``pairs`` is the factor on
    the variance that ``imaging.noise`` takes from differences of pixels two columns apart, which
    the interpolation made alike.
    """

    noise: float = 1.0
    pairs: float = 1.0


def _kernel(across: NDArray[np.float32], down: NDArray[np.float32]) -> Kernel:
    x, y = across.astype(np.float64), down.astype(np.float64)
    alone, two_apart = float(x @ x), float(x[2:] @ x[:-2])
    of_rows = float(y @ y)
    return Kernel((alone * of_rows) ** 0.5, (alone - two_apart) * of_rows)


def move_back(wide: Light, at: tuple[int, int], shift: tuple[float, float], out: Light) -> Kernel:
    """Cut the box out of the wide box at the shifted place, interpolating between pixels.

    Parameters
    ----------
    wide : ndarray, float32
        Light over the wide box; beyond it the edge is repeated (:func:`move_mask_back` tells).
    at : tuple of int
        Row and column of the box's corner in it.
    shift : tuple of float
        (x, y) to be undone.
    out : ndarray, float32
        Filled: the box.

    Returns
    -------
    Kernel
        What that does to the noise.
    """
    rows, columns = out.shape
    whole_x, whole_y = int(np.floor(shift[0])), int(np.floor(shift[1]))
    taps_x, taps_y = cubic_taps(shift[0] - whole_x), cubic_taps(shift[1] - whole_y)
    top, left = at[0] + whole_y, at[1] + whole_x
    if shift[0] == whole_x and shift[1] == whole_y:
        np.copyto(out, _padded(wide, top, left, rows, columns)[0])
        return Kernel()
    source, _ = _padded(wide, top - 1, left - 1, rows + 3, columns + 3)
    # Anchor 0 makes output (0, 0) the sum over the first four rows and columns.
    moved = cv2.sepFilter2D(
        source, cv2.CV_32F, taps_x, taps_y, anchor=(0, 0), borderType=cv2.BORDER_REPLICATE
    )
    np.copyto(out, moved[:rows, :columns])
    return _kernel(taps_x, taps_y)


def move_mask_back(
    wide: Bytes, at: tuple[int, int], shift: tuple[float, float], out: Bytes
) -> None:
    """The same for a mask: 255 only where all pixels that were mixed are 255."""
    rows, columns = out.shape
    top, left = at[0] + int(np.floor(shift[1])), at[1] + int(np.floor(shift[0]))
    source, known = _padded(wide, top - 1, left - 1, rows + 3, columns + 3)
    kernel = np.ones((4, 4), np.uint8)
    worst = cv2.erode(source, kernel, anchor=(0, 0)) if not source.all() else source
    np.copyto(out, worst[:rows, :columns])
    keep_rows, keep_columns = known
    out[: keep_rows.start] = 0
    out[max(keep_rows.stop - 3, 0) :] = 0
    out[:, : keep_columns.start] = 0
    out[:, max(keep_columns.stop - 3, 0) :] = 0


def _padded(
    picture: NDArray[Any], top: int, left: int, rows: int, columns: int
) -> tuple[NDArray[Any], tuple[slice, slice]]:
    """A stretch of the picture that may lie partly beyond it (edge repeated)."""
    height, width = picture.shape
    first_row, last_row = max(top, 0), min(top + rows, height)
    first_column, last_column = max(left, 0), min(left + columns, width)
    if (first_row, last_row, first_column, last_column) == (
        top, top + rows, left, left + columns,
    ):  # fmt: skip
        return picture[top : top + rows, left : left + columns], (
            slice(0, rows),
            slice(0, columns),
        )
    row = np.clip(np.arange(top, top + rows), 0, height - 1)
    column = np.clip(np.arange(left, left + columns), 0, width - 1)
    return np.ascontiguousarray(picture[np.ix_(row, column)]), (
        slice(first_row - top, max(last_row - top, first_row - top)),
        slice(first_column - left, max(last_column - left, first_column - left)),
    )
