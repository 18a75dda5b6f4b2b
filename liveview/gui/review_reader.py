"""What reads events for the Review page: opens, decodes and enhances what is wished for."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from liveview.errors import LiveviewError
from liveview.gui.review_wishes import Wishes
from liveview.model import Calibration, Disc, EventStart, Reading, Spotted
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import VIEWS_OF_ONE_FRAME, Enhancer, event_settings
from liveview.review.export.slowsound import assembled
from liveview.settings import Settings

ENVELOPE_BINS = 8192
"""Parts into which an event's sound is divided for drawing."""

KEPT_CHAINS = 3
"""Ways of enhancing one event that are kept ready."""

STEPPING = 4
"""Whoever moves by no more frames than this steps or plays: the next frame is read ahead."""

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
    """Reads, enhances and tells what is wished for, in a thread of its own."""

    def __init__(self) -> None:
        self._wishes: Wishes[Wish, News] = Wishes("review reader", self._serve, self._drop)
        self._desk: Desk | None = None
        self._heard = False
        self._last_index = 0
        self.ask = self._wishes.ask
        self.let_go = self._wishes.let_go
        self.take = self._wishes.take
        self.stop = self._wishes.stop

    @property
    def busy(self) -> bool:
        """True while something is being done or news has not been taken."""
        return self._wishes.busy

    def _serve(self, wish: Wish) -> None:
        tell = self._wishes.tell
        try:
            desk = self._open(wish)
        except LiveviewError as error:
            tell(Fault(wish.path, str(error)))
            return
        index = desk.event.spark_index if wish.index is None else wish.index
        try:
            reading = desk.reading(index, wish.sight)
            beside = None if wish.beside is None else desk.reading(index, wish.beside)
        except LiveviewError as error:
            tell(Fault(wish.path, str(error), index))
        else:
            tell(Shown(wish, index, reading, beside))
        self._read_on(desk, wish.path, index)

    def _open(self, wish: Wish) -> Desk:
        if self._desk is None or self._desk.event.path != wish.path:
            self._drop()
            self._desk = Desk(wish.path, wish.sight)
            self._wishes.tell(self._desk.facts())
        return self._desk

    def _drop(self) -> None:
        if self._desk is not None:
            self._desk.close()
        self._desk, self._heard = None, False

    def _read_on(self, desk: Desk, path: Path, index: int) -> None:
        """What can be done while nothing is wished for: the sound, the frame that is next.

        Whoever jumps about is not kept waiting for a frame that is not wanted.
        """
        moved, self._last_index = index - self._last_index, index
        if not self._heard and not self._wishes.overtaken:
            self._heard = True
            try:
                self._wishes.tell(Heard(path, sound_envelope(desk.event)))
            except LiveviewError as error:
                self._wishes.tell(Heard(path, None, str(error)))
        following = index + (1 if moved >= 0 else -1)
        stepping = abs(moved) <= STEPPING
        if stepping and 0 <= following < len(desk.event) and not self._wishes.overtaken:
            try:
                desk.event.frame(following)
            except LiveviewError:
                return  # it is told when that frame is wished for
