"""The session's threads, started together and joined within one deadline."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

from liveview.engine.board import Board
from liveview.errors import WorkerStuck
from liveview.worker import Worker

SWITCH_INTERVAL_S = 0.0002
"""How soon the interpreter changes threads; the default of 5 ms is a frame period at 200 Hz."""
LEAST_WAIT_S = 0.05
"""What each thread is given, even when those before it used up the time."""


class Crew:
    """Starts and stops the threads in order, and hurries the interpreter while they run.

    Parameters
    ----------
    workers : sequence of Worker
        Whoever feeds comes before whoever reads.
    board : Board
        Told of a thread that does not end.
    """

    def __init__(self, workers: Sequence[Worker], board: Board) -> None:
        self._workers = tuple(workers)
        self._guest: Worker | None = None
        self._board = board
        self._interval_before: float | None = None

    def start(self) -> None:
        """Start all of them; returns at once."""
        self._interval_before = sys.getswitchinterval()
        sys.setswitchinterval(min(self._interval_before, SWITCH_INTERVAL_S))
        for worker in self._workers:
            worker.start()

    def take_on(self, guest: Worker) -> None:
        """End this one, too, when all stop; the guest before must have ended."""
        self._guest = guest

    def stop(self, timeout_s: float) -> None:
        """Ask all of them to stop, then join them, readers first.

        Raises
        ------
        WorkerStuck
            A thread did not end within ``timeout_s``. All others have ended.
        """
        deadline = time.monotonic() + timeout_s
        workers = self._workers if self._guest is None else (*self._workers, self._guest)
        for worker in workers:
            worker.ask_stop()
        stuck: WorkerStuck | None = None
        for worker in reversed(workers):
            try:
                worker.join(max(LEAST_WAIT_S, deadline - time.monotonic()))
            except WorkerStuck as error:
                stuck = error
                self._board.say(worker.name, str(error))
        if self._interval_before is not None:
            sys.setswitchinterval(self._interval_before)
            self._interval_before = None
        if stuck is not None:
            raise stuck
