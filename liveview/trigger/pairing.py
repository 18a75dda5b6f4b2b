"""Joins what was seen with what was heard of the same spark. Pure."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace
from typing import Literal

from liveview.model import Cause, Spotted

On = Literal["off", "flash", "sound", "either", "both"]

SLACK_S = 0.003
"""Always allowed between flash and crack, beside their uncertainties."""
PATH_SHARE = 0.5
"""How wrong the microphone's distance may be, as a share of it."""
PATIENCE_S = 0.5
"""How long a flash waits for a sound that does not come in at all."""
MOST_WAITING = 256


class Pairing:
    """Holds spots until it is known whether the other sense confirms them.

    ``flash`` and ``sound`` pass one sense on at once; ``both`` passes only confirmed sparks;
    ``either`` passes all, confirmed ones once, with cause ``BOTH``. Without sound ``either`` is
    ``flash``.

    Parameters
    ----------
    on : str
        The setting ``catch.on``.
    path_s : float
        Travel time of the sound, already taken off the cracks' times; its share ``PATH_SHARE``
        widens the window.
    least : float
        Strength that a flash needs to pass alone. Weaker ones only confirm.
    least_crack : float, optional
        The same of a crack; ``least`` when absent.
    """

    def __init__(
        self, on: On, path_s: float = 0.0, least: float = 0.0, least_crack: float | None = None
    ) -> None:
        self.on = on
        self.path_s = path_s
        self.least = least
        self.least_crack = least if least_crack is None else least_crack
        self._flashes: deque[Spotted] = deque(maxlen=MOST_WAITING)
        self._cracks: deque[Spotted] = deque(maxlen=MOST_WAITING)

    @property
    def joins(self) -> bool:
        """True where both senses matter."""
        return self.on in ("either", "both")

    def window_s(self, flash: Spotted, crack: Spotted) -> float:
        """Largest distance in time at which the two are one spark."""
        errors = math.hypot(flash.error_s, crack.error_s)
        return SLACK_S + PATH_SHARE * self.path_s + 3.0 * errors

    def add(self, spotted: Spotted) -> tuple[Spotted, ...]:
        """A new spot; gives what passes at once."""
        if self.on == "off":
            return ()
        if not self.joins:
            passes = spotted.cause.value == self.on and self._alone(spotted)
            return (spotted,) if passes else ()
        mine, others = self._flashes, self._cracks
        if spotted.cause is Cause.SOUND:
            mine, others = others, mine
        partner = self._partner(spotted, others)
        if partner is None:
            mine.append(spotted)
            return ()
        others.remove(partner)
        return (_joined(spotted, partner),)

    def _partner(self, spotted: Spotted, others: deque[Spotted]) -> Spotted | None:
        def apart(other: Spotted) -> float:
            return abs(other.time_s - spotted.time_s)

        near = [o for o in others if apart(o) <= self.window_s(spotted, o)]
        return min(near, key=apart, default=None)

    def tick(self, seen_s: float, heard_s: float | None) -> tuple[Spotted, ...]:
        """Frames before ``seen_s`` were watched, sound before ``heard_s`` heard (None: no sound).

        Gives the spots that nothing can confirm any more and that pass nevertheless.
        """
        heard = float("-inf") if heard_s is None else heard_s
        patience = 0.0 if heard_s is None else PATIENCE_S
        late: list[Spotted] = []
        while self._flashes and self._expired(self._flashes[0], heard, seen_s, patience):
            late.append(self._flashes.popleft())
        while self._cracks and self._expired(self._cracks[0], seen_s, heard, PATIENCE_S):
            late.append(self._cracks.popleft())
        if self.on == "both":
            return ()
        alone = [spot for spot in late if self._alone(spot)]
        return tuple(sorted(alone, key=lambda s: s.time_s))

    def _alone(self, spot: Spotted) -> bool:
        """Whether it is strong enough to pass without the other sense."""
        return spot.strength >= (self.least_crack if spot.cause is Cause.SOUND else self.least)

    def flush(self) -> tuple[Spotted, ...]:
        """Nothing more will come."""
        return self.tick(float("inf"), float("inf"))

    def _expired(self, spot: Spotted, other_s: float, own_s: float, patience: float) -> bool:
        limit = spot.time_s + self.window_s(spot, spot)
        return other_s > limit or own_s > limit + patience


def _joined(a: Spotted, b: Spotted) -> Spotted:
    """The flash's place; the time of the surer one; the stronger's strength."""
    flash, crack = (a, b) if a.cause is Cause.FLASH else (b, a)
    surer = min(flash, crack, key=lambda s: s.error_s)
    return replace(
        flash,
        time_s=surer.time_s,
        error_s=surer.error_s,
        cause=Cause.BOTH,
        strength=max(flash.strength, crack.strength),
    )
