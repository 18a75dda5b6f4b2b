"""The background thread that has spools turned into finished event folders, one by one."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path

from liveview.errors import WorkerStuck
from liveview.recorder.aside import Aside
from liveview.recorder.convert import finish_part
from liveview.recorder.files import lower_priority
from liveview.recorder.recovery import Recovered, recover_part
from liveview.worker import Worker

RETRY_S = 30.0
"""How long a spool that could not be converted rests before the next attempt."""


class Converter:
    """Owns the thread; parts go in, finished folders come out through ``on_done``.

    Parameters
    ----------
    on_done : callable
        Receives a :class:`Recovered` for every attempt, from the thread.
    reserve_bytes : callable
        Disk space to leave free.
    busy : callable
        While it says so nothing new is begun: the writer has the disk for itself.
    """

    def __init__(
        self,
        on_done: Callable[[Recovered], None],
        reserve_bytes: Callable[[], int],
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        self._on_done = on_done
        self._reserve_bytes = reserve_bytes
        self._busy = busy
        self._parts: deque[Path] = deque()
        self._failed: list[Path] = []
        self._working = False
        self._changed = threading.Condition()
        self._aside = Aside()
        self._worker = Worker("event converter", self._body, wake=self._wake)

    @property
    def waiting(self) -> int:
        """Events not converted yet, the current one included."""
        return len(self._parts) + len(self._failed) + self._working

    def start(self) -> None:
        """Start the thread."""
        self._worker.start()

    def add(self, part: Path) -> None:
        """Queue a spool; what stands in the queue is a path only, the data are on the disk."""
        with self._changed:
            self._parts.append(part)
            self._changed.notify_all()

    def wait_until_done(self, timeout_s: float | None) -> bool:
        """True when nothing is left; False after the time or when only failed ones are left."""
        with self._changed:
            self._changed.wait_for(lambda: not self._parts and not self._working, timeout_s)
            return not self.waiting

    def ask_stop(self) -> None:
        """Stop after the current frame; spools wait for the next start."""
        self._worker.ask_stop()

    def join(self, timeout_s: float) -> None:
        """Wait for the end; the process beside is killed halfway. Raises WorkerStuck."""
        try:
            self._worker.join(timeout_s / 2)
        except WorkerStuck:
            self._aside.kill()
            self._worker.join(timeout_s / 2)

    def _wake(self) -> None:
        self._aside.end()
        with self._changed:
            self._changed.notify_all()

    def _body(self, stop: threading.Event) -> None:
        lower_priority()  # the process beside is low from its first import on
        try:
            while not stop.is_set():
                part = self._next(stop)
                if part is None:
                    continue
                self._convert(part, stop)
                with self._changed:
                    self._working = False
                    self._changed.notify_all()
        finally:
            self._aside.end()
            self._aside.join()

    def _next(self, stop: threading.Event) -> Path | None:
        with self._changed:
            if not self._parts and not stop.is_set():
                woken = self._changed.wait(RETRY_S if self._failed else None)
                if not woken:
                    self._parts.extend(self._failed)
                    self._failed.clear()
            if stop.is_set() or not self._parts:
                return None
            self._working = True
            return self._parts.popleft()

    def _convert(self, part: Path, stop: threading.Event) -> None:
        done = self._aside_or_here(part, stop)
        if stop.is_set() and done.path is None:
            return
        if done.path is None and part.exists():
            self._failed.append(part)
        self._on_done(done)

    def _aside_or_here(self, part: Path, stop: threading.Event) -> Recovered:
        """In a process of its own; where none can be started, in this thread."""
        reserve_bytes = self._reserve_bytes()
        try:
            return self._aside.recover(part, reserve_bytes)
        except OSError:
            return recover_part(
                part,
                lambda path: finish_part(path, stop=stop.is_set, reserve_bytes=reserve_bytes),
            )
