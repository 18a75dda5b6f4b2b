"""Time along the ring of the Review page: which angle is which moment, and where marks stand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from liveview.gui.words import MINUS, THIN

RING_HALF = 140.0
"""Degrees from the top to either end of the ring of time, which runs clockwise."""

CLOSEST_S = 1e-6


@dataclass(frozen=True, slots=True)
class TimeScale:
    """The stretch of time that the ring shows, seconds on the event's clock.

    ``low`` and ``high`` are the event's ends, ``start`` and ``end`` what is shown of it, ``zero_s``
    the moment of the spark.
    """

    low: float
    high: float
    start: float
    end: float
    zero_s: float

    @classmethod
    def of(cls, low: float, high: float, zero_s: float) -> TimeScale:
        """All of an event; one without length gets a little room."""
        if high - low < CLOSEST_S:
            low, high = low - 0.0005, high + 0.0005
        return cls(low, high, low, high, zero_s)

    def angle(self, time_s: float) -> float:
        """Compass angle of a moment; beyond what is shown it stops at the ends."""
        share = (time_s - self.start) / (self.end - self.start)
        return (min(max(share, 0.0), 1.0) * 2 - 1) * RING_HALF

    def time(self, angle_deg: float) -> float:
        """Moment at a compass angle; in the gap at the bottom the nearer end."""
        wrapped = (angle_deg + 180.0) % 360.0 - 180.0
        share = min(max(wrapped / (2 * RING_HALF) + 0.5, 0.0), 1.0)
        return self.start + share * (self.end - self.start)

    def shows(self, time_s: float) -> bool:
        """True inside what is shown."""
        return self.start <= time_s <= self.end

    @property
    def whole(self) -> bool:
        """True while all of the event is shown."""
        return self.start <= self.low and self.end >= self.high

    def zoomed(self, factor: float, about_s: float, least_s: float) -> TimeScale:
        """Show ``factor`` times as much time, the moment ``about_s`` staying at its angle."""
        span = (self.end - self.start) * factor
        span = min(max(span, least_s, CLOSEST_S), self.high - self.low)
        share = (about_s - self.start) / (self.end - self.start)
        return self._at(about_s - share * span, span)

    def holding(self, time_s: float) -> TimeScale:
        """Moved just so far that ``time_s`` is well inside."""
        span = self.end - self.start
        margin = 0.05 * span
        start = min(self.start, time_s - margin)
        start = max(start, time_s + margin - span)
        return self._at(start, span)

    def _at(self, start: float, span: float) -> TimeScale:
        start = min(max(start, self.low), max(self.high - span, self.low))
        return replace(self, start=start, end=start + span)

    def ticks(self, most: int = 9) -> list[tuple[float, str]]:
        """Round moments relative to the spark: (event time, words)."""
        step = nice_step((self.end - self.start) / most)
        first = math.ceil((self.start - self.zero_s) / step - 1e-9)
        last = math.floor((self.end - self.zero_s) / step + 1e-9)
        unit, size = time_unit(max(abs(self.start - self.zero_s), abs(self.end - self.zero_s)))
        digits = max(0, -math.floor(math.log10(step / size) + 1e-9))
        return [
            (self.zero_s + k * step, _tick_words(k * step / size, digits, unit))
            for k in range(first, last + 1)
        ]


def _tick_words(value: float, digits: int, unit: str) -> str:
    if value == 0:
        return "0"
    sign = "+" if value > 0 else MINUS
    return f"{sign}{abs(value):.{digits}f}{THIN}{unit}"


def time_unit(size_s: float) -> tuple[str, float]:
    """Unit in which times up to this size are read well."""
    for unit, size in (("s", 1.0), ("ms", 1e-3)):
        if size_s >= size * 0.999:
            return unit, size
    return "\u00b5s", 1e-6


def since_words(seconds: float, step_s: float) -> str:
    """A time from the spark, as fine as frames that are ``step_s`` apart can tell."""
    unit, size = time_unit(max(abs(seconds), step_s))
    digits = max(0, math.ceil(-math.log10(max(step_s / size, 1e-9)) - 1e-9))
    text = f"{abs(seconds) / size:.{min(digits, 4)}f}"
    if float(text) == 0.0:
        return f"0{THIN}{unit}"
    return ("+" if seconds > 0 else MINUS) + text + f"{THIN}{unit}"


def nice_step(raw: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below ``raw``."""
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1.0, 2.0, 5.0):
        if raw <= factor * power * 1.0001:
            return factor * power
    return 10.0 * power
