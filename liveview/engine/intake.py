"""The frames' way in: the source as opened last, its ring, and what earlier rings counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from liveview.engine.board import Board
from liveview.engine.feed import Feed
from liveview.engine.memory import fitting_ring
from liveview.engine.ring import FrameRing
from liveview.model import Frame, SourceInfo


class Intake:
    """Gives each opening of the source a ring, and goes on counting when there is a new one.

    Parameters
    ----------
    wake : callable
        Called after each new frame.
    board : Board
        Told when there is less memory than was asked for.
    """

    def __init__(self, wake: Callable[[], None], board: Board) -> None:
        self._wake = wake
        self._board = board
        self._feed: Feed | None = None
        self._lost_before = 0
        self._captured_before = 0

    @property
    def feed(self) -> Feed | None:
        """The present opening, None before the first; a new object after each."""
        return self._feed

    @property
    def captured(self) -> int:
        """Frames that reached a ring."""
        return self._captured_before + (0 if self._feed is None else self._feed.ring.captured)

    @property
    def lost(self) -> int:
        """Frames that found no free slot."""
        return self._lost_before + (0 if self._feed is None else self._feed.ring.lost)

    def open(self, info: SourceInfo, ring_mb: int) -> FrameRing:
        """The source is open (capture thread): the ring for its frames.

        It is the ring before when the frames' format is still the same.
        """
        feed = self._feed
        if feed is not None and (feed.info.shape, feed.info.dtype) == (info.shape, info.dtype):
            ring = feed.ring
            ring.info = info
        else:
            ring, words = fitting_ring(info, ring_mb, self._wake)
            self._board.say("memory", words)
            self._captured_before, self._lost_before = self.captured, self.lost
        self._feed = Feed(info, ring)
        return ring

    def ring_seconds(self, rate_hz: float | None) -> tuple[float, float | None]:
        """Seconds in the ring now, and when it is full at this rate (None: rate unknown)."""
        if self._feed is None:
            return 0.0, None
        ring = self._feed.ring
        rate_hz = rate_hz or self._feed.info.rate_hz
        return ring.seconds, ring.slots / rate_hz if rate_hz else None

    def between(self, since_s: float, until_s: float, most: int) -> tuple[Frame, ...]:
        """Copies of the frames still in the ring of a stretch of time, oldest first.

        For any thread. Of more than ``most`` the last ones are left out.
        """
        if self._feed is None:
            return ()
        ring = self._feed.ring
        leases = ring.between(since_s, ring.captured - 1, until_s)
        try:
            frames = [lease.frame for lease in leases[:most]]
            return tuple(replace(frame, pixels=frame.pixels.copy()) for frame in frames)
        finally:
            for lease in leases:
                lease.release()
