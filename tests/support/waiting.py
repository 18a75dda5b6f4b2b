"""Waiting for what other threads do, with an end."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

LONG_S = 60.0
"""Costs nothing where it happens soon; a busy machine may take its time."""


def eventually(true: Callable[[], bool], within_s: float = LONG_S) -> bool:
    """Look until it is true or the time is over; the last look is the answer."""
    pause = threading.Event()
    end = time.monotonic() + within_s
    while not true() and time.monotonic() < end:
        pause.wait(0.01)
    return true()


def wait_for(true: Callable[[], bool], within_s: float = LONG_S) -> None:
    """Fail unless it becomes true."""
    assert eventually(true, within_s), "waited in vain"
