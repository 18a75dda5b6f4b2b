"""Whether a camera's exposure or gain changed while it runs, by asking its driver now and then."""

from __future__ import annotations

from liveview.imaging.cv import cv2
from liveview.sources.controls import ExposureScale, Readable, exposure_of, scale_for

LOOK_S = 1.0
"""How often the driver is asked; an answer takes microseconds."""

GAIN_STEP = 0.5
"""Drivers count gain in whole numbers."""


class ExposureWatch:
    """Follows exposure and gain as the driver reports them.

    An automatic that reports nothing cannot be followed; a hand, another program, or an automatic
    that does report is.

    Parameters
    ----------
    device : Readable
    """

    def __init__(self, device: Readable) -> None:
        self._device = device
        self._scale: ExposureScale | None = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
        self._exposure_s, self._gain = self._exposure(), self._gained()
        self._next_s = float("-inf")

    def changed(self, now_s: float) -> dict[str, float]:
        """What changed since the last call, by its name in ``SourceInfo``, with its new value."""
        if now_s < self._next_s:
            return {}
        self._next_s = now_s + LOOK_S
        found: dict[str, float] = {}
        exposure_s, gain = self._exposure(), self._gained()
        if exposure_s is not None:
            if self._exposure_s is not None and not self._same(self._exposure_s, exposure_s):
                found["exposure_s"] = exposure_s
            self._exposure_s = exposure_s
        if gain is not None:
            if self._gain is not None and abs(gain - self._gain) >= GAIN_STEP:
                found["gain"] = gain
            self._gain = gain
        return found

    def _exposure(self) -> float | None:
        return exposure_of(self._device, self._scale)

    def _gained(self) -> float | None:
        gain = self._device.get(cv2.CAP_PROP_GAIN)
        return gain if gain >= 0.0 else None

    def _same(self, before_s: float, now_s: float) -> bool:
        return self._scale is not None and self._scale.agrees(before_s, now_s)
