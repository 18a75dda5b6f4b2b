"""The thread that looks into the folder of events: cards first, then their posters."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtGui import QImage, QImageReader

from liveview.errors import LiveviewError
from liveview.review.shelf import EventCard, list_events, read_card
from liveview.worker import Worker

POSTER_PX = 192
"""Height to which posters are reduced for the list."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """What is in the folder, newest first; ``words`` when it could not be looked into."""

    folder: Path
    cards: tuple[EventCard, ...]
    words: str = ""


@dataclass(frozen=True, slots=True)
class Poster:
    """The picture of one event, reduced."""

    path: Path
    image: QImage


@dataclass(frozen=True, slots=True)
class _Look:
    folder: Path
    others: tuple[Path, ...]


class ShelfReader:
    """Owns the thread that lists events; the newest wish only, answers pulled by ``take``."""

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._wish: _Look | None = None
        self._news: deque[Shelf | Poster] = deque(maxlen=4096)
        self._busy = False
        self._posters: dict[Path, float] = {}
        self._worker = Worker("review shelf", self._run, wake=self._wake)
        self._started = False

    def look(self, folder: Path, others: Sequence[Path] = ()) -> None:
        """List this folder, with events from elsewhere in front of it."""
        with self._condition:
            self._wish = _Look(folder, tuple(others))
            # What was listed before this wish may be wrong by now.
            self._news = deque((n for n in self._news if isinstance(n, Poster)), self._news.maxlen)
            self._condition.notify_all()
        if not self._started:
            self._started = True
            self._worker.start()

    def take(self) -> list[Shelf | Poster]:
        """What has come since the last time."""
        with self._condition:
            found = list(self._news)
            self._news.clear()
            return found

    @property
    def busy(self) -> bool:
        """True while it is looking or news has not been taken."""
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

    def _run(self, stop: threading.Event) -> None:
        while not stop.is_set():
            with self._condition:
                self._busy = False
                self._condition.wait_for(lambda: self._wish is not None or stop.is_set())
                wish, self._wish = self._wish, None
                self._busy = wish is not None
            if wish is not None:
                self._serve(wish, stop)

    def _serve(self, wish: _Look, stop: threading.Event) -> None:
        words = ""
        found: tuple[EventCard, ...] = ()
        try:
            found = list_events(wish.folder)
        except LiveviewError as error:
            words = str(error)
        cards = (*map(read_card, wish.others), *reversed(found))
        with self._condition:
            if self._wish is None:
                self._news.append(Shelf(wish.folder, cards, words))
        for card in cards:
            if stop.is_set() or self._wish is not None:
                return
            self._show_poster(card)

    def _show_poster(self, card: EventCard) -> None:
        if card.poster is None:
            return
        try:
            changed = card.poster.stat().st_mtime
        except OSError:
            return  # moved since: the next look says where
        if self._posters.get(card.poster) == changed:
            return
        image = read_reduced(card.poster)
        if not image.isNull():
            self._posters[card.poster] = changed
            with self._condition:
                self._news.append(Poster(card.path, image))


def read_reduced(path: Path, height: int = POSTER_PX) -> QImage:
    """A picture file reduced to a height; null where it cannot be read."""
    reader = QImageReader(str(path))
    size = reader.size()
    if size.isValid() and size.height() > height:
        reader.setScaledSize(size.scaled(QSize(100000, height), Qt.AspectRatioMode.KeepAspectRatio))
    return reader.read()
