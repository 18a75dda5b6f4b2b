"""The newest numbers of one thread, for others to look at."""

from __future__ import annotations

import threading
from collections import deque


class Newest:
    """A few numbers, the oldest of which make room for new ones; for any thread.

    A bare deque must not change while somebody copies it, and a copy may let other threads run:
    a collection of garbage in the middle is enough.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int) -> None:
        self._values: deque[float] = deque(maxlen=most)
        self._lock = threading.Lock()

    @property
    def last(self) -> float | None:
        """The newest one, None when there is none."""
        with self._lock:
            return self._values[-1] if self._values else None

    def add(self, value: float) -> None:
        """One more."""
        with self._lock:
            self._values.append(value)

    def clear(self) -> None:
        """Forget all."""
        with self._lock:
            self._values.clear()

    def all(self) -> tuple[float, ...]:
        """All that are kept, oldest first."""
        with self._lock:
            return tuple(self._values)
