"""When the last spark is replayed: asked for, or by itself after each one; then live again."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from liveview.errors import LiveviewError, WorkerStuck
from liveview.gui.bridge import Bridge
from liveview.gui.review_reader import Sight
from liveview.gui.show_replay import (
    EventTape,
    MemoryTape,
    Stretch,
    Tape,
    manner_of,
    newest_event,
)
from liveview.gui.show_still import Still
from liveview.model import Reading, SessionState, SessionStatus
from liveview.review.player import rate_words
from liveview.settings import Settings

FINISH_S = 1.0


class SlowReplays:
    """One replay at a time.

    Parameters
    ----------
    bridge : Bridge
        Session, status, and what is told to the presenter.
    present : callable
        The settings in force and the newest live reading.
    """

    def __init__(
        self, bridge: Bridge, present: Callable[[], tuple[Settings, Reading | None]]
    ) -> None:
        self._bridge = bridge
        self._present = present
        self.by_itself = False
        """Every new spark is replayed while the show is on the screen."""
        self._tape: Tape | None = None
        self._due_s: float | None = None
        self._seen_s: float | None = None

    @property
    def under_way(self) -> bool:
        """It plays, or waits for the frames after the spark."""
        return self._tape is not None or self._due_s is not None

    @property
    def playing(self) -> bool:
        """Time must go on in it."""
        return self._tape is not None

    @property
    def shown(self) -> Still | None:
        """Its picture, None while the live one is seen."""
        there = None if self._tape is None else self._tape.shown
        return None if there is None else Still(*there)

    @property
    def mark(self) -> str:
        """What the audience reads meanwhile; empty when live."""
        if self.shown is None:
            return ""
        rate = Fraction(self._present()[0].show.replay_rate)
        return f"Slow replay, {rate_words(rate)}" if rate < 1 else "Replay"

    def toggle(self, status: SessionStatus) -> None:
        """The last spark; again: live at once."""
        if self.under_way:
            self._end()
            return
        spark_s = _newest(status)
        if spark_s is not None:
            self._due_s = self._seen_s = spark_s
            self._begin_when_due(status)
        elif not self._from_disk(status):
            self._bridge.said.emit("There is no spark to show again yet.")

    def watch(self, status: SessionStatus, *, on_stage: bool) -> None:
        """Sparks may have come."""
        spark_s = _newest(status)
        if spark_s is not None and (self._seen_s is None or spark_s > self._seen_s + 1e-6):
            # Of sparks during a replay only the last one counts, and it is not shown by itself.
            self._seen_s = spark_s
            if self.by_itself and on_stage and not self.under_way:
                self._due_s = spark_s
        self._begin_when_due(status)

    def advance(self, seconds: float) -> bool:
        """Time has gone by; True when the replay has just ended."""
        if self._tape is None:
            return False
        self._tape.advance(seconds)
        if self._tape.over:
            self._end()
            return True
        return False

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """End it; words about what is stuck."""
        tape, self._tape, self._due_s = self._tape, None, None
        if tape is not None:
            try:
                tape.finish(timeout_s)
            except (WorkerStuck, LiveviewError) as error:
                return (str(error),)
        return ()

    def _stretch(self, spark_s: float) -> Stretch:
        show = self._present()[0].show
        rate = Fraction(show.replay_rate)
        return Stretch(spark_s, show.replay_before_s, show.replay_after_s, rate)

    def _begin_when_due(self, status: SessionStatus) -> None:
        """Begin as soon as the frames after the spark are in the memory."""
        spark_s, session, source = self._due_s, self._bridge.session, status.source
        if spark_s is None or session is None or source is None or self._tape is not None:
            return
        settings, live = self._present()
        now_s = status.trigger.now_s
        if status.state is SessionState.RUNNING and (
            now_s is None or now_s < spark_s + settings.show.replay_after_s
        ):
            return
        self._due_s = None
        try:
            manner = manner_of(settings, source, session.calibration, live)
        except LiveviewError as error:
            self._bridge.said.emit(str(error))
            return
        self._tape = MemoryTape(session.frames_between, self._stretch(spark_s), manner)

    def _from_disk(self, status: SessionStatus) -> bool:
        path = newest_event(status.store.folder, status.store.newest)
        if path is None:
            return False
        enhance = self._present()[0].enhance
        sight = Sight(enhance.view, enhance.gain_contrast)
        self._tape = EventTape(path, self._stretch(0.0), sight)
        return True

    def _end(self) -> None:
        tape = self._tape
        fault = "" if tape is None else tape.fault
        for words in self.finish(FINISH_S):
            self._bridge.note(words)
        if not fault:
            return
        # What the memory has lost may be on the disk.
        if not isinstance(tape, MemoryTape) or not self._from_disk(self._bridge.status):
            self._bridge.said.emit(fault)


def _newest(status: SessionStatus) -> float | None:
    """Time of the newest spark."""
    return max((spot.time_s for spot in status.recent), default=None)
