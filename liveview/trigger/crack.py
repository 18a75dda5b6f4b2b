"""Crack detector: sudden band-limited sound against a slowly learnt background."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.model import Cause, SoundBlock, Spotted

LOW_HZ = 3000.0
HOP_S = 0.0005
MEMORY_S = 2.0
LEARN_S = 0.25
DEAD_S = 0.004
SPEED_AT_0C = 331.3


def sound_speed(temperature_k: float) -> float:
    """Speed of sound in dry air, m/s: 331.3 sqrt(T/273.15)."""
    return SPEED_AT_0C * float(np.sqrt(temperature_k / 273.15))


class CrackDetector:
    """Finds onsets of a crack in the band above ``LOW_HZ``.

    Parameters
    ----------
    sigma : float
        Threshold in units of the background's spread.
    delay_s : float
        Travel time of the sound to the microphone, taken off every time.
    """

    def __init__(self, sigma: float, delay_s: float = 0.0) -> None:
        self.sigma = sigma
        self.delay_s = delay_s
        self._rate = 0.0
        self._state: NDArray[np.float64] | None = None
        self._sections: NDArray[np.float64] | None = None
        self._rest = np.zeros(0)
        self._rest_start_s = 0.0
        self._mean = 0.0
        self._spread = 0.0
        self._heard = 0
        self._dead_until_s = float("-inf")
        self.strongest: float | None = None
        """Largest strength in the newest block; None while the background is not known."""
        self.until_s = float("-inf")
        """Everything before this time has been listened to (path delay taken off)."""

    def hear(self, block: SoundBlock) -> tuple[Spotted, ...]:
        """Listen to the next block."""
        from scipy import signal

        if block.rate_hz != self._rate or block.lost_before or self._sections is None:
            self._start(block)
        mono = block.samples.mean(axis=1) if block.samples.ndim == 2 else block.samples
        band, self._state = signal.sosfilt(self._sections, mono, zi=self._state)
        whole = np.concatenate([self._rest, band])
        start_s = block.start_s - len(self._rest) / block.rate_hz
        hop = max(1, round(HOP_S * block.rate_hz))
        count = len(whole) // hop
        power = np.log10((whole[: count * hop].reshape(count, hop) ** 2).mean(axis=1) + 1e-14)
        self._rest = whole[count * hop :]
        found = []
        self.strongest = None
        for i, value in enumerate(power):
            at_s = start_s + i * hop / block.rate_hz
            spot = self._hop(float(value), at_s, block)
            if spot is not None:
                found.append(spot)
        self.until_s = start_s + count * hop / block.rate_hz - self.delay_s
        return tuple(found)

    def _start(self, block: SoundBlock) -> None:
        from scipy import signal

        self._rate = block.rate_hz
        low = min(LOW_HZ, 0.3 * block.rate_hz)
        self._sections = signal.butter(4, low, "highpass", fs=block.rate_hz, output="sos")
        self._state = np.zeros((self._sections.shape[0], 2))
        self._rest = np.zeros(0)

    def _hop(self, value: float, at_s: float, block: SoundBlock) -> Spotted | None:
        learnt = self._heard * HOP_S >= LEARN_S
        strength = (value - self._mean) / max(self._spread, 0.05)
        if learnt:
            self.strongest = max(strength, self.strongest or 0.0)
        if learnt and strength > self.sigma and at_s >= self._dead_until_s:
            self._dead_until_s = at_s + DEAD_S
            error_s = float(np.hypot(block.error_s, HOP_S / 2))
            return Spotted(at_s - self.delay_s, error_s, Cause.SOUND, strength)
        if learnt and strength > self.sigma:
            self._dead_until_s = at_s + DEAD_S
            return None
        self._heard += 1
        rate = max(1.0 / self._heard, HOP_S / MEMORY_S)
        off = abs(value - self._mean)
        self._mean += rate * (value - self._mean)
        self._spread += rate * (1.2533 * off - self._spread)
        return None
