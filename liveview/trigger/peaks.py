"""The loudest moments of a background, and how rare a louder one is.

The largest power of each moment of 25 ms follows about a Gumbel distribution (the tail of noise
power is exponential); its location and scale are learnt from the moments without a crack. A coil
that rattles a hundred times a second has its pulse in every moment and so raises the location.
"""

from __future__ import annotations

import math

from liveview.trigger.tail import EULER

MOMENT_S = 0.025
"""Length of a moment, seconds."""
MEMORY_MOMENTS = 160
"""Time constant of the learning: four seconds."""
FIRST_MOMENTS = 16
"""Fewer tell nothing of scale and location."""
RARE = 9.2
"""Scales above the location; a louder moment is taken as if it were only that loud."""
LEAST_SCALE = 0.06
"""Of the location: steady tones have no fluctuation, yet their level wanders. That of a mean over
many samples of normal noise; that of a single squared one is twice as large."""
SILENCE = 1e-9
"""Power below which nothing is a crack: -90 dB of full scale."""


class LoudestMoments:
    """Learns location and scale of the moments' largest powers.

    Parameters
    ----------
    least_scale : float
        Smallest scale that is believed, of the location.
    """

    moment_s = MOMENT_S

    def __init__(self, least_scale: float = LEAST_SCALE) -> None:
        self._least_scale = least_scale
        self._mean = 0.0
        self._variance = 0.0
        self._moments = 0
        self._share = self._loudest = 0.0

    @property
    def ready(self) -> bool:
        """True after some moments."""
        return self._moments >= FIRST_MOMENTS

    @property
    def scale(self) -> float:
        """Scale of the distribution, power."""
        spread = math.sqrt(6.0 * max(self._variance, 0.0)) / math.pi
        return max(spread, self._least_scale * self._mean, SILENCE)

    @property
    def location(self) -> float:
        """Location of the distribution, power."""
        return max(self._mean - EULER * self.scale, 0.0)

    def strength(self, power: float) -> float:
        """How rare a moment with this largest power is, see ``tail``."""
        return math.sqrt(max(2.0 * (power - self.location) / self.scale, 0.0))

    def hear(self, power: float, share: float = 1.0, *, quiet: bool = True) -> None:
        """One more moment, or a ``share`` of one: they are put together. Only quiet ones teach."""
        if not quiet:
            return
        self._share += share
        self._loudest = max(self._loudest, power)
        if self._share < 1.0 - 1e-6:
            return
        power, self._share, self._loudest = self._loudest, 0.0, 0.0
        if self.ready:
            power = min(power, self.location + RARE * self.scale)
        self._moments += 1
        rate = max(1.0 / (self._moments + 1), 1.0 / MEMORY_MOMENTS)
        off = power - self._mean
        self._mean += rate * off
        self._variance += rate * (off * off - self._variance)
