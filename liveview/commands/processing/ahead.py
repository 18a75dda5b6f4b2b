"""Reads a source ahead in a thread of its own, so that decoding and the chain share the work."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator

from liveview.engine.ring import FrameRing, RingLease
from liveview.errors import SourceStalled
from liveview.model import FrameSource, SourceInfo
from liveview.worker import Worker

AHEAD = 8
"""Frames decoded before the chain asks for them."""

AHEAD_LIVE = 64
"""The same for a stream, which does not wait: its frames are stamped when they arrive."""


class ReadAhead:
    """Every frame of an open source in order, none skipped; the reader waits for the taker.

    ::

        source --grab, read_into--> ring slot --lease--> queue of ``ahead`` --> ``leases()``

    The frames come from a :class:`FrameRing`, so that what was before an event can be leased
    again. The ring must have more slots than the queue and all later holders can hold.

    Parameters
    ----------
    source : FrameSource
        Open; only the thread uses it until ``close`` has returned.
    info : SourceInfo
        What ``open`` gave.
    ring : FrameRing
        Where frames go.
    ahead : int
        Frames the queue holds.
    seconds : float, optional
        End after this much of the recording.
    """

    def __init__(
        self,
        source: FrameSource,
        info: SourceInfo,
        ring: FrameRing,
        ahead: int,
        seconds: float | None = None,
    ) -> None:
        self._source = source
        self._live = info.live
        self._ring = ring
        self._ahead = ahead
        self._seconds = seconds
        self._queue: deque[RingLease] = deque()
        self._changed = threading.Condition()
        self._over = False
        self.stalled = ""
        self._worker = Worker(
            "recording reader", self._read, on_finish=self._finished, wake=self._wake
        )

    def leases(self) -> Iterator[RingLease]:
        """Leases in order; who takes one releases it. Raises what ended the reading."""
        self._worker.start()
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._queue or self._over)
                if not self._queue:
                    break
                lease = self._queue.popleft()
                self._changed.notify_all()
            yield lease
        self._worker.raise_error()

    def close(self, timeout_s: float = 10.0) -> None:
        """End the thread; harmless when called twice.

        Raises
        ------
        WorkerStuck
            The source does not come back from a read.
        """
        self._worker.stop(timeout_s)
        while self._queue:
            self._queue.popleft().release()

    def _read(self, stop: threading.Event) -> None:
        first_s: float | None = None
        while not stop.is_set():
            try:
                stamp = self._source.grab()
            except SourceStalled as error:
                # A stream that was there and went away is a recording that has ended.
                if first_s is None or not self._live:
                    raise
                self.stalled = str(error)
                return
            if stamp is None:
                return
            first_s = stamp.time_s if first_s is None else first_s
            if self._seconds is not None and stamp.time_s - first_s >= self._seconds:
                return
            slot = self._ring.claim()
            if slot is None:
                raise RuntimeError("more frames are held than the ring was made for")
            self._source.read_into(slot.pixels)
            self._ring.publish(slot, stamp, stamp.time_s)
            self._hand_over(stop)

    def _hand_over(self, stop: threading.Event) -> None:
        lease = self._ring.newest()
        assert lease is not None
        with self._changed:
            self._changed.wait_for(lambda: len(self._queue) < self._ahead or stop.is_set())
            self._queue.append(lease)
            self._changed.notify_all()

    def _wake(self) -> None:
        with self._changed:
            self._changed.notify_all()

    def _finished(self, error: BaseException | None) -> None:
        with self._changed:
            self._over = True
            self._changed.notify_all()
