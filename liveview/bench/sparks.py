"""When the sparks fly: one list for the flash, the front, the kernel and the crack."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

_KEPT_BY_HAND = 256


@dataclass(frozen=True, slots=True)
class SparkAt:
    """One spark. ``number`` counts the planned ones; those set off by hand have -1, -2, ..."""

    time_s: float
    number: int


class SparkTimes:
    """Sparks at a break rate with some jitter, while a switch is on, and those set off by hand.

    Parameters
    ----------
    first_s, rate_hz, jitter, count :
        As in ``SparkSettings``.
    seed : int
    switched_on : callable
        Whether the coil works at a moment.
    """

    def __init__(
        self,
        first_s: float,
        rate_hz: float,
        jitter: float,
        count: int | None,
        seed: int,
        switched_on: Callable[[float], bool],
    ) -> None:
        self._first_s = first_s
        self._rate_hz = rate_hz
        self._jitter = jitter
        self._count = count
        self._on = switched_on
        self._moves = np.random.default_rng([seed, 555]).uniform(-0.5, 0.5, 1024)
        self._by_hand: tuple[SparkAt, ...] = ()
        self._pressed = 0

    def set_off(self, time_s: float) -> None:
        """One more spark at this moment."""
        self._pressed += 1
        self._by_hand = (*self._by_hand, SparkAt(time_s, -self._pressed))[-_KEPT_BY_HAND:]

    def planned(self, number: int) -> float:
        """Time of the planned spark ``number`` = 0, 1, ..."""
        moved = self._jitter * float(self._moves[number % 1024]) if number else 0.0
        return self._first_s + (number + moved) / self._rate_hz

    def between(self, start_s: float, end_s: float) -> list[SparkAt]:
        """Sparks in ``start_s <= time < end_s``, in order."""
        low = max(0, math.floor((start_s - self._first_s) * self._rate_hz) - 1)
        high = math.ceil((end_s - self._first_s) * self._rate_hz) + 1
        if self._count is not None:
            high = min(high, self._count)
        found = [s for s in self._by_hand if start_s <= s.time_s < end_s]
        for number in range(low, high):
            time_s = self.planned(number)
            if start_s <= time_s < end_s and self._on(time_s):
                found.append(SparkAt(time_s, number))
        return sorted(found, key=lambda spark: spark.time_s)
