"""The events there are: the folder, recordings from elsewhere, the bin with its undo."""

from __future__ import annotations

from pathlib import Path

from PyQt6.QtCore import QObject, pyqtSignal

from liveview.errors import LiveviewError
from liveview.gui.review_list import EventList
from liveview.gui.review_replay import Replay
from liveview.gui.review_shelf import Poster, Shelf, ShelfReader
from liveview.recorder.reading import is_event
from liveview.review.shelf import restore, to_bin


class Library(QObject):
    """Keeps the list of events true, and says which one should be opened.

    Parameters
    ----------
    folder : Path
        Where caught events are.
    events : EventList
        Shows them.
    replay : Replay
        Knows which one is open.
    """

    open_wanted = pyqtSignal(object, object)
    """Path of an event, and a frame (None: the spark)."""
    emptied = pyqtSignal()
    """Nothing is open any more."""
    recording_chosen = pyqtSignal(str)
    """A recording that is no event."""
    said = pyqtSignal(str)
    worked = pyqtSignal()
    """The folder is being looked into: poll until it is done."""

    def __init__(self, folder: Path, events: EventList, replay: Replay) -> None:
        super().__init__()
        self.folder = folder
        self.shelf = ShelfReader()
        self._events = events
        self._replay = replay
        self._elsewhere: list[Path] = []
        self._binned: list[Path] = []

    @property
    def can_undo(self) -> bool:
        """True while something can be taken out of the bin."""
        return bool(self._binned)

    def look_again(self) -> None:
        """List the folder again."""
        self.shelf.look(self.folder, self._elsewhere)
        self.worked.emit()

    def open_elsewhere(self, path: Path) -> None:
        """An event folder (or a file inside it) from anywhere; other recordings as a source."""
        folder = path if path.is_dir() else path.parent
        if not is_event(folder):
            self.recording_chosen.emit(str(path))
            return
        if folder.parent != self.folder and folder not in self._elsewhere:
            self._elsewhere.insert(0, folder)
        self.look_again()
        self.open_wanted.emit(folder, None)

    def open_neighbour(self, by: int) -> None:
        """The event so many places below the open one."""
        path = self._events.neighbour(by)
        if path is not None:
            self.open_wanted.emit(path, None)

    def bin(self) -> None:
        """Move the open event into the bin; its neighbour is opened."""
        path = self._replay.path
        if path is None:
            return
        card = next((card for card in self._events.cards if card.path == path), None)
        if card is not None and not card.converted:
            self.said.emit("It is still being compressed: bin it a moment later.")
            return
        following = self._events.neighbour(1) or self._events.neighbour(-1)
        self._replay.close()
        try:
            self._binned.append(to_bin(path))
        except LiveviewError as error:
            self.said.emit(str(error))
            self.open_wanted.emit(path, None)
            return
        self.said.emit("It is in the bin; Ctrl Z puts it back.")
        self._forget(path)
        if following is not None:
            self.open_wanted.emit(following, None)
        else:
            self.emptied.emit()
        self.look_again()

    def _forget(self, path: Path) -> None:
        self._elsewhere = [other for other in self._elsewhere if other != path]
        self._events.show_cards([card for card in self._events.cards if card.path != path])

    def undo(self) -> None:
        """Take the event that was binned last out of the bin again."""
        if not self._binned:
            self.said.emit("Nothing to put back.")
            return
        try:
            path = restore(self._binned[-1])
        except LiveviewError as error:
            self.said.emit(str(error))
            return
        self._binned.pop()
        if path.parent != self.folder:
            self._elsewhere.insert(0, path)
        self.look_again()
        self.open_wanted.emit(path, None)
        self.said.emit("It is back.")

    def poll(self) -> None:
        """Take what was found; called on a timer while the folder is looked into."""
        for news in self.shelf.take():
            if isinstance(news, Poster):
                self._events.show_poster(news.path, news.image)
            elif isinstance(news, Shelf):
                self._show(news)

    def _show(self, shelf: Shelf) -> None:
        empty = "No events yet. What the trigger catches stands here."
        self._events.show_cards(shelf.cards, shelf.words or f"{empty}\n{shelf.folder}")
        path = self._replay.path
        if path is None:
            if shelf.cards:
                self.open_wanted.emit(shelf.cards[0].path, None)
        elif self._events.index_of(path) is None:
            self._follow_renamed(path)
        self._events.mark(self._replay.path)

    def _follow_renamed(self, path: Path) -> None:
        """An event that was compressed meanwhile has another name; one that is gone is left."""
        name = path.name.removesuffix(".part")
        for card in self._events.cards:
            if card.name == name and card.path != path:
                self.open_wanted.emit(card.path, self._replay.index)
                return
        if not path.exists():
            self._replay.close()
            self.emptied.emit()
