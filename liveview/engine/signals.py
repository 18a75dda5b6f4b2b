"""The last seconds of one of the detectors' signals, thinned to its peaks."""

from __future__ import annotations

import threading
from collections import deque

SPAN_S = 12.0
PEAK_S = 0.05
"""Of each such piece of time the largest value is kept: a spark lasts one frame."""


class Signals:
    """Peaks of one signal; written by one thread, read by another.

    Parameters
    ----------
    span_s : float
        How far back it reaches.
    """

    def __init__(self, span_s: float = SPAN_S) -> None:
        self._peaks: deque[tuple[float, float]] = deque(maxlen=round(span_s / PEAK_S))
        self._piece: int | None = None
        self._lock = threading.Lock()

    def add(self, time_s: float, value: float | None) -> None:
        """The next value; None where there is none. A time that runs backwards starts again."""
        if value is None:
            return
        piece = int(time_s // PEAK_S)
        with self._lock:
            if self._piece is not None and piece < self._piece:
                self._peaks.clear()
            if self._peaks and piece == self._piece:
                if value > self._peaks[-1][1]:
                    self._peaks[-1] = (time_s, value)
                return
            self._piece = piece
            self._peaks.append((time_s, value))

    def recent(self) -> tuple[tuple[float, float], ...]:
        """Pairs of time and value, oldest first."""
        with self._lock:
            return tuple(self._peaks)
