"""The thread that reads events for the Review page: the newest wish only, answers in order.

::

    window --ask(wish)--> newest wish --> thread: open, decode, enhance --> news --take()--> window
                          (an older one that                                (bounded, pulled
                           waits is replaced)                                on a timer)
"""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from liveview.errors import LiveviewError
from liveview.model import Calibration, Disc, EventStart, Reading, Spotted
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import VIEWS_OF_ONE_FRAME, Enhancer, event_settings
from liveview.review.export.slowsound import assembled
from liveview.settings import Settings
from liveview.worker import Worker

ENVELOPE_BINS = 8192
"""Parts into which an event's sound is divided for drawing."""

KEPT_CHAINS = 3
"""Ways of enhancing one event that are kept ready."""

MOST_NEWS = 64

Envelope = NDArray[np.float32]
"""Loudest sample of each of equal parts of the event, full scale 1.0."""


@dataclass(frozen=True, slots=True)
class Sight:
    """How frames are to be seen. ``gain`` is the contrast at the palette's end, None: automatic."""

    view: str = "lifted"
    gain: float | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """One frame of one event; ``index`` None stands for the spark. ``beside``: seen so, too."""

    path: Path
    index: int | None
    sight: Sight
    beside: Sight | None = None
    serial: int = 0


@dataclass(frozen=True, slots=True)
class EventFacts:
    """What is known of an event once it is open."""

    path: Path
    name: str
    start: EventStart
    spotted: tuple[Spotted, ...]
    times_s: tuple[float, ...]
    lost_before: tuple[int, ...]
    spark_index: int
    rate_hz: float | None
    complete: bool
    raw: bool
    settings: Settings
    disc: Disc | None
    calibration: Calibration
    scale: float
    words: tuple[str, ...]

    @property
    def lost(self) -> int:
        """Frames that never reached the program."""
        return sum(self.lost_before)


@dataclass(frozen=True, slots=True)
class Shown:
    """A frame as it was wished for."""

    wish: Wish
    index: int
    reading: Reading
    beside: Reading | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """The sound of an event, for drawing."""

    path: Path
    envelope: Envelope | None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """What could not be done, in words."""

    path: Path
    words: str
    index: int | None = None


News = EventFacts | Shown | Heard | Fault


class Desk:
    """An open event and the ways in which it is seen. For one thread.

    Raises
    ------
    LiveviewError
        It cannot be opened.
    """

    def __init__(self, path: Path, sight: Sight) -> None:
        self.event = StoredEvent.open(path)
        self._chains: OrderedDict[Sight, Enhancer] = OrderedDict()
        try:
            self._base = event_settings(self.event)
            self._first = Enhancer(self.event, self._settings(sight), exact=False)
        except BaseException:
            self.event.close()
            raise
        self._chains[sight] = self._first
        plain = sight.gain is None and sight.view in VIEWS_OF_ONE_FRAME
        self._automatic = self._first.scale if plain else None

    def _settings(self, sight: Sight) -> Settings:
        return self._base.replaced("enhance", view=sight.view, gain_contrast=sight.gain)

    def facts(self) -> EventFacts:
        """What there is to know."""
        event, first = self.event, self._first
        return EventFacts(
            path=event.path,
            name=event.name,
            start=event.start,
            spotted=event.spotted,
            times_s=tuple(stamp.time_s for stamp in event.stamps),
            lost_before=tuple(event.lost_before),
            spark_index=event.spark_index,
            rate_hz=event.rate_hz,
            complete=event.complete,
            raw=event.raw,
            settings=self._base,
            disc=first.disc,
            calibration=first.calibration,
            scale=first.scale,
            words=first.words,
        )

    def chain(self, sight: Sight) -> Enhancer:
        """The event seen so; made once, the most recent are kept."""
        found = self._chains.get(sight)
        if found is None:
            # The gain that these views find by themselves is the same for all of them.
            shared = sight.gain is None and sight.view in VIEWS_OF_ONE_FRAME
            found = Enhancer(
                self.event,
                self._settings(replace(sight, gain=self._automatic) if shared else sight),
                calibration=self._first.calibration,
                disc=self._first.disc,
                exact=False,
            )
            if shared:
                self._automatic = found.scale
            self._chains[sight] = found
            if len(self._chains) > KEPT_CHAINS:
                self._chains.popitem(last=False)
        self._chains.move_to_end(sight)
        return found

    def reading(self, index: int, sight: Sight) -> Reading:
        """A frame, its picture a copy of its own."""
        reading = self.chain(sight).reading(index)
        return replace(reading, picture=reading.picture.copy())

    def close(self) -> None:
        """Let go of the files."""
        self.event.close()


