"""Waiting for what other threads do, with an end."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable


def eventually(true: Callable[[], bool], within_s: float = 15.0) -> bool:
    """Look until it is true or the time is over; the last look is the answer."""
    pause = threading.Event()
    end = time.monotonic() + within_s
    while not true() and time.monotonic() < end:
        pause.wait(0.01)
    return true()


def wait_for(true: Callable[[], bool], within_s: float = 15.0) -> None:
    """Fail unless it becomes true."""
    assert eventually(true, within_s), "waited in vain"
