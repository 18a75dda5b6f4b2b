"""What a microphone beside the rig hears, sample by sample, on the same clock as the picture.

Sample i is taken at ``i / rate``. Everything is a function of the seed, the time and the knobs, so
blocks of any size give the same sound. A crack arrives after distance over the speed of sound.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from liveview.bench.flows.door import slams_between
from liveview.bench.knobs import Knobs
from liveview.bench.scene import Scene
from liveview.bench.sparks import SparkTimes
from liveview.bench.voices import clap, slam, speech
from liveview.optics.air import Air
from liveview.optics.sound import sound_delay

Samples = NDArray[np.float32]
CRACK_S = 0.12
"""After this the ringing of a crack is below the noise."""
_BANK_S = 7.0
_ECHOES = ((1.7e-3, 0.22), (4.9e-3, -0.15), (9.3e-3, 0.09), (17.1e-3, 0.03))
"""Delay after the direct sound and size of the reflections from table and walls."""


class Microphone:
    """The sound of one scene.

    Parameters
    ----------
    scene : Scene
    air : Air
    knobs : Knobs
    sparks : SparkTimes
        Shared with the picture.
    seed : int
    """

    def __init__(self, scene: Scene, air: Air, knobs: Knobs, sparks: SparkTimes, seed: int) -> None:
        self._scene = scene
        self._mic = scene.microphone
        self._knobs = knobs
        self._sparks = sparks
        self.rate_hz = self._mic.rate_hz
        self.delay_s = sound_delay(self._mic.distance_m, air.temperature_k)
        rng = np.random.default_rng([seed, 71])
        self._room = room_noise(round(_BANK_S * self.rate_hz), rng) * np.float32(self._mic.noise)
        self._clap_at = rng.uniform(0.2, 0.8, 512)
        self._clap = clap(self.rate_hz, rng)
        self._slam = slam(self.rate_hz, rng)
        self._speech = speech(self.rate_hz, rng) if self._mic.speech else None

    def arrival(self, spark_s: float) -> float:
        """When the crack of a spark reaches the microphone."""
        return spark_s + self.delay_s

    def block(self, first: int, count: int) -> Samples:
        """Samples ``first`` to ``first + count``, float32 (count,), clipped to full scale."""
        index = first + np.arange(count)
        t = index / self.rate_hz
        out = self._room[np.mod(index, len(self._room))].copy()
        if self._mic.hum:
            out += self._hum(t)
        if self._mic.speech and self._speech is not None:
            out += self._speech[np.mod(index, len(self._speech))] * np.float32(self._mic.speech)
        start, end = float(t[0]), float(t[-1])
        for spark in self._sparks.between(start - CRACK_S - self.delay_s, end - self.delay_s):
            out += self._crack(t - self.arrival(spark.time_s), spark.number)
        if self._mic.buzz and self._knobs.at("flow_spark", start) > 0.5:
            out += self._buzz(t)
        for moment in self._claps(start - 0.4, end):
            _mix(out, self._clap, moment, first, self.rate_hz, 0.5)
        for moment in self._slams(start - 1.0, end):
            _mix(out, self._slam, moment, first, self.rate_hz, 0.8)
        return np.asarray(np.clip(out, -1.0, 1.0), np.float32)

    def _hum(self, t: NDArray[np.float64]) -> Samples:
        hz = self._scene.room.mains_hz
        wave = sum(
            size * np.sin(2 * math.pi * k * hz * t + k)
            for k, size in ((1, 1.0), (2, 0.6), (3, 0.3))
        )
        return np.asarray(self._mic.hum * wave, np.float32)

    def _buzz(self, t: NDArray[np.float64]) -> Samples:
        """The interrupter: a rattle of short pulses at a hundred a second."""
        phase = np.mod(t * 103.0, 1.0)
        return np.asarray(
            self._mic.buzz * np.exp(-phase * 9.0) * np.sin(2 * math.pi * 2300.0 * t), np.float32
        )

    def _crack(self, since: NDArray[np.float64], number: int) -> Samples:
        size = self._mic.crack * 0.5 / self._mic.distance_m * (1.0 + 0.1 * math.sin(5.1 * number))
        wave = _pulse(since)
        for delay, share in _ECHOES:
            wave += share * _pulse(since - delay)
        ringing = np.where(since > 0, np.exp(-since / 0.018), 0.0)
        wave += 0.06 * ringing * np.sin(2 * math.pi * 900.0 * since)
        return np.asarray(size * wave, np.float32)

    def _claps(self, start: float, end: float) -> list[float]:
        rate = self._mic.claps_per_minute / 60.0
        if rate == 0.0:
            return []
        low, high = max(0, math.floor(start * rate)), max(0, math.ceil(end * rate))
        times = [(k + float(self._clap_at[k % 512])) / rate for k in range(low, high + 1)]
        return [t for t in times if start <= t < end]

    def _slams(self, start: float, end: float) -> list[float]:
        slams = slams_between(self._scene.flows.door, start, end)
        return [slam for slam in slams if self._knobs.at("flow_door", slam) > 0.5]


def _pulse(since: NDArray[np.float64]) -> NDArray[np.float64]:
    """An N-wave 0.24 ms long, then the microphone's own short ringing; 0 before its arrival."""
    n_wave = np.where((since >= 0) & (since < 2.4e-4), 1.0 - since / 1.2e-4, 0.0)
    late = since - 2.4e-4
    ring = np.where(late >= 0, np.exp(-np.maximum(late, 0) / 7e-4), 0.0)
    return np.asarray(n_wave + 0.35 * ring * np.sin(2 * math.pi * 7200.0 * late))


def room_noise(count: int, rng: np.random.Generator) -> Samples:
    """Noise that falls by 4.5 dB an octave above 80 Hz as in a quiet room, rms 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hz = np.arange(len(spectrum)) / (count / 48000.0)
    spectrum *= (1.0 + (hz / 80.0) ** 2) ** -0.375
    noise = np.fft.irfft(spectrum, count)
    return np.asarray(noise / noise.std(), np.float32)


def _mix(
    out: Samples, sound: Samples, moment: float, first: int, rate_hz: float, size: float
) -> None:
    """Add a stored sound that begins at ``moment`` to a block that begins at sample ``first``."""
    at = round(moment * rate_hz) - first
    low, high = max(0, at), min(len(out), at + len(sound))
    if high > low:
        out[low:high] += np.float32(size) * sound[low - at : high - at]
