"""Shows the frames to the detectors in a thread of its own, beside the chain."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

from liveview.commands.processing.catching import Catching
from liveview.engine.ring import FrameRing, RingLease
from liveview.model import Disc
from liveview.worker import Worker

BEHIND = 8
"""Frames that may wait for the detectors; then the chain waits for them."""


@dataclass(frozen=True, slots=True)
class Watched:
    """A frame, where the disc is, and whether hands are at lamp or blade in it."""

    lease: RingLease
    disc: Disc | None
    handled: bool


class Watching:
    """Every frame once, in the order in which it is given.

    ::

        chain's thread --see--> queue of ``BEHIND`` --> this thread: ``Catching``

    Parameters
    ----------
    catching : Catching
        Used by the thread alone until ``finish`` or ``close`` has returned.
    ring : FrameRing
        Where the frames lie, and those before a spark.
    """

    def __init__(self, catching: Catching, ring: FrameRing) -> None:
        self._catching = catching
        self._ring = ring
        self._queue: deque[Watched] = deque()
        self._changed = threading.Condition()
        self._no_more = False
        self._over = False
        self._disc: Disc | None = None
        self._worker = Worker("spark watch", self._watch, on_finish=self._ended, wake=self._wake)
        self._worker.start()

    def see(self, watched: Watched) -> None:
        """Hand a frame over, lease included; raises what ended the thread."""
        with self._changed:
            self._changed.wait_for(lambda: len(self._queue) < BEHIND or self._over)
            self._queue.append(watched)
            self._changed.notify_all()
        if self._over:
            self._worker.raise_error()

    def finish(self) -> None:
        """Wait until all have been seen; raises what ended the thread."""
        with self._changed:
            self._no_more = True
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._over)
        self.close()
        self._worker.raise_error()

    def close(self, timeout_s: float = 10.0) -> None:
        """End the thread, seen or not; harmless when called twice."""
        self._worker.stop(timeout_s)
        while self._queue:
            self._queue.popleft().lease.release()

    def _watch(self, stop: threading.Event) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._queue or self._no_more or stop.is_set())
                if stop.is_set() or not self._queue:
                    return
                watched = self._queue.popleft()
                self._changed.notify_all()
            if watched.disc != self._disc:
                self._disc = watched.disc
                self._catching.set_disc(self._disc, self._ring)
            self._catching.pause(watched.handled, self._ring)
            self._catching.see(watched.lease, self._ring)

    def _wake(self) -> None:
        with self._changed:
            self._changed.notify_all()

    def _ended(self, error: BaseException | None) -> None:
        with self._changed:
            self._over = True
            self._changed.notify_all()
