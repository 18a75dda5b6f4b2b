"""A search for devices in a thread, for the sheets that offer them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from liveview.errors import LiveviewError
from liveview.gui.bridge import SourceOffer
from liveview.worker import Worker

LOOK_MS = 60


class DeviceSearch(QObject):
    """Looks for devices of one kind, once at a time.

    Parameters
    ----------
    kind : str
        What is looked for, singular: ``"microphone"``.
    look_for : callable
        Finds them; may take seconds and runs in a thread.
    parent : QObject
    """

    ended = pyqtSignal()
    """``found`` and ``words`` are new."""

    def __init__(
        self, kind: str, look_for: Callable[[], Sequence[SourceOffer]], parent: QObject
    ) -> None:
        super().__init__(parent)
        self._kind = kind
        self._look_for = look_for
        self._worker: Worker | None = None
        self._result: tuple[SourceOffer, ...] = ()
        self.found: tuple[SourceOffer, ...] = ()
        self.words = ""
        """How it stands, and what went wrong; empty when something was found."""
        self._poll = QTimer(self)
        self._poll.setInterval(LOOK_MS)
        self._poll.timeout.connect(self._collect)

    def start(self) -> bool:
        """Begin; False while one is under way."""
        if self._worker is not None:
            return False
        self.words = f"Looking for {self._kind}s"
        self._worker = Worker(f"search for {self._kind}s", self._look)
        self._worker.start()
        self._poll.start()
        return True

    def _look(self, stop: object) -> None:
        self._result = tuple(self._look_for())

    def _collect(self) -> None:
        worker = self._worker
        if worker is None or worker.alive:
            return
        worker.join(0.5)
        self._worker = None
        self._poll.stop()
        if worker.error is None:
            self.found = self._result
            self.words = "" if self.found else f"No {self._kind} is there"
        elif isinstance(worker.error, LiveviewError):
            self.found, self.words = (), str(worker.error)
        else:
            self.found, self.words = (), ""
            raise worker.error
        self.ended.emit()

    def finish(self, timeout_s: float) -> None:
        """Wait for one that is under way. Raises WorkerStuck."""
        self._poll.stop()
        if self._worker is not None:
            self._worker.join(timeout_s)
            self._worker = None
