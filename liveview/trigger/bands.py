"""Sound in two bands, as powers of short hops: where sparks are loud, and where voices are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from liveview.model import SoundBlock

Samples = NDArray[np.float64]

HIGH_HZ = (3500.0, 16000.0)
LOW_HZ = (300.0, 2500.0)
HOP_S = 0.00025
TAPS_S = 0.0027
"""Length of the band filters: their edges are about 1/TAPS_S wide."""
MEMORY_S = 2.0


class Bands:
    """Filters a stream and keeps what is not looked at yet.

    The powers are means over two hops, so that a crack falls wholly into one of them. The filters
    are symmetric (windowed sinc, Hamming); their delay is taken off all times.

    Parameters
    ----------
    rate_hz : float
        Sample rate. With a low one the bands end at 0.45 of it.
    """

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self.hop = max(1, round(HOP_S * rate_hz))
        self.hop_s = self.hop / rate_hz
        top = 0.45 * rate_hz
        self._high_taps = band_pass(min(HIGH_HZ[0], 0.4 * top), min(HIGH_HZ[1], top), rate_hz)
        self._low_taps = band_pass(min(LOW_HZ[0], 0.05 * top), min(LOW_HZ[1], 0.3 * top), rate_hz)
        self._raw = np.zeros(len(self._high_taps) - 1)
        self._band = np.zeros(0)
        self._rest_low = np.zeros(0)
        self.high = np.zeros(0)
        """Mean square of the high band over two hops from each hop on."""
        self.low = np.zeros(0)
        self.usual_low = 0.0
        """Mean power of the low band over the last seconds."""
        self._start_s = 0.0
        self._heard = 0

    @property
    def count(self) -> int:
        """Hops held."""
        return len(self.high)

    def hops_in(self, seconds: float) -> int:
        """Hops in a stretch of time, at least 1."""
        return max(1, round(seconds / self.hop_s))

    def time_of(self, hop: int) -> float:
        """When a hop began, stream time."""
        return self._start_s + hop * self.hop_s

    def add(self, block: SoundBlock) -> None:
        """Append a block."""
        samples = block.samples
        mono = samples.mean(axis=1) if samples.ndim == 2 else samples
        whole = np.concatenate([self._raw, mono.astype(np.float64)])
        self._raw = whole[len(whole) - len(self._raw) :]
        delay_s = (len(self._high_taps) - 1) / 2 / self.rate_hz
        # The block's own start wins over counting on, so that a drifting clock is followed.
        self._start_s = block.start_s - delay_s - len(self._band) / self.rate_hz
        if len(whole) < len(self._high_taps):
            return
        self._band = np.concatenate([self._band, np.convolve(whole, self._high_taps, "valid")])
        low = np.convolve(whole, self._low_taps, "valid")
        self._rest_low = np.concatenate([self._rest_low, low])
        self._learn_low(low)
        self.high = self._powers(self._band)
        self.low = self._powers(self._rest_low)

    def drop(self, hops: int) -> None:
        """Forget the first hops."""
        hops = max(hops, 0)
        gone = hops * self.hop
        self._band, self._rest_low = self._band[gone:], self._rest_low[gone:]
        self.high, self.low = self.high[hops:], self.low[hops:]
        self._start_s += hops * self.hop_s

    def sudden(self, before_from_s: float, before_to_s: float) -> Samples:
        """Power of each hop against the mean of the stretch before it; 0 at the begin."""
        a, b = self.hops_in(before_from_s), self.hops_in(before_to_s)
        total = np.concatenate([[0.0], np.cumsum(self.high)])
        out = np.zeros(self.count)
        index = np.arange(a, self.count)
        before = (total[index - b] - total[index - a]) / (a - b)
        out[a:] = self.high[a:] / np.maximum(before, 1e-16)
        return out

    def onset(self, hop: int, ahead_s: float, edge: float) -> tuple[float, float]:
        """Time at which the sound beginning about ``hop`` reaches ``edge`` of its peak, and its
        largest power."""
        first = hop * self.hop
        span = self._band[first : first + round(ahead_s * self.rate_hz)]
        size = np.abs(span)
        at = int(np.argmax(size > edge * size.max()))
        power = float(self.high[hop : hop + self.hops_in(ahead_s)].max())
        return self._start_s + (first + at) / self.rate_hz, power

    def _powers(self, band: Samples) -> Samples:
        count = len(band) // self.hop
        hops = (band[: count * self.hop].reshape(count, self.hop) ** 2).mean(axis=1)
        return np.asarray((hops[:-1] + hops[1:]) / 2)

    def _learn_low(self, low: Samples) -> None:
        if len(low) == 0:
            return
        self._heard += len(low)
        seconds = len(low) / self.rate_hz
        rate = max(len(low) / self._heard, seconds / (seconds + MEMORY_S))
        self.usual_low += rate * (float((low**2).mean()) - self.usual_low)


def band_pass(low_hz: float, high_hz: float, rate_hz: float) -> Samples:
    """Taps of a symmetric band-pass, odd in number, gain 1 in the middle of the band."""
    half = max(4, round(TAPS_S * rate_hz / 2))
    n = np.arange(-half, half + 1)
    taps = 2 * high_hz / rate_hz * np.sinc(2 * high_hz / rate_hz * n)
    taps -= 2 * low_hz / rate_hz * np.sinc(2 * low_hz / rate_hz * n)
    taps *= np.hamming(len(n))
    middle = np.pi * (low_hz + high_hz) / rate_hz
    return np.asarray(taps / np.abs((taps * np.exp(-1j * middle * n)).sum()))
