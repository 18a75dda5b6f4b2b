"""A camera that delivers the same picture again and again and calls it success."""

from __future__ import annotations

import zlib

import numpy as np

from liveview.model import Pixels

FROZEN_S = 3.0
FROZEN_FRAMES = 30
_STEP = 8


class FrozenWatch:
    """Tells when a picture that used to change has stood still for too long.

    Sensor noise makes every true picture differ from the last. Pictures of one value throughout
    (a capped lens at code 0) and sources that never changed (a still from a virtual camera) are
    let pass.
    """

    def __init__(self) -> None:
        self._check: int | None = None
        self._since_s = 0.0
        self._same = 0
        self._has_changed = False

    def frozen(self, pixels: Pixels, time_s: float) -> bool:
        """Look at one picture; True when it has been the same for ``FROZEN_S`` seconds."""
        sample = np.ascontiguousarray(pixels[::_STEP])
        check = zlib.crc32(sample.data)
        if check != self._check:
            self._has_changed = self._has_changed or self._check is not None
            self._check, self._since_s, self._same = check, time_s, 0
            return False
        self._same += 1
        return (
            self._has_changed
            and self._same >= FROZEN_FRAMES
            and time_s - self._since_s >= FROZEN_S
            and bool(sample.min() != sample.max())
        )
