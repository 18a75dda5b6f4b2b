"""A session on a network camera with faults on demand, and a recorder on real files.

with LiveStream(folder) as live:
    live.server.stall()
    live.said("trying again")
    event = live.event()
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from support.mjpeg_server import MjpegServer, jpeg
from support.waiting import LONG_S, eventually, wait_for

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import FrameSource, SessionState
from liveview.recorder import Recorder, StoredEvent
from liveview.settings import Settings
from liveview.sources.stream import StreamSource

SIZE = (120, 160)
RATE_HZ = 60.0


def pictures(size: tuple[int, int] = SIZE, count: int = 8, level: float = 100.0) -> list[bytes]:
    """An evenly lit mirror with noise, as JPEG; no two pictures are the same."""
    rng = np.random.default_rng(7)
    height, width = size
    y, x = np.mgrid[:height, :width]
    inside = np.hypot(x - width / 2 + 0.5, y - height / 2 + 0.5) < 0.45 * min(size)
    light: NDArray[Any] = np.where(inside, level, 4.0)
    shots = (light + rng.normal(0, 2.0, size) for _ in range(count))
    return [jpeg(np.clip(np.rint(shot), 0, 255).astype(np.uint8)) for shot in shots]


def catching(**catch: Any) -> Settings:
    """Settings for short events by hand, small memory, no reserve on the disk."""
    wanted = {"pre_trigger_s": 0.2, "post_trigger_s": 0.2, "learn_s": 0.1, "on": "flash", **catch}
    return Settings().replaced("store", ring_mb=8, reserve_mb=0).replaced("catch", **wanted)


class LiveStream:
    """Server, session and recorder, ended together.

    Parameters
    ----------
    folder : Path
        Where events go.
    settings : Settings, optional
    read_s : float
        Longest wait for a picture.
    make : callable, optional
        Makes the source instead; receives server and session clock.
    more
        For the session.
    """

    def __init__(
        self,
        folder: Path,
        settings: Settings | None = None,
        *,
        read_s: float = 0.4,
        make: Callable[[MjpegServer, Callable[[], float]], FrameSource] | None = None,
        clock: Callable[[], float] | None = None,
        **more: Any,
    ) -> None:
        self.settings = settings or catching()
        self.server = MjpegServer(pictures(), rate_hz=RATE_HZ)
        self.recorder = Recorder(self.settings.store, folder=folder, retry_s=0.1)
        self.clock = clock or SessionClock()
        self._read_s = read_s
        self._make = make or self._stream
        self.session = Session(
            self.settings,
            lambda: self._make(self.server, self.clock),
            sink=self.recorder,
            store_status=self.recorder.status,
            clock=self.clock,
            **more,
        )

    def _stream(self, server: MjpegServer, clock: Callable[[], float]) -> FrameSource:
        return StreamSource(
            server.url,
            self.settings.camera,
            clock=clock,
            open_timeout_s=2.0,
            read_timeout_s=self._read_s,
        )

    def __enter__(self) -> LiveStream:
        self.session.start()
        self.runs()
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            print(self.session.status())
        try:
            self.session.stop(4.0)
        finally:
            self.recorder.close()
            self.server.close()

    @property
    def captured(self) -> int:
        """Frames so far."""
        return self.session.status().counters.captured

    @property
    def words(self) -> str:
        """All that stands on the screen."""
        status = self.session.status()
        return "\n".join((*status.words, *status.store.words))

    def said(self, words: str, within_s: float = LONG_S) -> None:
        """Wait for words on the screen."""
        assert eventually(lambda: words in self.words, within_s), self.words

    def is_in(self, state: SessionState) -> None:
        """Wait for a state."""
        wait_for(lambda: self.session.status().state is state)

    def runs(self, frames: int = 10) -> None:
        """Wait until frames come (again)."""
        self.is_in(SessionState.RUNNING)
        before = self.captured
        wait_for(lambda: self.captured >= before + frames)

    def event(self) -> StoredEvent:
        """Keep an event by hand and read it back."""
        before = len(self.recorder.events)
        self.session.trigger()
        return self.kept(before)

    def kept(self, index: int) -> StoredEvent:
        """Event number ``index`` (from 0) once it is finished."""
        wait_for(lambda: len(self.recorder.events) > index)
        wait_for(lambda: self.recorder.events[index].finished)
        return StoredEvent.open(self.recorder.events[index].path)


def numbers_grow(event: StoredEvent) -> bool:
    """True when numbers and times of an event's frames only grow."""
    return all(
        a.number < b.number and a.time_s < b.time_s for a, b in itertools.pairwise(event.stamps)
    )
