"""The newest numbers of one thread, looked at by another."""

from __future__ import annotations

import gc
import threading
import time
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
    """With garbage collected at every chance, and other threads let run each time."""
    newest, stop = Newest(121), threading.Event()

    def write() -> None:
        value = 0.0
        while not stop.is_set():
            value += 1.0
            newest.add(value)

    def let_others_run(*_: object) -> None:
        time.sleep(1e-5)

    thread = threading.Thread(target=write)
    before = gc.get_threshold()
    thread.start()
    gc.callbacks.append(let_others_run)
    gc.set_threshold(1, 1, 1)
    try:
        for _ in range(200):
            seen = newest.all()
            assert all(b - a == 1.0 for a, b in pairwise(seen))
    finally:
        gc.set_threshold(*before)
        gc.callbacks.remove(let_others_run)
        stop.set()
        thread.join(10.0)
