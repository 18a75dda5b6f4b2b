"""A frame source that does what a script says: real arrays, real time, faults on demand."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.model import FrameStamp, Pixels, SoundBlock, SoundInfo, SourceInfo, SourceKind


def info(
    width: int = 64,
    height: int = 48,
    channels: int = 1,
    bits: int = 8,
    *,
    rate_hz: float | None = 200.0,
    live: bool = True,
    kind: SourceKind = SourceKind.CAMERA,
    **more: object,
) -> SourceInfo:
    """What a scripted source says of itself."""
    white = 2**bits - 1
    return SourceInfo(kind, "scripted", width, height, channels, bits, white, live, rate_hz, **more)


@dataclass
class Pause:
    """Deliver nothing for a while."""

    seconds: float


@dataclass
class Skip:
    """Lose some frames before they reach the program."""

    frames: int


@dataclass
class Fail:
    """Raise this."""

    error: Exception


@dataclass
class Stuck:
    """Block in ``grab`` whatever happens, until the test lets go."""

    let_go: threading.Event = field(default_factory=threading.Event)


Step = Pixels | Pause | Skip | Fail | Stuck


def stalled(seconds: float = 3) -> Fail:
    """The source's time-out."""
    return Fail(SourceStalled(f"no frame for {seconds:g} s", "scripted"))


def format_changed() -> Fail:
    """Another picture size."""
    return Fail(FormatChanged("the picture size changed", "scripted"))


def gone() -> Fail:
    """The device is not there any more."""
    return Fail(InputUnreadable("the camera is gone", "scripted"))


class ScriptedSource:
    """One opening of a source: the info, then the steps, then the end.

    Frames are paced at the rate of ``info``; ``opens`` and ``closes`` are counted so that a
    test can see that every opening was closed by the thread that opened it.
    """

    def __init__(
        self,
        says: SourceInfo,
        steps: Iterable[Step],
        clock: Callable[[], float],
        paced: bool = True,
    ) -> None:
        self._says = says
        self._steps: Iterator[Step] = iter(steps)
        self._clock = clock
        self._paced = paced and says.rate_hz is not None
        self._number = 0
        self._next_s: float | None = None
        self._pixels: Pixels | None = None
        self._thread: int | None = None
        self.opens = 0
        self.closes = 0
        self.stop = threading.Event()

    def open(self) -> SourceInfo:
        self._thread = threading.get_ident()
        self.opens += 1
        return self._says

    def grab(self) -> FrameStamp | None:
        assert threading.get_ident() == self._thread
        for step in self._steps:
            if isinstance(step, Fail):
                raise step.error
            if isinstance(step, Pause | Stuck):
                self._next_s = None  # what was not taken in the meantime does not come later
            if isinstance(step, Pause):
                time.sleep(step.seconds)
            elif isinstance(step, Skip):
                self._number += step.frames
            elif isinstance(step, Stuck):
                step.let_go.wait()
            else:
                return self._frame(step)
        return None

    def _frame(self, pixels: Pixels) -> FrameStamp:
        now_s = self._clock()
        if self._paced:
            assert self._says.rate_hz is not None
            due_s = now_s if self._next_s is None else self._next_s
            self._next_s = due_s + 1.0 / self._says.rate_hz
            if due_s > now_s:
                time.sleep(due_s - now_s)
            now_s = due_s
        self._pixels = pixels
        self._number += 1
        return FrameStamp(self._number - 1, now_s)

    def read_into(self, out: Pixels) -> None:
        assert self._pixels is not None
        np.copyto(out, self._pixels)

    def close(self) -> None:
        assert self._thread is None or threading.get_ident() == self._thread
        self.closes += 1


class ScriptedSound:
    """A sound source with prepared blocks; paced in real time against the clock when asked."""

    def __init__(
        self,
        blocks: Iterable[SoundBlock | Exception],
        *,
        rate_hz: float = 48000.0,
        clock: Callable[[], float] | None = None,
    ) -> None:
        self._blocks = iter(blocks)
        self._rate_hz = rate_hz
        self._clock = clock
        self.closes = 0

    def open(self) -> SoundInfo:
        return SoundInfo("scripted", self._rate_hz, 1, True)

    def read(self, timeout_s: float) -> SoundBlock | None:
        block = next(self._blocks, None)
        if isinstance(block, Exception):
            raise block
        if block is not None and self._clock is not None:
            end_s = block.start_s + len(block.samples) / block.rate_hz
            time.sleep(max(0.0, end_s - self._clock()))
        return block

    def close(self) -> None:
        self.closes += 1
