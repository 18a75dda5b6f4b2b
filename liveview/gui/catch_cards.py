"""The events on the disk as a list that keeps itself up to date, a few cards at a time."""

from __future__ import annotations

from collections import deque
from pathlib import Path

from liveview.errors import LiveviewError, OutputFailed
from liveview.recorder.reading import is_event
from liveview.review.shelf import EventCard, read_card, restore, to_bin

AT_A_TIME = 25
"""Cards read in one step: reading a thousand at once would hold the window."""


class CaughtCards:
    """Events of one folder, newest first. Cards of finished events are read once.

    Parameters
    ----------
    folder : Path
        Where events go.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.words = ""
        """Why the folder cannot be looked into; empty when it can."""
        self._cards: dict[Path, EventCard] = {}
        self._unread: deque[Path] = deque()
        self._binned: list[Path] = []

    @property
    def cards(self) -> tuple[EventCard, ...]:
        """Those read so far, newest first."""
        return tuple(
            sorted(self._cards.values(), key=lambda c: (c.started_at, c.name), reverse=True)
        )

    @property
    def can_undo(self) -> bool:
        """Something lies in the bin that came there from here."""
        return bool(self._binned)

    def refresh(self) -> None:
        """Look which events there are; unknown and unfinished ones are read by ``step``."""
        try:
            there = [path for path in self.folder.iterdir() if is_event(path)]
            self.words = ""
        except FileNotFoundError:
            there = []
        except OSError as error:
            self.words = f"{self.folder}: cannot be looked into ({error.strerror or error})"
            return
        still = set(there)
        self._cards = {path: card for path, card in self._cards.items() if path in still}
        # The newest are found at the end of the names: the usual pattern begins with the date.
        unread = sorted(
            (p for p in there if p not in self._cards or not self._cards[p].converted),
            reverse=True,
        )
        self._unread = deque(unread)

    def step(self, most: int = AT_A_TIME) -> bool:
        """Read some cards; True when there was something to read."""
        found = False
        for _ in range(min(most, len(self._unread))):
            path = self._unread.popleft()
            self._cards[path] = read_card(path)
            found = True
        return found

    def bin(self, card: EventCard) -> str:
        """Move an event into the bin; returns words about it.

        An event that is still being written or compressed stays: the recorder works in its folder.
        """
        if not card.converted:
            return f"{card.name} is still being compressed: a moment."
        try:
            self._binned.append(to_bin(card.path))
        except LiveviewError as error:
            return str(error)
        self._cards.pop(card.path, None)
        return f"{card.name} is in the bin; U puts it back."

    def put_back(self) -> tuple[str, str]:
        """Undo the last :meth:`bin`: words about it, and the event's name (empty for none)."""
        if not self._binned:
            return ("Nothing to put back.", "")
        try:
            path = restore(self._binned[-1])
        except OutputFailed as error:
            return (str(error), "")
        self._binned.pop()
        self._cards[path] = read_card(path)
        return (f"{path.name} is back.", path.name)
