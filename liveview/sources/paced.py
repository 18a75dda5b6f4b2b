"""Recordings at the speed at which they happened, on the session's clock."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

from liveview.model import (
    FrameSource,
    FrameStamp,
    Pixels,
    SoundBlock,
    SoundInfo,
    SoundSource,
    SourceInfo,
)

Wait = Callable[[float], object]
"""Waits for some seconds; may end early, as an event's ``wait`` does when it is set."""

LONGEST_WAIT_S = 1.0
"""Longer gaps in a recording are cut to this, so that whoever waits can be stopped in time."""


class Pace:
    """Where a recording's time 0 lies on the session's clock.

    It is fixed by the first frame or sound block that asks. Pictures and sound of one recording
    share a pace and so stay together.

    Parameters
    ----------
    clock : callable
        The session's clock, seconds.
    wait : callable, optional
        Waits for some seconds.
    """

    def __init__(self, clock: Callable[[], float], wait: Wait | None = None) -> None:
        self._clock = clock
        self._wait: Wait = wait or threading.Event().wait
        self._lock = threading.Lock()
        self._offset_s: float | None = None

    def on_session(self, recorded_s: float) -> float:
        """A time of the recording on the session's clock."""
        with self._lock:
            if self._offset_s is None:
                self._offset_s = self._clock() - recorded_s
            return recorded_s + self._offset_s

    def restart(self) -> None:
        """Let the next one that asks fix it anew: the recording starts again."""
        with self._lock:
            self._offset_s = None

    def wait_for(self, recorded_s: float, longest_s: float) -> float:
        """Wait until a time of the recording is due; returns it on the session's clock.

        What would take longer than ``longest_s`` is cut to that: the recording runs ahead.
        """
        due_s = self.on_session(recorded_s)
        left_s = due_s - self._clock()
        if left_s > longest_s:
            with self._lock:
                if self._offset_s is not None:
                    self._offset_s -= left_s - longest_s
            due_s, left_s = due_s - (left_s - longest_s), longest_s
        if left_s > 0:
            self._wait(left_s)
        return due_s


class PacedFrames:
    """A recording that delivers its frames when they are due, with times of the session's clock.

    A reader that is late gets the frames at once until it has caught up; none is left out.

    Parameters
    ----------
    source : FrameSource
        The recording.
    pace : Pace
    """

    def __init__(self, source: FrameSource, pace: Pace) -> None:
        self._source = source
        self._pace = pace

    @property
    def warnings(self) -> tuple[str, ...]:
        """Those of the recording."""
        return tuple(getattr(self._source, "warnings", ()))

    def open(self) -> SourceInfo:
        """Open the recording. Raises what it raises."""
        return replace(self._source.open(), live=True)

    def grab(self) -> FrameStamp | None:
        """Wait until the next frame is due; None at the end. Raises what the recording raises."""
        stamp = self._source.grab()
        if stamp is None:
            return None
        return replace(stamp, time_s=self._pace.wait_for(stamp.time_s, LONGEST_WAIT_S))

    def read_into(self, out: Pixels) -> None:
        """The grabbed frame."""
        self._source.read_into(out)

    def close(self) -> None:
        """Close the recording."""
        self._source.close()


class PacedSound:
    """The same for sound: each block is delivered when its last sample is due."""

    def __init__(self, source: SoundSource, pace: Pace) -> None:
        self._source = source
        self._pace = pace

    def open(self) -> SoundInfo:
        """Open the sound. Raises what it raises."""
        return replace(self._source.open(), live=True)

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block, when its last sample is due; None at the end."""
        block = self._source.read(timeout_s)
        if block is None:
            return None
        lasts_s = len(block.samples) / block.rate_hz
        end_s = self._pace.wait_for(block.start_s + lasts_s, max(LONGEST_WAIT_S, lasts_s))
        return replace(block, start_s=end_s - lasts_s)

    def close(self) -> None:
        """Close the sound."""
        self._source.close()