def sound_envelope(event: StoredEvent, bins: int = ENVELOPE_BINS) -> Envelope | None:
    """Loudness over the event's time, None without sound.

    Raises
    ------
    InputUnreadable
        The track is damaged.
    """
    blocks = event.sound()
    if not blocks or not event.duration_s:
        return None
    start = event.stamps[0].time_s
    track, _ = assembled(blocks, start, event.stamps[-1].time_s)
    if not len(track):
        return None
    bins = min(bins, len(track))
    edges = np.linspace(0, len(track), bins + 1).astype(np.intp)[:-1]
    loudest: Envelope = np.maximum.reduceat(np.abs(track), edges).astype(np.float32)
    return loudest


class Reader:
    """Owns the reading thread; see the figure at the top."""

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._wish: Wish | None = None
        self._news: deque[News] = deque(maxlen=MOST_NEWS)
        self._busy = False
        self._closing = False
        self._desk: Desk | None = None
        self._heard = False
        self._last_index = 0
        self._worker = Worker("review reader", self._run, wake=self._wake)
        self._started = False

    def ask(self, wish: Wish) -> None:
        """Make this the newest wish; the thread starts with the first one."""
        with self._condition:
            self._wish = wish
            self._condition.notify_all()
        if not self._started:
            self._started = True
            self._worker.start()

    def let_go(self) -> None:
        """Close the files of the open event (it is going to be moved)."""
        with self._condition:
            self._wish = None
            self._closing = True
            self._condition.notify_all()

    def take(self) -> list[News]:
        """What has come since the last time, oldest first."""
        with self._condition:
            found = list(self._news)
            self._news.clear()
            return found

    @property
    def busy(self) -> bool:
        """True while something is being done or news has not been taken."""
        with self._condition:
            return self._busy or self._wish is not None or bool(self._news)

    def stop(self, timeout_s: float) -> None:
        """End the thread. Raises WorkerStuck."""
        if self._started:
            self._worker.stop(timeout_s)
            self._worker.raise_error()

    def _wake(self) -> None:
        with self._condition:
            self._condition.notify_all()

    def _tell(self, news: News) -> None:
        with self._condition:
            self._news.append(news)

    def _run(self, stop: threading.Event) -> None:
        try:
            while (wish := self._next(stop)) is not None:
                self._serve(wish)
                self._idle(stop, wish)
        finally:
            self._drop()

    def _next(self, stop: threading.Event) -> Wish | None:
        while not stop.is_set():
            with self._condition:
                self._busy = False
                self._condition.wait_for(
                    lambda: self._wish is not None or self._closing or stop.is_set()
                )
                closing, self._closing = self._closing, False
                wish, self._wish = self._wish, None
                self._busy = wish is not None or closing
            if closing:
                self._drop()
            if wish is not None:
                return wish
        return None

    def _serve(self, wish: Wish) -> None:
        try:
            desk = self._open(wish)
        except LiveviewError as error:
            self._tell(Fault(wish.path, str(error)))
            return
        index = desk.event.spark_index if wish.index is None else wish.index
        try:
            reading = desk.reading(index, wish.sight)
            beside = None if wish.beside is None else desk.reading(index, wish.beside)
        except LiveviewError as error:
            self._tell(Fault(wish.path, str(error), index))
            return
        self._tell(Shown(wish, index, reading, beside))

    def _open(self, wish: Wish) -> Desk:
        if self._desk is None or self._desk.event.path != wish.path:
            self._drop()
            self._desk = Desk(wish.path, wish.sight)
            self._tell(self._desk.facts())
        return self._desk

    def _drop(self) -> None:
        if self._desk is not None:
            self._desk.close()
        self._desk, self._heard = None, False

    def _idle(self, stop: threading.Event, wish: Wish) -> None:
        """What can be done while nothing is wished for: the sound, the frame that is next."""
        desk = self._desk
        if desk is None or self._wish is not None or stop.is_set():
            return
        if not self._heard:
            self._heard = True
            try:
                self._tell(Heard(wish.path, sound_envelope(desk.event)))
            except LiveviewError as error:
                self._tell(Heard(wish.path, None, str(error)))
        index = desk.event.spark_index if wish.index is None else wish.index
        following = index + (1 if index >= self._last_index else -1)
        self._last_index = index
        if 0 <= following < len(desk.event) and self._wish is None:
            try:
                desk.event.frame(following)
            except LiveviewError:
                return  # it is told when that frame is wished for
