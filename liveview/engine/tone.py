"""The blade meter for the ear, for somebody whose hands and eyes are at the rig.

The pitch rises towards the target, two octaves from half a disc off to nearly there. Too open is a
steady tone, too far cut a pulsed one; inside the target band it is silent but for a soft tick each
second, so that silence is not mistaken for a program that has stopped.
"""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import SoundUnavailable
from liveview.sources.microphone import sound_library

RATE_HZ = 48000.0
LOW_HZ = 220.0
"""Pitch at a distance of 0.5 or more."""
OCTAVES = 2.0
PULSES_HZ = 5.0
LOUDNESS = 0.15
"""Peak of the tone, full scale 1.0: quiet on purpose."""
TICK_HZ = 1000.0
TICK_EVERY_S = 1.0
_TICK_S = 0.012
_GLIDE_S = 0.03

Samples = NDArray[np.float32]


def pitch_hz(distance: float) -> float:
    """Pitch for a distance from the target (uncut fraction, sign does not matter), hertz."""
    near = 1.0 - min(abs(distance), 0.5) / 0.5
    return float(LOW_HZ * 2.0 ** (OCTAVES * near))


class ToneMaker:
    """Makes the samples. ``aim`` from any thread, ``render`` from the sound system's.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    """

    def __init__(self, rate_hz: float = RATE_HZ) -> None:
        self._rate_hz = rate_hz
        self._aim: tuple[float, bool] | None = None
        self._phase = 0.0
        self._pitch = LOW_HZ
        self._level = 0.0
        self._pulsed = 0.0
        self._clock = 0

    def aim(self, distance: float | None, inside: bool = False) -> None:
        """Say where the blade is.

        Parameters
        ----------
        distance : float or None
            Uncut fraction minus target: positive is too open. None: nothing is known, silence.
        inside : bool
            Within the target band.
        """
        self._aim = None if distance is None else (distance, inside)

    def render(self, count: int) -> Samples:
        """The next ``count`` samples, float32, within +-``LOUDNESS``; no jumps at the joints."""
        aim, rate = self._aim, self._rate_hz
        steps = np.arange(1, count + 1)
        sounding = aim is not None and not aim[1]
        wanted = LOUDNESS if sounding else 0.0
        decay = np.exp(-steps / (_GLIDE_S * rate))
        if aim is not None and sounding:
            pitch = pitch_hz(aim[0]) + (self._pitch - pitch_hz(aim[0])) * decay
        else:
            pitch = np.full(count, self._pitch)
        level = wanted + (self._level - wanted) * decay
        phase = self._phase + 2 * np.pi * np.cumsum(pitch) / rate
        wave = level * np.sin(phase)
        seconds = (self._clock + steps) / rate
        pulses = 1.0 if aim is not None and aim[0] < 0 else 0.0
        depth = pulses + (self._pulsed - pulses) * decay
        wave *= 1.0 - depth * (0.5 + 0.5 * np.cos(2 * np.pi * PULSES_HZ * seconds))
        if aim is not None and aim[1]:
            wave += _ticks(seconds)
        self._phase = float(phase[-1] % (2 * np.pi))
        self._pitch, self._level = float(pitch[-1]), float(level[-1])
        self._pulsed = float(depth[-1])
        self._clock += count
        return np.asarray(wave, np.float32)


def _ticks(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    since = seconds % TICK_EVERY_S
    shape = np.where(since < _TICK_S, np.sin(np.pi * since / _TICK_S) ** 2, 0.0)
    ticks: NDArray[np.float64] = 0.5 * LOUDNESS * shape * np.sin(2 * np.pi * TICK_HZ * since)
    return ticks


class Tone:
    """Plays a :class:`ToneMaker` on the default output. Off until ``start``."""

    def __init__(self) -> None:
        self.maker = ToneMaker()
        self._lock = threading.Lock()
        self._stream: Any = None

    @property
    def playing(self) -> bool:
        """True between ``start`` and ``stop``."""
        return self._stream is not None

    def start(self) -> None:
        """Open the output; harmless when it is open.

        Raises
        ------
        SoundUnavailable
            No sound library, or no output device that works.
        """
        library = sound_library()
        with self._lock:
            if self._stream is not None:
                return
            try:
                stream = library.OutputStream(
                    samplerate=RATE_HZ, channels=1, dtype="float32", callback=self._fill
                )
                stream.start()
            except (library.PortAudioError, ValueError) as error:
                raise SoundUnavailable(
                    f"no sound output ({error})",
                    "tone",
                    "choose an output in the system's settings",
                ) from error
            self._stream = stream

    def stop(self) -> None:
        """Close the output; harmless when it is closed."""
        with self._lock:
            stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()

    def _fill(self, out: Any, frames: int, _time: object, _status: object) -> None:
        out[:, 0] = self.maker.render(frames)
