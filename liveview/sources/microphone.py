"""The microphone. Without a sound library, device or permission it says so and nothing breaks."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import SoundUnavailable, SourceStalled
from liveview.model import SoundBlock, SoundInfo
from liveview.settings import Sound
from liveview.sources.arrival import ArrivalFit

QUEUE_BLOCKS = 256
BLOCK_S = 0.01
"""Short for the trigger, long enough not to keep the interpreter busy."""

COMMON_RATES_HZ = (48000.0, 44100.0)
SYSTEM_DELAY_S = Sound().error_s
"""Delay of the sound system that no arrival can show; 10 ms were measured with a sound server."""

HOLE_S = 1.0
"""A block that comes so late follows samples that never came, marked or not: the computer slept."""

SILENCE_S = 2.0
"""Exact zeros for this long are no quiet room but a missing permission or a muted input."""


def sound_library() -> Any:
    """The sound library.

    Raises
    ------
    SoundUnavailable
        It is not installed.
    """
    try:
        import sounddevice
    except (OSError, ImportError) as error:
        raise SoundUnavailable(
            "the sound library is missing", "PortAudio", "install libportaudio2"
        ) from error
    return sounddevice


class BlockQueue:
    """Blocks on their way from the sound system's thread to the reader's.

    When full, a new block is dropped and its samples are counted; the count travels with the
    next block that fits.

    Parameters
    ----------
    blocks : int
        How many it holds.
    """

    def __init__(self, blocks: int) -> None:
        self._blocks: deque[tuple[NDArray[np.float32], float, int, bool]] = deque()
        self._most = blocks
        self._ready = threading.Condition()
        self._dropped = self._pending_drop = 0

    @property
    def dropped(self) -> int:
        """Samples dropped so far."""
        return self._dropped

    def put(self, samples: NDArray[np.float32], arrived_s: float, gap: bool) -> None:
        """Add a copy of a block; never waits. ``gap`` marks samples lost before it came here."""
        with self._ready:
            if len(self._blocks) >= self._most:
                self._dropped += len(samples)
                self._pending_drop += len(samples)
                return
            self._blocks.append((samples.copy(), arrived_s, self._pending_drop, gap))
            self._pending_drop = 0
            self._ready.notify()

    def get(self, timeout_s: float) -> tuple[NDArray[np.float32], float, int, bool] | None:
        """Oldest block: samples, arrival, samples dropped before it, gap; None after the time."""
        with self._ready:
            if not self._ready.wait_for(lambda: bool(self._blocks), timeout_s):
                return None
            return self._blocks.popleft()


class MicrophoneSource:
    """Sound of an input device.

    Parameters
    ----------
    device : str
        Name, or a unique part of it; the system's default when empty.
    clock : callable
        The session's clock, seconds.
    rate_hz : float, optional
        Wanted sample rate; else the device's own, 48 kHz, 44.1 kHz, whichever opens first.
    channel : int, optional
        Deliver this channel only, from 1; else the first two.
    delay_s, error_s : float
        Taken off every time; uncertainty that is left, beside that of the arrivals.
    """

    def __init__(
        self,
        device: str,
        *,
        clock: Callable[[], float],
        rate_hz: float | None = None,
        channel: int | None = None,
        delay_s: float = 0.0,
        error_s: float = SYSTEM_DELAY_S,
    ) -> None:
        self._device = device
        self._clock = clock
        self._wanted_hz = rate_hz
        self._channel = channel
        self._delay_s, self._error_s = delay_s, error_s
        self._queue = BlockQueue(QUEUE_BLOCKS)
        self._stream: Any = None
        self._rate_hz = 0.0
        self._count = 0
        self._silent = 0
        self._heard = False

    @property
    def warnings(self) -> tuple[str, ...]:
        """Words when nothing but exact silence comes."""
        if self._heard or self._silent < SILENCE_S * self._rate_hz:
            return ()
        return ("the microphone delivers exact silence: muted, or not allowed to this program",)

    @property
    def dropped(self) -> int:
        """Samples lost because nobody read them in time."""
        return self._queue.dropped

    def open(self) -> SoundInfo:
        """Start listening.

        Raises
        ------
        SoundUnavailable
            No library, no such device, or it does not open.
        """
        library = sound_library()
        index, entry = self._found(library)
        channels = self._channels_of(entry)
        own = float(entry["default_samplerate"])
        rates = [rate for rate in (self._wanted_hz, own, *COMMON_RATES_HZ) if rate]
        error: Exception | None = None
        for rate in dict.fromkeys(rates):
            try:
                self._start(library, index, channels, rate)
            except (library.PortAudioError, ValueError) as problem:
                error = error or problem
                continue
            note = "" if rate == rates[0] else f"{rates[0]:g} Hz refused, {rate:g} Hz used"
            given = channels if self._channel is None else 1
            return SoundInfo(str(entry["name"]), self._rate_hz, given, live=True, note=note)
        raise SoundUnavailable(
            f"the microphone does not open ({error})",
            str(entry["name"]),
            "check that it is plugged in, allowed and not held by another program",
        ) from error

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block.

        Raises
        ------
        SourceStalled
            Nothing came within ``timeout_s``.
        """
        got = self._queue.get(timeout_s)
        if got is None:
            raise SourceStalled(f"no sound came for {timeout_s:g} s", "microphone")
        samples, arrived_s, lost, gap = got
        if self._channel is not None:
            samples = samples[:, self._channel - 1 : self._channel]
        late_s = self._late_s(len(samples), arrived_s)
        if gap or late_s > HOLE_S:
            lost = max(lost, 1, round(late_s * self._rate_hz))
        first = self._count + lost
        self._count = first + len(samples)
        self._fit.add(self._count, arrived_s)
        self._note_silence(samples)
        start_s = self._fit.time_s(first) - self._delay_s
        error_s = self._error_s + self._fit.jitter_s
        return SoundBlock(samples, self._rate_hz, start_s, error_s, lost)

    def close(self) -> None:
        """Stop listening."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def _start(self, library: Any, index: int | None, channels: int, rate_hz: float) -> None:
        def callback(indata: NDArray[np.float32], _frames: int, _time: Any, status: Any) -> None:
            self._queue.put(indata, self._clock(), bool(status.input_overflow))

        stream = library.InputStream(
            samplerate=rate_hz,
            device=index,
            channels=channels,
            dtype="float32",
            latency="low",
            blocksize=round(BLOCK_S * rate_hz),
            callback=callback,
        )
        try:
            self._rate_hz = float(stream.samplerate)
            self._fit = ArrivalFit(self._rate_hz)
            stream.start()
        except BaseException:
            stream.close()
            raise
        self._stream = stream

    def _channels_of(self, entry: Mapping[str, Any]) -> int:
        most = int(entry["max_input_channels"])
        if self._channel is None:
            return max(1, min(2, most))
        if self._channel > most:
            raise SoundUnavailable(
                f"it has {most} channels, not {self._channel}",
                str(entry["name"]),
                "choose another sound.channel",
            )
        return self._channel

    def _found(self, library: Any) -> tuple[int | None, Mapping[str, Any]]:
        if self._device:
            index = match_device(self._device, tuple(library.query_devices()))
            return index, library.query_devices(index)
        try:
            return None, library.query_devices(kind="input")
        except (library.PortAudioError, ValueError) as error:
            raise SoundUnavailable(
                "there is no microphone", remedy="plug one in, or go on without sound"
            ) from error

    def _late_s(self, samples: int, arrived_s: float) -> float:
        """How much later a block came than the samples so far make one expect."""
        if self._count == 0:
            return 0.0
        return arrived_s - self._fit.time_s(self._count + samples) - self._fit.jitter_s

    def _note_silence(self, samples: NDArray[np.float32]) -> None:
        if self._heard:
            return
        self._heard = bool(np.any(samples))
        self._silent += len(samples)


def match_device(name: str, entries: Sequence[Mapping[str, Any]]) -> int:
    """Index of the input device of that name, else of the only one whose name contains it.

    Raises
    ------
    SoundUnavailable
        None or several fit.
    """
    inputs = [(i, str(e["name"])) for i, e in enumerate(entries) if e["max_input_channels"] > 0]
    exact = [i for i, own in inputs if own == name]
    part = [i for i, own in inputs if name.casefold() in own.casefold()]
    found = exact or part
    if len(found) == 1 or exact:
        return found[0]
    what = f"{len(found)} microphones have such a name" if found else "there is no such microphone"
    raise SoundUnavailable(what, name, "'liveview list' shows the names")
