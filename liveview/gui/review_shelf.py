"""The thread that looks into the folder of events: cards first, then their posters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtGui import QImage, QImageReader

from liveview.errors import LiveviewError
from liveview.gui.review_wishes import Wishes
from liveview.review.shelf import EventCard, list_events, read_card

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
    """Lists events in a thread of its own: the cards, then their posters."""

    def __init__(self) -> None:
        self._wishes: Wishes[_Look, Shelf | Poster] = Wishes(
            "review shelf", self._serve, most_news=4096
        )
        self._posters: dict[Path, float] = {}
        self.take = self._wishes.take
        self.stop = self._wishes.stop

    def look(self, folder: Path, others: Sequence[Path] = ()) -> None:
        """List this folder, with events from elsewhere in front of it."""
        # What was listed before this wish may be wrong by now.
        self._wishes.ask(
            _Look(folder, tuple(others)), outdates=lambda news: not isinstance(news, Poster)
        )

    @property
    def busy(self) -> bool:
        """True while it is looking or news has not been taken."""
        return self._wishes.busy

    def _serve(self, wish: _Look) -> None:
        words = ""
        found: tuple[EventCard, ...] = ()
        try:
            found = list_events(wish.folder)
        except LiveviewError as error:
            words = str(error)
        cards = (*map(read_card, wish.others), *reversed(found))
        self._wishes.tell(Shelf(wish.folder, cards, words), unless_overtaken=True)
        for card in cards:
            if self._wishes.overtaken:
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
            self._wishes.tell(Poster(card.path, image))


def read_reduced(path: Path, height: int = POSTER_PX) -> QImage:
    """A picture file reduced to a height; null where it cannot be read."""
    reader = QImageReader(str(path))
    size = reader.size()
    if size.isValid() and size.height() > height:
        reader.setScaledSize(size.scaled(QSize(100000, height), Qt.AspectRatioMode.KeepAspectRatio))
    return reader.read()
