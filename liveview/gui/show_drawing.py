"""The animated drawing of the rig as pixels for the audience's frame."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import cast

import numpy as np

from liveview.gui.explain import Explanation
from liveview.model import Bytes, Reading
from liveview.settings import Settings

EVERY_S = 1 / 15
"""It moves slowly: this often is enough."""

SMALLEST = (200, 120)


class CornerDrawing:
    """Draws on request, not more often than anybody sees."""

    def __init__(self, clock: Callable[[], float] = time.perf_counter) -> None:
        self._clock = clock
        self._explanation = Explanation(clock)
        self._pixels: Bytes | None = None
        self._drawn_s = float("-inf")

    def set_rig(self, settings: Settings) -> None:
        """The rig to draw."""
        self._explanation.set_rig(settings)

    def set_reading(self, reading: Reading) -> None:
        """Where the blade stands."""
        self._explanation.set_reading(reading)

    def begin(self) -> None:
        """From the beginning of the story."""
        self._explanation.begin()
        self._pixels = None

    def pixels(self, width: int, height: int) -> Bytes | None:
        """The present moment, uint8 (height, width, 4); None in too small a place."""
        if width < SMALLEST[0] or height < SMALLEST[1]:
            return None
        now = self._clock()
        fits = self._pixels is not None and self._pixels.shape[:2] == (height, width)
        if not fits or now - self._drawn_s >= EVERY_S:
            self._drawn_s = now
            image = self._explanation.picture(width, height, far=True)
            bits = image.constBits()
            assert bits is not None
            bits.setsize(image.sizeInBytes())
            memory = cast(memoryview, bits)  # a pointer with a size serves as a buffer
            rows = np.frombuffer(memory, np.uint8).reshape(height, image.bytesPerLine() // 4, 4)
            self._pixels = rows[:, :width].copy()
        return self._pixels
