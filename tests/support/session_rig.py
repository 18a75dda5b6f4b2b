"""A session on a scripted source and a sink that remembers what it is given."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import numpy as np
from support.scripted_source import (
    ScriptedSource,
    info,
)

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import InputUnreadable
from liveview.model import (
    EventStart,
    FrameSource,
    Lease,
    SessionState,
    SoundBlock,
    SourceInfo,
    Spotted,
)
from liveview.settings import Settings

RNG = np.random.default_rng(5)


def scene(says: SourceInfo, level: float = 0.4) -> np.ndarray:
    """A bright round mirror on a dark ground with some noise."""
    y, x = np.mgrid[: says.height, : says.width]
    r = 0.45 * min(says.width, says.height)
    disc = np.hypot(x - says.width / 2 + 0.5, y - says.height / 2 + 0.5) < r
    light = np.where(disc, level, 0.02) * says.white
    noisy = light + RNG.normal(0, 0.01 * says.white, light.shape)
    return np.clip(noisy, 1, says.white - 1).astype(says.dtype)


def forever(says: SourceInfo, level: float = 0.4) -> Iterator[np.ndarray]:
    frames = [scene(says, level) for _ in range(16)]
    while True:
        yield from frames


class Kept:
    """An event sink that copies what it is given and gives the leases back at once."""

    def __init__(self) -> None:
        self.events: list[dict] = []
        self.open = False
        self.ended = threading.Event()

    def begin(self, start: EventStart) -> None:
        assert not self.open
        self.open = True
        self.events.append(
            {"start": start, "frames": [], "times": [], "sound": [], "marks": [], "complete": None}
        )

    def add_frame(self, lease: Lease) -> None:
        assert self.open
        self.events[-1]["frames"].append(lease.frame.number)
        self.events[-1]["times"].append(lease.frame.time_s)
        lease.release()

    def add_sound(self, block: SoundBlock) -> None:
        assert self.open
        self.events[-1]["sound"].append(block.start_s)

    def mark(self, spotted: Spotted) -> None:
        assert self.open
        self.events[-1]["marks"].append(spotted)

    def end(self, complete: bool) -> None:
        assert self.open
        self.open = False
        self.events[-1]["complete"] = complete
        self.ended.set()


class Rigged:
    """A session on scripted openings, stopped at the end of the test."""

    def __init__(self, *openings: Callable[[Callable[[], float]], FrameSource], **more) -> None:
        self.clock = SessionClock()
        self.sources: list[FrameSource] = []
        left = iter(openings)

        def make() -> FrameSource:
            try:
                source = next(left)(self.clock)
            except StopIteration:
                raise InputUnreadable("not there", "scripted") from None
            self.sources.append(source)
            return source

        self.sink = Kept()
        settings = more.pop("settings", Settings().replaced("store", ring_mb=8))
        self.session = Session(settings, make, sink=self.sink, clock=self.clock, **more)

    def __enter__(self) -> Session:
        self.session.start()
        return self.session

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            print(self.session.status())
        if self.session.status().state is not SessionState.STOPPED:
            self.session.stop()


def source(steps, says: SourceInfo | None = None):
    says = says or info()
    return lambda clock: ScriptedSource(says, steps, clock)


def quick(**catch) -> Settings:
    values = {"pre_trigger_s": 0.1, "post_trigger_s": 0.1, "learn_s": 0.1, "on": "flash"} | catch
    return Settings().replaced("store", ring_mb=8).replaced("catch", **values)


def flash_at(says: SourceInfo, when: set[int]) -> Iterator[np.ndarray]:
    for number, frame in enumerate(forever(says)):
        if number in when:
            yield np.clip(frame.astype(int) + says.white // 5, 0, says.white).astype(frame.dtype)
        else:
            yield frame
