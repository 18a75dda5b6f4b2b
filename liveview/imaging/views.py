"""What else contrast can show: significance, movement, trail, arrows."""

from __future__ import annotations

import numpy as np

from liveview.imaging.cv import cv2
from liveview.imaging.noise import PhotonTransfer
from liveview.model import Bytes, Light

TRAIL_S = 3.0
"""Time in which a peak fades to a third."""
ARROW_S = 0.1
"""An arrow is as long as the way covered in this time."""
_GRID = 8
_REDUCED = 4
_FLOW_MEMORY_S = 0.25
_STANDS_OUT = 4.0


def inverse_noise(
    transfer: PhotonTransfer, reference: Light, dark: Light | None, reference_frames: float
) -> Light:
    """``1/sigma_C`` per pixel for single frames; 0 where the reference has no light.

    Multiplied with contrast it gives significance: contrast over its own noise.
    """
    below = reference if dark is None else cv2.subtract(reference, dark)
    deviation = np.sqrt(transfer.variance_at(reference) * (1 + 1 / reference_frames))
    answer = np.zeros(reference.shape, np.float32)
    usable = (np.asarray(below) > 0) & (deviation > 0)
    np.divide(below, deviation, out=answer, where=usable, casting="unsafe")
    return answer


class Movement:
    """Difference of the contrast from frame to frame."""

    def __init__(self) -> None:
        self._last: Light | None = None

    def restart(self) -> None:
        """The next frame has nothing to be compared with."""
        self._last = None

    def show(self, contrast: Light, out: Light) -> Light:
        """Contrast less that of the frame before, into ``out``; 0 for the first frame."""
        if self._last is None or self._last.shape != contrast.shape:
            self._last = contrast.copy()
        cv2.subtract(contrast, self._last, out)
        np.copyto(self._last, contrast)
        return out


class Trail:
    """The strongest contrast of the last seconds, of either sign, fading."""

    def __init__(self) -> None:
        self._high: Light | None = None
        self._low: Light | None = None
        self._time_s = 0.0

    def restart(self) -> None:
        """Forget what passed."""
        self._high = self._low = None

    def show(self, contrast: Light, time_s: float, out: Light) -> Light:
        """Brightest plus darkest of the last seconds into ``out``.

        The two are faded with the time passed. In noise alone they cancel; where something
        passed the stronger of the two is left, less the other.
        """
        calm = cv2.GaussianBlur(contrast, (5, 5), 1.2)
        if self._high is None or self._low is None or self._high.shape != contrast.shape:
            self._high, self._low = np.zeros_like(contrast), np.zeros_like(contrast)
            self._time_s = time_s
        fade = float(np.exp(-max(time_s - self._time_s, 0.0) / TRAIL_S))
        self._time_s = time_s
        self._high *= np.float32(fade)
        self._low *= np.float32(fade)
        cv2.max(self._high, calm, self._high)
        cv2.min(self._low, calm, self._low)
        cv2.add(self._high, self._low, out)
        return out


ARROWS_LONGEST_S = 0.09
"""Between two frames; in longer, a candle's flow goes farther than its pattern is wide, and arrows
would point anywhere. Twelve frames a second are enough."""


class Arrows:
    """Speed of the pattern on a grid, by optical flow on the reduced contrast picture.

    Dense inverse search (Kroeger et al. 2016, "Fast optical flow using dense inverse search").
    It is the pattern that moves, not necessarily the air; only where the pattern stands out of
    the noise is an arrow drawn.
    """

    def __init__(self) -> None:
        self._flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_ULTRAFAST)
        self.restart()

    def restart(self) -> None:
        """The next frame has nothing to be compared with."""
        self.too_far = False
        self._last: Bytes | None = None
        self._time_s = 0.0
        self._speed: Light | None = None

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
            None for the first frame, for pictures too small for it, and (``too_far``) when more
            than ``ARROWS_LONGEST_S`` have passed since the frame before.
        """
        rows, columns = (size // _REDUCED for size in contrast.shape)
        if min(rows, columns) < 4 * _GRID:
            return None
        small = cv2.resize(contrast, (columns, rows), interpolation=cv2.INTER_AREA)
        codes = np.empty((rows, columns), np.uint8)
        cv2.addWeighted(small, 100 / scale, small, 0.0, 128.0, codes, dtype=cv2.CV_8U)
        last, self._last = self._last, codes
        passed, self._time_s = time_s - self._time_s, time_s
        self.too_far = last is not None and passed > ARROWS_LONGEST_S
        if last is None or last.shape != codes.shape or not 0.0 < passed <= ARROWS_LONGEST_S:
            return None
        start = np.zeros((rows, columns, 2), np.float32)
        moved = np.asarray(self._flow.calc(last, codes, start), np.float32)
        speed = moved * np.float32(_REDUCED / passed)
        share = float(1 - np.exp(-passed / _FLOW_MEMORY_S))
        if self._speed is None or self._speed.shape != speed.shape:
            self._speed = speed
        else:
            cv2.accumulateWeighted(speed, self._speed, share)
        at = slice(_GRID // 2, None, _GRID)
        grid = self._speed[at, at].copy()
        grid[~self._stands_out(np.asarray(small, np.float32), sigma)[at, at]] = np.nan
        return grid

    def _stands_out(
        self, small: Light, sigma: float
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        box = (_GRID, _GRID)
        mean = cv2.blur(small, box)
        variance = np.asarray(cv2.blur(small * small, box)) - np.asarray(mean) ** 2
        noise = sigma / _REDUCED
        return np.asarray(variance > (_STANDS_OUT * noise) ** 2, np.bool_)


def draw_arrows(speeds: Light, picture: Bytes) -> None:
    """Draw the speeds of :meth:`Arrows.see` into a BGRA picture of the same box."""
    step = _GRID * _REDUCED
    for row, column in zip(*np.nonzero(np.isfinite(speeds[:, :, 0])), strict=True):
        vx, vy = speeds[row, column] * ARROW_S
        if np.hypot(vx, vy) < 2.0:
            continue
        x, y = (column + 0.5) * step, (row + 0.5) * step
        start, end = (round(x), round(y)), (round(x + vx), round(y + vy))
        # A dark rim keeps the arrow visible on bright and dark alike.
        cv2.arrowedLine(picture, start, end, (0, 0, 0, 255), 3, cv2.LINE_AA, tipLength=0.35)
        cv2.arrowedLine(picture, start, end, (255, 255, 255, 255), 1, cv2.LINE_AA, tipLength=0.35)
