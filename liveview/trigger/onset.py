"""Sudden sounds of any kind, timed at their beginning. Pure.

For checking a clock a clap serves as well as a spark, so this asks for nothing but suddenness:
the crack detector, which must not take a clap for a spark, would leave it out.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from liveview.model import SoundBlock

LOUDER = 10.0
"""How many times the usual level (rms of the sample-to-sample change) an onset must be."""
LEAST = 1e-4
"""And at least so large, full scale 1.0: silence has no level."""
EDGE = 0.3
"""Share of its peak at which a sound begins."""
PEAK_S = 0.003
"""The peak is looked for so long after the first loud sample."""
REST_S = 0.3
"""After a sound its echoes are not heard for so long."""
KNOWN_BLOCKS = 50
FEWEST_BLOCKS = 5


class OnsetDetector:
    """Finds when sudden sounds begin in a stream of blocks."""

    def __init__(self) -> None:
        self._levels: deque[float] = deque(maxlen=KNOWN_BLOCKS)
        self._tail: NDArray[np.float64] = np.zeros(0)
        self._tail_s = 0.0
        self._deaf_until_s = float("-inf")

    @property
    def ready(self) -> bool:
        """True once the usual level is known."""
        return len(self._levels) >= FEWEST_BLOCKS

    def hear(self, block: SoundBlock) -> tuple[float, ...]:
        """Times of the sounds that begin in what has been heard so far, seconds."""
        sound = np.asarray(block.samples, np.float64).mean(axis=1)
        rate = block.rate_hz
        if block.lost_before or self._tail.size == 0:
            self._tail, start_s = np.zeros(0), block.start_s
        else:
            start_s = block.start_s - len(self._tail) / rate
        whole = np.concatenate((self._tail, sound))
        change = np.abs(np.diff(whole))
        ahead = round(PEAK_S * rate)
        found = []
        if self.ready:
            threshold = max(LOUDER * float(np.median(self._levels)), LEAST)
            for k in np.flatnonzero(change[: max(len(change) - ahead, 0)] > threshold):
                time_s = start_s + k / rate
                if time_s >= self._deaf_until_s:
                    found.append(start_s + _edge(change, int(k), ahead) / rate)
                    self._deaf_until_s = time_s + REST_S
        if len(sound) > 1 and block.start_s >= self._deaf_until_s:
            self._levels.append(float(np.sqrt(np.mean(np.diff(sound) ** 2))))
        self._tail = whole[-(ahead + 1) :]
        return tuple(found)


def _edge(change: NDArray[np.float64], first: int, ahead: int) -> int:
    """The first sample that has a good share of the peak that follows."""
    near = change[first : first + ahead + 1]
    return first + int(np.argmax(near >= EDGE * near.max()))
