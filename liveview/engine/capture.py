"""The capture thread: it owns the source, stamps and decodes straight into the ring."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from liveview.engine.board import Board
from liveview.engine.newest import Newest
from liveview.engine.ring import FrameRing
from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.model import FrameSource, FrameStamp, Pixels, SessionState, SourceInfo, SourceKind

FIRST_RETRY_S = 0.25
LONGEST_RETRY_S = 4.0
CHANGES_AT_ONCE = 5
"""So many changes of format in a row are followed at once: hands may be on the settings. A stream
that goes on changing is given a rest before each opening, which grows as after a stall."""
CALM_S = 10.0
"""After so long without a change they count from the beginning."""
HOLE_S = 2.0
"""After a pause of this length the rate is measured anew."""
RATE_OVER = 120
"""Frame intervals over which the measured rate is taken."""
_RECORDED = (SourceKind.VIDEO, SourceKind.IMAGES, SourceKind.TIFF, SourceKind.EVENT)


class Capture:
    """Body of the capture thread.

    ::

        opening --> running --end of a recording--> (returns)
           ^           |
           |           |--FormatChanged--> opening with a new ring, at once but for many in a row
           '--waits----'--SourceStalled, stream or camera gone--> stalled, tries again

    It waits for nobody: a frame for which the ring has no slot is decoded into a spare one and
    counted as lost. Frame numbers go on over a reopening, so that they stay unique.

    Parameters
    ----------
    make : callable
        Makes a new, unopened source.
    opened : callable
        Receives what the source says of itself, gives the ring to write into.
    board : Board
        Where state and words go.
    clock : callable
        The session's clock.
    """

    def __init__(
        self,
        make: Callable[[], FrameSource],
        opened: Callable[[SourceInfo], FrameRing],
        board: Board,
        clock: Callable[[], float],
    ) -> None:
        self._make = make
        self._opened = opened
        self._board = board
        self._clock = clock
        self._times = Newest(RATE_OVER + 1)
        self._warned = ""
        self._next_number = 0
        self._lost_source = 0
        self._arrived_s: float | None = None
        self._recorded = False
        self._worked = False
        self._retry_s = FIRST_RETRY_S
        self._changes = 0
        self._changed_s = -math.inf
        self._reopen = threading.Event()

    @property
    def lost_source(self) -> int:
        """Frames that never reached the program: gaps in the source's numbers."""
        return self._lost_source

    @property
    def arrived_s(self) -> float | None:
        """When the newest frame came in, session's clock."""
        return self._arrived_s

    @property
    def rate_hz(self) -> float | None:
        """Measured frame rate from the newest stamps; None before there are two."""
        times = self._times.all()
        if len(times) < 2 or times[-1] <= times[0]:
            return None
        return (len(times) - 1) / (times[-1] - times[0])

    def reopen(self) -> None:
        """Close the source after the present frame and open it again."""
        self._reopen.set()

    def __call__(self, stop: threading.Event) -> None:
        """Run until ``stop`` or the end of a recording.

        Raises
        ------
        InputUnreadable
            It could not be opened, and it is not of a kind that comes back by itself.
        """
        while not stop.is_set():
            self._reopen.clear()
            self._board.enter(SessionState.OPENING)
            try:
                if self._run_source(stop):
                    return
            except FormatChanged as error:
                if self._recorded:
                    words = f"{error.what}: the recording is read up to there"
                    self._board.say("source", words)
                    return
                self._follow_change(error, stop)
            except SourceStalled as error:
                self._wait_stalled(error, stop)
            except InputUnreadable as error:
                if not self._worked:
                    raise
                self._wait_stalled(error, stop)

    def _follow_change(self, error: FormatChanged, stop: threading.Event) -> None:
        """Open again at once, or after a rest when it was so again and again."""
        calm = self._clock() - self._changed_s > CALM_S
        self._changes = 1 if calm else self._changes + 1
        beyond = self._changes - CHANGES_AT_ONCE
        if beyond <= 0:
            self._board.say("source", f"{error.what}: opening it again")
        else:
            words = f"{error.what} again and again: trying again"
            self._board.enter(SessionState.STALLED, words)
            stop.wait(min(FIRST_RETRY_S * 2.0 ** min(beyond - 1, 9), LONGEST_RETRY_S))
        self._changed_s = self._clock()

    def _wait_stalled(self, error: InputUnreadable, stop: threading.Event) -> None:
        self._board.enter(SessionState.STALLED, f"{error.what}: trying again")
        stop.wait(self._retry_s)
        self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)

    def _run_source(self, stop: threading.Event) -> bool:
        """One life of a source; True when there is nothing more to come."""
        source = self._make()
        try:
            info = source.open()
            self._recorded = info.kind in _RECORDED
            ring = self._opened(info)
            spare = np.empty(info.shape, info.dtype)
            first_number = self._next_number
            self._times.clear()
            self._warned = ""
            self._board.say("frames", "")
            while not stop.is_set() and not self._reopen.is_set():
                stamp = source.grab()
                if stamp is None:
                    return self._ended(info)
                info = self._followed(source, info)
                self._one_frame(source, ring, spare, self._numbered(stamp, first_number))
                self._pass_on_warnings(source)
            return stop.is_set()
        finally:
            source.close()

    def _followed(self, source: FrameSource, before: SourceInfo) -> SourceInfo:
        """What the source says of itself now: a camera's exposure or gain may have changed."""
        now: SourceInfo | None = getattr(source, "info", None)
        if now is None or now is before or now == before:
            return before
        self._opened(now)
        return now

    def _pass_on_warnings(self, source: FrameSource) -> None:
        """The newest of what a source found wrong with its frames goes on the screen."""
        warnings: tuple[str, ...] = getattr(source, "warnings", ())
        if warnings and warnings[-1] != self._warned:
            self._warned = warnings[-1]
            self._board.say("frames", self._warned)

    def _ended(self, info: SourceInfo) -> bool:
        if info.kind in (SourceKind.CAMERA, SourceKind.STREAM):
            raise SourceStalled("the stream ended", info.name)
        return True

    def _numbered(self, stamp: FrameStamp, first_number: int) -> FrameStamp:
        number = first_number + stamp.number
        self._lost_source += max(number - self._next_number, 0)
        self._next_number = max(number + 1, self._next_number)
        return stamp if first_number == 0 else replace(stamp, number=number)

    def _one_frame(
        self, source: FrameSource, ring: FrameRing, spare: Pixels, stamp: FrameStamp
    ) -> None:
        slot = ring.claim()
        try:
            source.read_into(spare if slot is None else slot.pixels)
        except BaseException:
            if slot is not None:
                ring.abandon(slot)
            raise
        before_s = self._times.last
        if before_s is not None and stamp.time_s - before_s > HOLE_S:
            self._times.clear()
        self._times.add(stamp.time_s)
        self._arrived_s = self._clock()
        if slot is not None:
            ring.publish(slot, stamp, self._arrived_s)
        if self._board.state is not SessionState.RUNNING:
            self._worked = True
            self._retry_s = FIRST_RETRY_S
            self._board.enter(SessionState.RUNNING, "")
