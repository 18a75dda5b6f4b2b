"""How the engine's threads wait for news without polling."""

from __future__ import annotations

import threading


class Bell:
    """Rung whenever there is something new; every waiter remembers what it last heard.

    Nothing is lost between two waits: a ring that came while nobody waited ends the next wait
    at once, because the count has moved on.
    """

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._count = 0

    @property
    def count(self) -> int:
        """How often it was rung."""
        return self._count

    def ring(self) -> None:
        """Wake everybody who waits."""
        with self._condition:
            self._count += 1
            self._condition.notify_all()

    def wait(self, heard: int, timeout_s: float | None = None) -> int:
        """Wait until the count differs from ``heard`` or the time is over; gives the count."""
        with self._condition:
            self._condition.wait_for(lambda: self._count != heard, timeout_s)
            return self._count
