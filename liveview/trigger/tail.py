"""How rare a strength is, from how strong noise has been.

For normal noise the largest squared excess of M places, ``y = z^2 - 2 ln M``, follows a Gumbel
distribution with scale 2 and location near 0 (Gumbel 1958, *Statistics of Extremes*, ch. 5, in
the variable z^2). Real noise has heavier tails: a plume, an encoder's pulses. So location and
scale are learnt, and ``s = sqrt(2 (y - location) / scale)`` is the strength with which normal
noise would be as rare: a frame of noise reaches s with probability about ``exp(-s^2 / 2)``.
"""

from __future__ import annotations

import math

SCALE = 2.0
EULER = 0.5772156649
MEMORY_FRAMES = 600
RARE = 9.2
"""Scales above the location (one frame in 10^4): what lies beyond hardly counts as noise."""
RARE_WEIGHT = 0.125


class TailScale:
    """Learns location and scale of the noise's maxima; never below those of normal noise."""

    def __init__(self) -> None:
        self._mean = EULER * SCALE
        self._variance = (math.pi * SCALE) ** 2 / 6.0
        self._frames = 0

    @property
    def scale(self) -> float:
        """Scale of the distribution, 2 for normal noise."""
        return max(math.sqrt(6.0 * self._variance) / math.pi, SCALE)

    @property
    def location(self) -> float:
        """Location of the distribution, 0 for normal noise."""
        return max(self._mean - EULER * self.scale, 0.0)

    def strength(self, sigma: float, trials: float) -> float:
        """Strength of the strongest of ``trials`` places, ``sigma`` above its noise."""
        y = sigma * sigma - 2.0 * math.log(max(trials, 1.0))
        return math.sqrt(max(2.0 * (y - self.location) / self.scale, 0.0)) if sigma > 0 else 0.0

    def sigma(self, strength: float, trials: float) -> float:
        """Excess in units of its noise that has this strength at present."""
        y = self.location + 0.5 * self.scale * strength * strength
        return math.sqrt(y + 2.0 * math.log(max(trials, 1.0)))

    def learn(self, sigma: float, trials: float) -> None:
        """One more frame's strongest place, believed to be noise."""
        y = max(sigma, 0.0) ** 2 - 2.0 * math.log(max(trials, 1.0))
        scale = self.scale
        limit = max(self._mean - EULER * scale, 0.0) + RARE * scale
        self._frames += 1
        rate = max(1.0 / (self._frames + 30), 1.0 / MEMORY_FRAMES)
        if y > limit:
            y, rate = limit, RARE_WEIGHT * rate
        off = y - self._mean
        self._mean += rate * off
        self._variance += rate * (off * off - self._variance)


def least_sigma(strength: float, trials: float) -> float:
    """Excess in units of normal noise that has this strength: the inverse of ``strength``."""
    return math.sqrt(strength * strength + 2.0 * math.log(max(trials, 1.0)))
