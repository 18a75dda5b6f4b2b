"""A camera with the manners of real drivers.

It takes its scene from a real capture on a real file and exposes it: light times exposure, noise,
clipping, a transfer curve, and frames that lag behind their settings.
"""

from __future__ import annotations

from collections import deque
from pathlib import Path
from typing import Any

import numpy as np

from liveview.imaging.cv import cv2
from liveview.sources.controls import TENTHS_OF_MS, scale_for

AUTO, EXPOSURE, GAIN = cv2.CAP_PROP_AUTO_EXPOSURE, cv2.CAP_PROP_EXPOSURE, cv2.CAP_PROP_GAIN


class Sensor:
    """A camera behind a driver.

    Parameters
    ----------
    path : Path
        Recording that serves as the scene, played round and round.
    backend : int
        Whose units the driver speaks.
    light : float
        Brightness of the scene: share of white at 10 ms.
    obeys : bool
        False for a driver that takes values and does nothing.
    manual_code : float or None
        The code that switches automatic exposure off; None where nothing does.
    """

    def __init__(
        self,
        path: Path,
        *,
        backend: int = cv2.CAP_V4L2,
        light: float = 0.3,
        obeys: bool = True,
        remembers: bool = True,
        manual_code: float | None = 1.0,
        lag: int = 4,
    ) -> None:
        self._capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
        assert self._capture.isOpened()
        self._scale = scale_for(backend) or TENTHS_OF_MS
        self._light = light
        self._obeys = obeys
        self._remembers = remembers
        self._manual_code = manual_code
        self._rng = np.random.default_rng(5)
        self.props = {
            cv2.CAP_PROP_BACKEND: float(backend),
            AUTO: 3.0,
            EXPOSURE: self._scale.to_value(0.02),
            GAIN: 10.0,
            cv2.CAP_PROP_AUTO_WB: 1.0,
        }
        self.exposure_s = 0.02
        self._in_flight: deque[tuple[float, float]] = deque([(0.02, 10.0)] * lag, maxlen=lag + 1)
        self.frames = 0
        self.dies_after: int | None = None
        self.cheat = 1.0
        """Factor of brightness that it applies by itself and does not report."""

    def get(self, prop: int, /) -> float:
        return self.props.get(prop, 0.0)

    def set(self, prop: int, value: float, /) -> bool:
        if prop == AUTO:
            takes = value in (self._manual_code, 3.0)
            if takes:
                self.props[AUTO] = value
            return takes
        if prop in self.props and self._remembers:
            self.props[prop] = value
        return True

    def grab(self) -> bool:
        self.frames += 1
        if self.dies_after is not None and self.frames > self.dies_after:
            return False
        if not self._capture.grab():
            self._capture.set(cv2.CAP_PROP_POS_FRAMES, 0)
            assert self._capture.grab()
        self._expose()
        return True

    def _expose(self) -> None:
        automatic = self._manual_code is None or self.props[AUTO] != self._manual_code
        if automatic:
            # the camera's own automatic aims at a third of white and does not report it
            self.exposure_s += 0.5 * (0.01 * 0.33 / self._light - self.exposure_s)
        elif self._obeys:
            self.exposure_s = self._scale.to_seconds(self.props[EXPOSURE])
        self._in_flight.append((self.exposure_s, self.props[GAIN] if self._obeys else 10.0))

    def retrieve(self, image: Any = None, /) -> tuple[bool, Any]:
        done, scene = self._capture.retrieve()
        assert done
        exposure_s, gain = self._in_flight[0]
        light = scene / 255.0 * self._light * exposure_s / 0.01 * (gain / 10.0) * self.cheat
        codes = 255 * np.clip(light, 0, 1) ** (1 / 2.2)
        noisy = codes + self._rng.normal(0, 1.5, codes.shape)
        return True, np.clip(np.rint(noisy), 0, 255).astype(np.uint8)

    def release(self) -> None:
        self._capture.release()
