"""Crack detector: a sudden sound in the band of sparks, against a slowly learnt background.

A spark's crack is an N-wave of a fraction of a millisecond: most of its energy lies between 3 and
16 kHz, it is there at once, and it stands out from what that band usually holds. So a crack must

- exceed the loudest moments of the last seconds (``peaks``: hum, a coil's buzz and steady noise
  have theirs) by what noise does only rarely,
- be louder than the milliseconds before it (a hiss swells),
- have more in the high band than a voice, a clap or a slammed door, whose energy is lower,
- not be the echo of the crack before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Cause, SoundBlock, Spotted
from liveview.trigger.bands import Bands
from liveview.trigger.peaks import LoudestMoments

Samples = NDArray[np.float64]

AFTER_S = 0.0015
"""Sound that must have come in after an onset before its time is given."""
BEFORE_S = (0.0035, 0.001)
"""Stretch before an onset that it is compared with, from and to."""
SUDDEN = 3.5
"""Power of an onset against that stretch."""
LOW_TO_HIGH = 3.0
"""Largest power of the low band against the high band in a crack."""
EDGE = 0.4
"""Share of the peak at which the onset is timed."""
DEAD_S = 0.003
ECHO_DB = 8.0
ECHO_DB_PER_S = 800.0
"""Echoes are weaker than the crack by the first, and fade by the second."""
SPEED_AT_0C = 331.3


def sound_speed(temperature_k: float) -> float:
    """Speed of sound in dry air, m/s: 331.3 sqrt(T/273.15)."""
    return SPEED_AT_0C * float(np.sqrt(temperature_k / 273.15))


@dataclass(frozen=True, slots=True)
class _Last:
    """The crack before: when (stream time) and its power."""

    time_s: float
    power: float

    def masks(self, time_s: float, power: float) -> bool:
        """Whether a sound at ``time_s`` may be an echo of it."""
        age_s = time_s - self.time_s
        fade_db = ECHO_DB + ECHO_DB_PER_S * age_s
        return age_s < DEAD_S or power < self.power * 10.0 ** (-fade_db / 10.0)


class CrackDetector:
    """Finds the cracks of sparks in a stream of sound blocks.

    Parameters
    ----------
    sigma : float
        Threshold of the strength: noise reaches it in a moment of 25 ms with probability about
        ``exp(-sigma^2 / 2)``, as with the flash detector.
    delay_s : float
        Travel time of the sound to the microphone, taken off every time given.
    """

    def __init__(self, sigma: float, delay_s: float = 0.0) -> None:
        self.sigma = sigma
        self.delay_s = delay_s
        self._bands: Bands | None = None
        self._peaks = LoudestMoments()
        self._last = _Last(float("-inf"), 0.0)
        self._until_s = float("-inf")
        self.strongest = 0.0
        """Strength of the newest block's loudest moment."""

    @property
    def until_s(self) -> float:
        """Everything before this time has been listened to (path delay taken off)."""
        return self._until_s - self.delay_s

    @property
    def ready(self) -> bool:
        """True once the background is known."""
        return self._peaks.ready

    def hear(self, block: SoundBlock) -> tuple[Spotted, ...]:
        """Listen to the next block; gives the cracks that are certain by now."""
        if self._bands is None or self._bands.rate_hz != block.rate_hz or block.lost_before:
            self._bands = Bands(block.rate_hz)
        bands = self._bands
        bands.add(block)
        ahead = bands.hops_in(AFTER_S)
        behind = bands.hops_in(BEFORE_S[0])
        count = bands.count - ahead
        if count <= behind:
            return ()
        found = self._search(bands, behind, count, block.error_s)
        self._until_s = bands.time_of(count)
        bands.drop(count - behind)
        return tuple(found)

    def _search(self, bands: Bands, first: int, end: int, error_s: float) -> list[Spotted]:
        """Look at the hops ``first`` to ``end``, in stretches that teach the background."""
        found: list[Spotted] = []
        step = bands.hops_in(self._peaks.moment_s)
        sudden = bands.sudden(*BEFORE_S)
        for low in range(first, end, step):
            part = slice(low, min(low + step, end))
            high = bands.high[part]
            self.strongest = self._peaks.strength(float(high.max()))
            spots = []
            if self._peaks.ready and self.strongest > self.sigma:
                spots = self._onsets(bands, part, sudden[part], error_s)
            found += spots
            quiet = not spots and bands.time_of(low) > self._last.time_s + 0.05
            self._peaks.hear(float(high.max()), high.size / step, quiet=quiet)
        return found

    def _onsets(self, bands: Bands, part: slice, sudden: Samples, error_s: float) -> list[Spotted]:
        high, low = bands.high[part], bands.low[part]
        limit = self._peaks.power_of(self.sigma)
        excess_low = low - bands.usual_low
        fits = (high > limit) & (sudden > SUDDEN) & (excess_low < LOW_TO_HIGH * high)
        found = []
        for k in np.flatnonzero(fits):
            hop = part.start + int(k)
            time_s, power = bands.onset(hop, AFTER_S, EDGE)
            if self._last.masks(time_s, power):
                continue
            self._last = _Last(time_s, power)
            strength = self._peaks.strength(power)
            fine_s = float(np.hypot(error_s, bands.hop_s / 2))
            found.append(Spotted(time_s - self.delay_s, fine_s, Cause.SOUND, strength))
        return found
