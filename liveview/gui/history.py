"""The last seconds of a reading, for steadiness and for the memory ring's trace."""

from __future__ import annotations

from collections import deque


class History:
    """Values with their times over a span; older ones fall out.

    Parameters
    ----------
    span_s : float
        How far back it reaches.
    most : int
        Values kept at most: closer ones than ``span_s / most`` are merged to the larger deviation.
    """

    def __init__(self, span_s: float, most: int = 240) -> None:
        self.span_s = span_s
        self._most = most
        self._values: deque[tuple[float, float]] = deque()

    def add(self, time_s: float, value: float) -> None:
        """A newer value; a time that runs backwards starts again."""
        if self._values and time_s < self._values[-1][0]:
            self._values.clear()
        if self._values and time_s - self._values[-1][0] < self.span_s / self._most:
            if abs(value) > abs(self._values[-1][1]):
                self._values[-1] = (self._values[-1][0], value)
            return
        self._values.append((time_s, value))
        while self._values and time_s - self._values[0][0] > self.span_s:
            self._values.popleft()

    def clear(self) -> None:
        """Forget all."""
        self._values.clear()

    def range(self, now_s: float, seconds: float) -> tuple[float, float] | None:
        """Lowest and highest value of the last ``seconds``; None without any."""
        recent = [value for time_s, value in self._values if now_s - time_s <= seconds]
        return (min(recent), max(recent)) if recent else None

    def trace(self, now_s: float) -> tuple[tuple[float, float], ...]:
        """Pairs of age (share of the span) and value, newest first."""
        return tuple(
            ((now_s - time_s) / self.span_s, value) for time_s, value in reversed(self._values)
        )
