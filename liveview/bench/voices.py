"""Sounds that are not sparks: hand claps, a slammed door, somebody talking. Peak or rms about 1."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def clap(rate_hz: float, rng: np.random.Generator) -> Samples:
    """A hand clap: noise about 1.2 kHz with a rise of a millisecond and a decay of 12 ms."""
    t = np.arange(round(0.25 * rate_hz)) / rate_hz
    noise = _band(rng.standard_normal(len(t)), rate_hz, 500.0, 3000.0)
    body = noise * (1.0 - np.exp(-t / 6e-4)) * (np.exp(-t / 0.012) + 0.12 * np.exp(-t / 0.07))
    return np.asarray(body / np.abs(body).max(), np.float32)


def slam(rate_hz: float, rng: np.random.Generator) -> Samples:
    """A door: a thump of low tones and the rattle of its lock."""
    t = np.arange(round(0.8 * rate_hz)) / rate_hz
    thump = sum(
        size * np.sin(2 * math.pi * hz * t) * np.exp(-t / life)
        for hz, size, life in ((38.0, 1.0, 0.16), (71.0, 0.6, 0.1), (160.0, 0.3, 0.05))
    )
    rattle = _band(rng.standard_normal(len(t)), rate_hz, 300.0, 2000.0) * np.exp(-t / 0.03)
    sound = thump * (1.0 - np.exp(-t / 2e-3)) + 0.5 * rattle
    return np.asarray(sound / np.abs(sound).max(), np.float32)


def speech(rate_hz: float, rng: np.random.Generator, seconds: float = 9.0) -> Samples:
    """Talk-like sound: syllables of a buzzing voice through two formants, hisses, pauses; rms 1
    while somebody talks."""
    count = round(seconds * rate_hz)
    out = np.zeros(count)
    at = 0.5
    while at < seconds - 0.5:
        length = float(rng.uniform(0.08, 0.24))
        n = round(length * rate_hz)
        start = round(at * rate_hz)
        out[start : start + n] += _syllable(n, rate_hz, rng)
        at += length + (float(rng.uniform(0.5, 1.3)) if rng.uniform() < 0.15 else 0.03)
    loud = np.abs(out) > 1e-3
    return np.asarray(out / max(1e-9, float(out[loud].std())), np.float32)


def _syllable(count: int, rate_hz: float, rng: np.random.Generator) -> NDArray[np.float64]:
    swell = np.sin(math.pi * np.arange(count) / count) ** 0.7
    if rng.uniform() < 0.2:
        return 0.4 * swell * _band(rng.standard_normal(count), rate_hz, 3500.0, 8000.0)
    pitch = rng.uniform(95.0, 190.0) * (1.0 - 0.15 * np.arange(count) / count)
    phase = np.cumsum(pitch) / rate_hz
    # The vocal folds open slowly and close softly within a fifth of a period; the throat lets
    # little through above 4 kHz.
    within = np.mod(phase, 1.0)
    source = np.where(
        within < 0.8, within / 0.8, 0.5 + 0.5 * np.cos(math.pi * (within - 0.8) / 0.2)
    )
    low, high = rng.uniform(300.0, 750.0), rng.uniform(900.0, 2300.0)
    voiced = sum(_band(source, rate_hz, f * 0.85, f * 1.15) for f in (low, high))
    return np.asarray(swell * voiced)


def _band(
    signal: NDArray[np.float64], rate_hz: float, low: float, high: float
) -> NDArray[np.float64]:
    spectrum = np.fft.rfft(signal)
    hz = np.fft.rfftfreq(len(signal), 1.0 / rate_hz)
    gain = 1.0 / (1.0 + (low / np.maximum(hz, 1e-9)) ** 4) / (1.0 + (hz / high) ** 4)
    filtered = np.fft.irfft(spectrum * gain, len(signal))
    return np.asarray(filtered / max(1e-9, float(filtered.std())))
