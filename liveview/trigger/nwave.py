"""How well a sound fits an N-wave, whatever its length and wherever between two samples it begins.

For each of a few lengths and places the filter that is best against pink noise (North 1943: the
spectrum's conjugate over the noise's density); the largest of their squared outputs is the
generalised likelihood ratio of "an N-wave of unknown length, size and sign" against "pink noise
only", in units of the noise's variance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

LENGTHS_S = tuple(0.09e-3 * (0.4 / 0.09) ** (k / 7) for k in range(8))
"""0.09 to 0.4 ms: small sparks within some metres. Neighbours fit each other to a few per cent."""
PLACES = (0.0, 0.5)
"""Of a sample: a shock is shorter than that."""
LOW_HZ, TOP_HZ = 500.0, 18000.0
"""Microphones hear little above; hum and voices are below."""
SHARE_OF_RATE = 0.45
"""The band's top is at most this share of the sample rate."""
EDGE_HZ = 1000.0
"""Half the width of the band's upper edge."""
SPAN_S = 0.0027
"""Length of the filters."""
PIECE = 4096
"""Samples filtered at once."""


class ShapeBank:
    """All those filters, run together by overlap-save.

    Parameters
    ----------
    rate_hz : float
        Sample rate.
    """

    def __init__(self, rate_hz: float) -> None:
        self._taps = np.array(
            [
                matched_to_n_wave(seconds, rate_hz, place)
                for seconds in LENGTHS_S
                for place in PLACES
            ]
        )
        self._spectra: dict[int, NDArray[np.complex128]] = {}

    @property
    def taps(self) -> int:
        """Length of the filters, odd."""
        return int(self._taps.shape[1])

    def fit(self, sound: Samples) -> Samples:
        """Largest squared output at each sample, shape (len(sound) - taps + 1,)."""
        count = len(sound) - self.taps + 1
        out = np.empty(max(count, 0))
        size = min(PIECE, 1 << max(len(sound) - 1, 1).bit_length())
        step = size - self.taps + 1
        for first in range(0, count, step):
            spectrum = np.fft.rfft(sound[first : first + size], size)
            filtered = np.fft.irfft(spectrum * self._spectrum(size), size)
            part = filtered[:, self.taps - 1 : self.taps - 1 + min(step, count - first)]
            np.maximum(part.max(axis=0), -part.min(axis=0), out=out[first : first + step])
        return np.asarray(out**2)

    def _spectrum(self, size: int) -> NDArray[np.complex128]:
        if size not in self._spectra:
            self._spectra[size] = np.fft.rfft(self._taps, size)
        return self._spectra[size]


def matched_to_n_wave(seconds: float, rate_hz: float, place: float = 0.0) -> Samples:
    """Taps of the filter that is matched to an N-wave in pink noise.

    Parameters
    ----------
    seconds : float
        Length of the N-wave.
    rate_hz : float
        Sample rate.
    place : float
        Where between two samples its middle lies, samples.

    Returns
    -------
    ndarray
        Odd in number; the output in pink noise that has the density ``1/f`` (over the band and per
        hertz) has variance 1 for every length.
    """
    half = max(4, round(SPAN_S * rate_hz / 2))
    count = 16 * half
    hz = np.asarray(np.fft.rfftfreq(count, 1.0 / rate_hz), np.float64)
    moved = np.exp(-2j * np.pi * hz * place / rate_hz)
    whitened = np.conj(spectrum_of_n_wave(hz, seconds) * moved) * hz * _band(hz, rate_hz)
    taps = np.roll(np.fft.irfft(whitened, count), half)[: 2 * half + 1] * np.hamming(2 * half + 1)
    gain = np.abs(np.fft.rfft(taps, count))[1:]
    variance = float((gain**2 / hz[1:]).sum()) * hz[1]
    return np.asarray(taps / np.sqrt(variance))


def spectrum_of_n_wave(hz: Samples, seconds: float) -> NDArray[np.complex128]:
    """Fourier integral of ``-2 t / T`` over ``-T/2 < t < T/2``, seconds; integrated by parts."""
    a = np.pi * seconds * np.maximum(hz, 1.0)
    return np.asarray(1j * seconds * (np.sin(a) / a - np.cos(a)) / a)


def _band(hz: NDArray[Any], rate_hz: float) -> Samples:
    """Gain of the band, with soft edges."""
    top = min(TOP_HZ, SHARE_OF_RATE * rate_hz)
    rise = np.clip((hz - 0.8 * LOW_HZ) / (0.4 * LOW_HZ), 0.0, 1.0)
    return np.asarray(rise * np.clip((top + EDGE_HZ - hz) / (2.0 * EDGE_HZ), 0.0, 1.0))
