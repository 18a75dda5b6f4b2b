"""The newest numbers of one thread, looked at by another."""

from __future__ import annotations

import gc
import threading
from itertools import pairwise

from liveview.engine.newest import Newest


def test_the_newest_are_kept_in_order() -> None:
    newest = Newest(3)
    assert newest.last is None
    assert newest.all() == ()
    for value in (1.0, 2.0, 3.0, 4.0):
        newest.add(value)
    assert newest.all() == (2.0, 3.0, 4.0)
    assert newest.last == 4.0
    newest.clear()
    assert newest.all() == ()


def test_looking_does_not_disturb_the_writer() -> None:
    """With garbage collected at every chance, which lets the other thread run."""
    newest, stop = Newest(121), threading.Event()

    def write() -> None:
        value = 0.0
        while not stop.is_set():
            value += 1.0
            newest.add(value)

    thread = threading.Thread(target=write)
    before = gc.get_threshold()
    gc.set_threshold(1, 1, 1)
    thread.start()
    try:
        for _ in range(2_000):
            seen = newest.all()
            assert all(b - a == 1.0 for a, b in pairwise(seen))
    finally:
        stop.set()
        thread.join(10.0)
        gc.set_threshold(*before)
