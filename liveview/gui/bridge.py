"""The one Qt object between the window and the threads: it is nudged, then pulls.

The chain thread says that there is a new reading, without handing it over: whenever the window
has time it takes the newest one, so that what is painted is fresh and nothing queues up. A
slower timer pulls the status. Changing the source stops the old session and builds the new one
in a thread of its own, so that a stuck driver never holds the window.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from liveview.errors import LiveviewError, WorkerStuck
from liveview.gui.rig_match import rig_words
from liveview.model import Reading, SessionState, SessionStatus
from liveview.settings import Settings
from liveview.worker import Worker

if TYPE_CHECKING:
    from liveview.engine.session import Session

STATUS_MS = 40
"""How often the slow things are looked after."""

STATUS_S = 0.12
"""How often the status is pulled."""


@dataclass(frozen=True, slots=True)
class SourceOffer:
    """One source to choose: what to open, and what to call it."""

    address: str
    title: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Supplies:
    """What the window is handed: it knows neither sources nor the recorder.

    ``open_session`` builds a session (not started) for an address; ``look_for_cameras`` and
    ``look_for_microphones`` may take seconds and are called in a thread; ``scenes`` are the
    simulated rig's. ``keep_events_in`` has events, those that wait in memory first, written to
    another folder; it raises LiveviewError. None where no events are kept.
    """

    open_session: Callable[[str, Settings], Session]
    look_for_cameras: Callable[[], Sequence[SourceOffer]]
    scenes: Sequence[SourceOffer]
    look_for_microphones: Callable[[], Sequence[SourceOffer]] = tuple
    keep_events_in: Callable[[Path], None] | None = None


class Bridge(QObject):
    """Owns the present session on behalf of the window."""

    new_reading = pyqtSignal(object)
    new_status = pyqtSignal(object)
    source_changed = pyqtSignal(str)
    """Address of the session that has just been put in place."""
    settings_restored = pyqtSignal(object)
    """What is kept of the camera that was opened has become part of the settings."""
    said = pyqtSignal(str)
    """A short answer to something the user did."""
    _nudged = pyqtSignal()

    def __init__(
        self,
        supplies: Supplies,
        settings: Settings,
        *,
        frame_interval_s: float = 1 / 60,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__()
        self._supplies = supplies
        self._settings = settings
        self._clock = clock
        self._interval_s = frame_interval_s
        self._session: Session | None = None
        self._newest: Reading | None = None
        self._status = SessionStatus()
        self._pending = False
        self._next_status_s = 0.0
        self._change: Worker | None = None
        self._built: Session | None = None
        self._address = ""
        self._queue: list[str] = []
        self._had_picture = False
        self._wanted: str | None = None
        self._stuck = ""
        self._words: tuple[str, ...] = ()
        self._built_with = settings
        self._rig_words = ""
        self._timer = QTimer(self)
        self._timer.setInterval(STATUS_MS)
        self._timer.timeout.connect(self._tick)
        self._nudged.connect(self._pull_reading)

    # --- what the window asks

    @property
    def session(self) -> Session | None:
        """The present session."""
        return self._session

    @property
    def settings(self) -> Settings:
        """The settings in force."""
        return self._settings

    @property
    def status(self) -> SessionStatus:
        """The newest status."""
        return self._status

    @property
    def address(self) -> str:
        """Address of the present (or coming) source."""
        return self._address

    @property
    def changing(self) -> bool:
        """True while the source is being changed."""
        return self._change is not None

    @property
    def supplies(self) -> Supplies:
        """What the window was handed."""
        return self._supplies

    def start(self) -> None:
        """Begin to pull."""
        self._timer.start()

    def open_first(self, addresses: Sequence[str]) -> None:
        """Open the first of these that delivers a picture."""
        self._queue = list(addresses[1:])
        self._begin(addresses[0])

    def open(self, address: str) -> None:
        """Change the source."""
        self._queue = []
        self._words = ()
        self._begin(address)

    def adopt(self, session: Session, address: str, otherwise: Sequence[str] = ()) -> None:
        """Take over a session that was started before the window was there."""
        self._queue = list(otherwise)
        self._address = address
        self._hold(session)

    def apply(self, settings: Settings) -> None:
        """Change the settings, here and in the session."""
        self._settings = settings
        if self._session is not None:
            self._session.apply(settings)
            self._match_rig()

    def note(self, words: str) -> None:
        """Add standing words of the window's own."""
        self._words = (*self._words, words)

    def stop(self, timeout_s: float = 2.0) -> tuple[str, ...]:
        """Stop everything within ``timeout_s``; returns words about what is stuck."""
        deadline = self._clock() + timeout_s
        self._timer.stop()
        words = []
        if self._change is not None:
            try:
                self._change.join(timeout_s / 2)
            except WorkerStuck as error:
                words.append(str(error))
        for session in {id(s): s for s in (self._session, self._built) if s is not None}.values():
            session.announce(None)
            try:
                session.stop(max(deadline - self._clock(), 0.1))
            except LiveviewError as error:
                words.append(str(error))
        self._session = self._built = self._change = None
        return tuple(words)

    # --- changing the source

    def _begin(self, address: str) -> None:
        if self._change is not None:
            self._wanted = address
            return
        old, self._session = self._session, None
        self._address = address
        self._newest = None
        self._had_picture = False
        self._rig_words = ""
        self._status = SessionStatus(SessionState.OPENING, (f"opening {address}",))
        self.new_status.emit(self._status)
        settings = self._settings

        def change(stop: object) -> None:
            if old is not None:
                old.announce(None)
                try:
                    old.stop(2.0)
                except WorkerStuck as error:
                    self._stuck = str(error)
            self._built = self._supplies.open_session(address, settings)
            self._built.start()

        self._change = Worker("change of source", change)
        self._change.start()

    def _finish_change(self) -> None:
        worker = self._change
        if worker is None or worker.alive:
            return
        worker.join(0.1)
        self._change = None
        error, session = worker.error, self._built
        self._built = None
        if self._stuck:
            self.note(self._stuck)
            self._stuck = ""
        if isinstance(error, LiveviewError):
            self._failed(str(error))
        elif error is not None:
            raise error
        elif session is not None:
            self._hold(session)
        if self._wanted is not None:
            wanted, self._wanted = self._wanted, None
            self.open(wanted)

    def _failed(self, words: str) -> None:
        """The source cannot be used: the next candidate, or the words stay on the screen."""
        if self._queue:
            self.note(words)
            self._begin(self._queue.pop(0))
        else:
            self._status = SessionStatus(SessionState.FAILED, (words,))

    # --- pulling

    def _hold(self, session: Session) -> None:
        self._session = session
        self._restore(session.settings)
        self._built_with = session.settings
        self._match_rig()
        self.source_changed.emit(self._address)
        session.announce(self._nudge, self._interval_s)
        # Its first picture, which may be its only one, was there before anybody listened.
        self._nudge()

    def _match_rig(self) -> None:
        self._rig_words = rig_words(self._address, self._built_with, self._settings)

    @property
    def other_rig(self) -> bool:
        """True while the simulated rig that runs is not the one of the settings."""
        return bool(self._rig_words)

    def _restore(self, settings: Settings) -> None:
        """A session may begin with what is kept of its camera."""
        if settings.camera != self._settings.camera:
            self._settings = self._settings.model_copy(update={"camera": settings.camera})
            self.settings_restored.emit(self._settings)

    def _nudge(self) -> None:
        """Called from the chain thread; one nudge under way is enough."""
        if not self._pending:
            self._pending = True
            self._nudged.emit()

    def _pull_reading(self) -> None:
        self._pending = False
        reading = None if self._session is None else self._session.newest()
        if reading is not None and reading is not self._newest:
            self._newest = reading
            self._had_picture = True
            self.new_reading.emit(reading)

    def _tick(self) -> None:
        self._finish_change()
        now = self._clock()
        if now >= self._next_status_s:
            self._next_status_s = now + STATUS_S
            self._pull_status()

    def _pull_status(self) -> None:
        if self._session is not None:
            self._status = self._session.status()
            failed = self._status.state is SessionState.FAILED
            if failed and self._queue and not self._had_picture:
                self._failed("; ".join(self._status.words) or f"{self._address} does not answer")
        self.new_status.emit(self._status)

    @property
    def words(self) -> tuple[str, ...]:
        """Standing words of the window's own (which source did not answer, another rig)."""
        return (*self._words, self._rig_words) if self._rig_words else self._words
