"""One piece of long work for the Review page: a thread, its progress, its result or fault."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from liveview.errors import LiveviewError
from liveview.gui.faults import keep_trace
from liveview.review.export.job import Cancelled, Job
from liveview.worker import Worker


class Task:
    """Runs ``body(job)`` in a thread of its own.

    ::

        new --start--> running --body returns--> finished (result)
                          |   '--body raises---> finished (words say why)
                          '--cancel--> body ends at its next step: finished, cancelled

    Parameters
    ----------
    name : str
        What it is, for words on the screen: ``"Slow clip"``.
    body : callable
        Calls ``job.step()`` as it goes on.
    """

    def __init__(self, name: str, body: Callable[[Job], Any]) -> None:
        self.name = name
        self.result: Any = None
        self._body = body
        self._cancel = threading.Event()
        self._progress = (0, 0)
        self._fault = ""
        self._worker = Worker(f"review: {name}", self._run, wake=self._cancel.set)

    def start(self) -> None:
        """Begin."""
        self._worker.start()

    def cancel(self) -> None:
        """Ask it to end; what was half written is removed."""
        self._worker.ask_stop()

    @property
    def running(self) -> bool:
        """True until it has ended."""
        return self._worker.alive

    @property
    def share(self) -> float | None:
        """How far it is, 0..1; None while that is not known."""
        done, total = self._progress
        return min(done / total, 1.0) if total else None

    @property
    def cancelled(self) -> bool:
        """True when it ended because it was asked to."""
        return isinstance(self._worker.error, Cancelled)

    @property
    def words(self) -> str:
        """Why it failed; empty when it did not.

        A fault of the program is told by its kind, with its trace in a file: it must not close the
        window, in which the rest goes on.
        """
        error = self._worker.error
        if error is None:
            return ""
        if isinstance(error, LiveviewError | ValueError):
            return str(error)
        if not isinstance(error, Exception):
            raise error
        if not self._fault:
            told = " ".join(f"{type(error).__name__}: {error}".split())
            self._fault = f"{self.name} failed by a fault of the program: {told}{keep_trace(error)}"
        return self._fault

    def finish(self, timeout_s: float) -> None:
        """Cancel and wait. Raises WorkerStuck."""
        self._worker.stop(timeout_s)

    def join(self, timeout_s: float) -> None:
        """Wait for its end. Raises WorkerStuck."""
        self._worker.join(timeout_s)

    def _run(self, stop: threading.Event) -> None:
        self.result = self._body(Job(self._tell, self._cancel))

    def _tell(self, done: int, total: int) -> None:
        self._progress = (done, total)
