"""Slow replay: which frame of an event is shown when. Pure: fed with time, asked for a frame."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

RATES = (
    *(Fraction(1, part) for part in (1000, 400, 200, 100, 40, 20, 10, 4, 2)),
    *(Fraction(times) for times in (1, 2, 4)),
)
"""Rates offered, as parts of real time."""


def rate_words(rate: Fraction | float) -> str:
    """A rate in words: ``"1/40 of real time"``, ``"real time"``, ``"2 times real time"``."""
    exact = Fraction(rate).limit_denominator(100_000)
    if exact == 1:
        return "real time"
    if exact > 1:
        return f"{float(exact):g} times real time"
    if exact.numerator == 1:
        return f"1/{exact.denominator} of real time"
    return f"{float(exact):.3g} of real time"


def parse_rate(text: str) -> Fraction:
    """``"1/40"``, ``"0.025"`` or ``"2"`` as a rate.

    Raises
    ------
    ValueError
        Not a number above zero, or beyond 1/1 000 000 .. 1000.
    """
    try:
        rate = Fraction(text.strip())
    except ZeroDivisionError as error:
        raise ValueError(f"'{text}' is not a rate") from error
    if not Fraction(1, 1_000_000) <= rate <= 1000:
        raise ValueError(f"'{text}' is not between 1/1000000 and 1000")
    return rate


@dataclass(frozen=True, slots=True)
class Player:
    """State of a replay. Every method gives a new state.

    ::

        stopped --play--> playing --end of the stretch--> stopped (or again from its start)
           ^                |
           '---- stop ------'    step and seek work in both; step stops

    Attributes
    ----------
    times_s : sequence of float
        Time of each frame, not falling.
    position_s : float
        Where the replay stands, in event time.
    index : int
        The frame to show: the last begun by the position, or the one that was stepped to.
    rate : Fraction
        Event seconds per second of the viewer.
    first, last : int
        The stretch that is played, frame indices, both inclusive.
    loop : bool
        Begin again at its end.
    """

    times_s: Sequence[float]
    position_s: float
    index: int
    first: int
    last: int
    rate: Fraction = Fraction(1, 40)
    playing: bool = False
    loop: bool = False

    @classmethod
    def of(cls, times_s: Sequence[float], at: int = 0) -> Player:
        """Stopped at frame ``at``, the whole event as the stretch.

        Raises
        ------
        ValueError
            No frames.
        """
        if not times_s:
            raise ValueError("an event without frames cannot be replayed")
        return cls(times_s, times_s[at], at, 0, len(times_s) - 1)

    @property
    def words(self) -> str:
        """The rate in words."""
        return rate_words(self.rate)

    def play(self) -> Player:
        """Go; from the start when it stands at the end."""
        here = self.seek(self.first) if self.index >= self.last else self
        return replace(here, playing=True)

    def stop(self) -> Player:
        """Stand still."""
        return replace(self, playing=False)

    def advance(self, seconds: float) -> Player:
        """What the state is after so much of the viewer's time."""
        if not self.playing or seconds <= 0:
            return self
        start, end = self.times_s[self.first], self._end_s
        position = self.position_s + seconds * float(self.rate)
        if position >= end:
            if not self.loop or end <= start:
                return self.seek(self.last).stop()
            position = start + (position - start) % (end - start)
        # The next frame may begin before the last one of the stretch has been shown long enough.
        there = self._standing(position)
        return replace(there, index=min(there.index, self.last))

    def _standing(self, position_s: float) -> Player:
        index = max(0, bisect_right(self.times_s, position_s) - 1)
        return replace(self, position_s=position_s, index=index)

    @property
    def _end_s(self) -> float:
        """The stretch's end: the last frame is shown as long as the one before it."""
        last = self.times_s[self.last]
        before = self.times_s[max(self.first, self.last - 1)]
        return last + (last - before)

    def step(self, frames: int) -> Player:
        """Stop, and go by whole frames; clipped to the event."""
        return self.seek(self.index + frames).stop()

    def seek(self, index: int) -> Player:
        """Go to a frame; clipped to the event."""
        index = min(max(0, index), len(self.times_s) - 1)
        return replace(self, position_s=self.times_s[index], index=index)

    def seek_time(self, time_s: float) -> Player:
        """Go to a time; clipped to the event."""
        low, high = self.times_s[0], self.times_s[-1]
        return self._standing(min(max(low, time_s), high))

    def between(self, first: int, last: int) -> Player:
        """Play this stretch only.

        Raises
        ------
        ValueError
            Not in order or outside the event.
        """
        if not 0 <= first <= last < len(self.times_s):
            raise ValueError(f"frames {first} to {last} are not a stretch of this event")
        return replace(self, first=first, last=last)

    def faster(self, steps: int = 1) -> Player:
        """The next rate offered (negative: slower)."""
        if steps < 0:
            lower = [rate for rate in RATES if rate < self.rate]
            rate = lower[max(steps, -len(lower))] if lower else RATES[0]
        else:
            higher = [rate for rate in RATES if rate > self.rate]
            rate = higher[min(steps, len(higher)) - 1] if higher and steps else self.rate
        return replace(self, rate=rate)
