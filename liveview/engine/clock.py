"""The one clock of a session."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime


class SessionClock:
    """Seconds since the session's start on the monotonic clock.

    Calling it gives the time. The same object is handed to the frame source, the sound source
    and the session, so that all stamps can be compared.

    Parameters
    ----------
    monotonic, wall : callable
        Clocks in seconds; ``time.monotonic`` and ``time.time`` unless a test hands others in.
    """

    def __init__(
        self,
        monotonic: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._monotonic = monotonic
        self._wall = wall
        self._start_s = monotonic()

    def __call__(self) -> float:
        return self._monotonic() - self._start_s


def wall_minus(clock: Callable[[], float], wall: Callable[[], float] = time.time) -> float:
    """Seconds to add to ``clock``'s times to get Unix time, as things stand now."""
    return wall() - clock()


def iso_at(unix_s: float) -> str:
    """Local wall time in ISO 8601 with offset, to the millisecond."""
    return datetime.fromtimestamp(unix_s).astimezone().isoformat(timespec="milliseconds")
