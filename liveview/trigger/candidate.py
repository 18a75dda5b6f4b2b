"""Was it a flash? A suspicion is judged by what the same place did before and does afterwards.

::

    flash      __|__        back at once
    step       __|'''       stays: a lamp, a hand, the exposure
    knock      __|.|'.      swings through: a shaken picture or blade
    flicker    _|__|__|_    comes and goes regularly
    burst      __||_|_|     several flashes: back in between, never below
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from liveview.model import FrameStamp

SHARE = 0.35
"""Of the flash: what is smaller than this afterwards is not the same thing."""
CLEAR = 3.0
"""And smaller than this many sigma is noise."""
NEAR = 2
"""Frames on each side of which one may be bright, too: a flash between two exposures."""
REST = 0.2
"""Of the flash: more than this in the other near frames is something slower."""
MOST_CROWD = 2
"""Tiles elsewhere that may change in the frame of a tile's flash: more is movement."""
RESTLESS = 4.5
"""A flash is that many standard deviations of what its place did just before and after."""
MAD = 1.4826
FEWEST_AROUND = 6
STIRRED = 2.0
"""A flash on the mirror is that many times as strong as what its rows do before and after."""
LEAST_STIR = 4.0
"""Weaker than this is noise, which does not count as stir."""
RECORD = 0.4
"""A flash is a record: light that only comes back (a hand leaves) is not."""


@dataclass(slots=True)
class Candidate:
    """One suspicion.

    ``channel`` is ``"inside"``, ``"outside"`` or ``"tile"``; ``place`` the bands (low, high) or
    the tile (band, tile); ``size`` its brightness above expectation, codes; ``sigma`` the same in
    noise units; ``record`` how much it is above the brightest of the last seconds, codes; ``crowd``
    how many tiles elsewhere changed in that frame; ``compact`` whether it is a spot, whose rows end
    where it does; ``beyond`` whether the room beside the mirror is lit in those rows, too;
    ``before`` and ``after`` the same place's excess in the frames around, codes; ``stir_before``
    and ``stir_after`` how strong the strongest rows of the channel were in them.
    """

    stamp: FrameStamp
    channel: str
    place: tuple[int, int]
    size: float
    sigma: float
    strength: float
    before: Sequence[float]
    after: list[float] = field(default_factory=list)
    level: float = 0.0
    record: float = float("inf")
    crowd: int = 0
    compact: bool = False
    beyond: bool = False
    lit: tuple[int, int] | None = None
    stir_before: Sequence[float] = ()
    stir_after: list[float] = field(default_factory=list)

    @property
    def flash(self) -> bool:
        """The verdict over the frames gathered so far."""
        if self.record < RECORD * self.size or self.crowd > MOST_CROWD:
            return False
        limit = max(SHARE * self.size, CLEAR * self.size / max(self.sigma, 1e-9))
        if min(self.before, default=0.0) < -limit or min(self.after, default=0.0) < -limit:
            return False
        if self._spread_out() or self._regular() or self._restless() or self._stirred():
            return False
        return all(
            2 * _above(side, limit) < max(len(side), 1)
            for side in (self.before[:-1], self.after[1:])
        )

    def _settled(self) -> list[float]:
        """What came after, less what stays: a spark's hot gas bends light onto its tile."""
        if self.channel != "tile" or not self.after:
            return self.after
        stays = min(max(median(self.after), 0.0), SHARE * self.size)
        return [value - stays for value in self.after]

    def _restless(self) -> bool:
        """Where something moves all the time, this is one of its movements."""
        around = sorted(abs(v) for v in (*self.before[:-1], *self._settled()[1:]))
        if len(around) < FEWEST_AROUND:
            return False
        return self.size < RESTLESS * MAD * around[len(around) // 2]

    def _stirred(self) -> bool:
        """Rows of the mirror stirred before and after, here or there: flow that has just come."""
        before, after = self.stir_before[:-1], self.stir_after[1:]
        if (
            self.channel != "inside"
            or self.beyond
            or min(len(before), len(after)) < FEWEST_AROUND // 2
        ):
            return False
        stir = min(median(before), median(after))
        return stir > LEAST_STIR and self.strength < STIRRED * stir

    def _regular(self) -> bool:
        """Coming back every few frames: flicker, sampled at the frame rate."""
        much = SHARE * self.size
        past, future = self.before[::-1], self.after
        return any(
            past[k - 1] > much and past[2 * k - 1] > much and future[k - 1] > much
            for k in range(2, len(past) // 2 + 1)
            if k <= len(future)
        )

    def _spread_out(self) -> bool:
        """Bright over several frames: not a flash, whose light is in one or parted by two."""
        around = sorted(max(v, 0.0) for v in (*self.before[-NEAR:], *self._settled()[:NEAR]))
        rest = sum(around if self.channel == "tile" else around[:-1])
        return rest > max(REST * self.size, 4.0 * self.size / max(self.sigma, 1e-9))


def _above(values: Sequence[float], limit: float) -> int:
    return sum(value > limit for value in values)
