"""Sound in three bands and by shape, as powers of short hops.

Where sparks are loud, where nothing else is, where voices are; and how well each hop fits an
N-wave (``nwave``).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from liveview.model import SoundBlock
from liveview.trigger.nwave import ShapeBank

Samples = NDArray[np.float64]

SPARK_HZ = (2500.0, 15000.0)
"""Band in which cracks are looked for, weighted so that pink noise is white in it."""
SHARP_HZ = (4000.0, 15000.0)
VOICE_HZ = (300.0, 1800.0)
HOP_S = 0.00025
TAPS_S = 0.0027
"""Length of the band filters: their edges are about 1/TAPS_S wide."""
MEMORY_S = 2.0


class Bands:
    """Filters a stream and keeps what is not looked at yet.

    The filters are symmetric (windowed sinc, Hamming); their delay is taken off all times.

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
        self._taps = [
            band_pass(min(SPARK_HZ[0], 0.4 * top), min(SPARK_HZ[1], top), rate_hz, tilted=True),
            band_pass(min(SHARP_HZ[0], 0.5 * top), min(SHARP_HZ[1], top), rate_hz),
            band_pass(min(VOICE_HZ[0], 0.05 * top), min(VOICE_HZ[1], 0.25 * top), rate_hz),
        ]
        self._shapes = ShapeBank(rate_hz)
        self._raw = np.zeros(len(self._taps[0]) - 1)
        self._streams = [np.zeros(0) for _ in self._taps]
        self._powers = [np.zeros(0) for _ in self._taps]
        self._fit = np.zeros(0)
        self._log_usual = [0.0 for _ in self._taps]
        self._start_s = 0.0
        self._heard = 0

    @property
    def spark(self) -> Samples:
        """Mean square of each hop in the band of sparks."""
        return self._powers[0]

    @property
    def sharp(self) -> Samples:
        """The same above the voices."""
        return self._powers[1]

    @property
    def voice(self) -> Samples:
        """The same in the band of voices, claps and doors."""
        return self._powers[2]

    @property
    def usual_voice(self) -> float:
        """Usual power of the voice band: geometric mean over the last seconds."""
        return self._usual(2)

    @property
    def usual_spark(self) -> float:
        """The same of the band of sparks."""
        return self._usual(0)

    def _usual(self, band: int) -> float:
        return float(np.exp(self._log_usual[band])) if self._heard else 0.0

    @property
    def shape(self) -> Samples:
        """Largest squared output of the matched filters in each hop."""
        return self._hop_means(self._fit, np.max)

    @property
    def count(self) -> int:
        """Hops held."""
        return len(self._powers[0])

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
        delay_s = (len(self._taps[0]) - 1) / 2 / self.rate_hz
        # The block's own start wins over counting on, so that a drifting clock is followed.
        self._start_s = block.start_s - delay_s - len(self._streams[0]) / self.rate_hz
        if len(mono) == 0:
            return
        self._heard += len(mono)
        for index, taps in enumerate(self._taps):
            new = np.convolve(whole, taps, "valid")
            self._learn_usual(index, new)
            self._streams[index] = np.concatenate([self._streams[index], new])
            self._powers[index] = self._hop_means(self._streams[index] ** 2, np.mean)
        self._fit = np.concatenate([self._fit, self._shapes.fit(whole)])

    def drop(self, hops: int) -> None:
        """Forget the first hops."""
        gone = max(hops, 0)
        self._streams = [stream[gone * self.hop :] for stream in self._streams]
        self._powers = [powers[gone:] for powers in self._powers]
        self._fit = self._fit[gone * self.hop :]
        self._start_s += gone * self.hop_s

    def onset(self, hop: int, hops: int, edge: float) -> float:
        """Time at which the band of sparks reaches ``edge`` of its peak within some hops."""
        first = hop * self.hop
        size = np.abs(self._streams[0][first : first + hops * self.hop])
        at = int(np.argmax(size >= edge * size.max()))
        return self._start_s + (first + at) / self.rate_hz

    def _hop_means(self, stream: Samples, how: Callable[..., Samples]) -> Samples:
        count = len(stream) // self.hop
        return np.asarray(how(stream[: count * self.hop].reshape(count, self.hop), axis=1))

    def _learn_usual(self, band: int, new: Samples) -> None:
        seconds = len(new) / self.rate_hz
        rate = max(len(new) / self._heard, seconds / (seconds + MEMORY_S))
        level = float(np.log((new**2).mean() + 1e-12))
        self._log_usual[band] += rate * (level - self._log_usual[band])


def band_pass(low_hz: float, high_hz: float, rate_hz: float, *, tilted: bool = False) -> Samples:
    """Taps of a symmetric band-pass, odd in number.

    Gain is 1 in the band, or with ``tilted`` ``sqrt(f / middle)``.
    """
    half = max(4, round(TAPS_S * rate_hz / 2))
    hz = np.fft.rfftfreq(16 * half, 1.0 / rate_hz)
    gain = ((hz >= low_hz) & (hz <= high_hz)).astype(np.float64)
    if tilted:
        gain *= np.sqrt(hz / (0.5 * (low_hz + high_hz)))
    taps = np.roll(np.fft.irfft(gain, 16 * half), half)[: 2 * half + 1]
    return np.asarray(taps * np.hamming(2 * half + 1))
