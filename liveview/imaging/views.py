"""What else contrast can show: significance, movement, trail."""

from __future__ import annotations

import numpy as np

from liveview.imaging.cv import cv2
from liveview.imaging.noise import PhotonTransfer
from liveview.model import Light

TRAIL_S = 3.0
"""Time in which a peak fades to a third."""


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
