"""What helps on every page: the user guide, the explaining drawing, the card of all keys.

Each is made when it is first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview.gui.keys import KeyMap
from liveview.gui.theme import Look
from liveview.model import Reading
from liveview.settings import Settings

if TYPE_CHECKING:
    from liveview.gui.explain_sheet import ExplainSheet
    from liveview.gui.guide import GuideSheet


class Helps(QObject):
    """Opens them over a window.

    Parameters
    ----------
    window : QWidget
        They lie over it.
    keys : KeyMap
        Off while one of them is open: they have keys of their own.
    pages : callable
        Key groups by page, for the card.
    say : callable
        Short answers.
    """

    closed = pyqtSignal()

    def __init__(
        self,
        window: QWidget,
        keys: KeyMap,
        pages: Callable[[], Mapping[str, Sequence[str]]],
        say: Callable[[str], None],
    ) -> None:
        super().__init__(window)
        self._window = window
        self._keys = keys
        self._pages = pages
        self._say = say
        self._look = Look()
        self._settings = Settings()
        self._reading: Reading | None = None
        self.explain: ExplainSheet | None = None
        self.guide: GuideSheet | None = None

    def show_guide(self, page: str) -> None:
        """The user guide, at what it says of a page of the window."""
        from liveview.gui.guide import GuideSheet

        if self.guide is None:
            self.guide = GuideSheet(self._window)
            self.guide.closed.connect(self.closed)
            self.guide.set_look(self._look)
        self.guide.open_for(page)
        self._keys.set_enabled(False)

    def show_explanation(self) -> None:
        """How the blade makes air visible."""
        from liveview.gui.explain_sheet import ExplainSheet

        if self.explain is None:
            self.explain = ExplainSheet(self._window)
            self.explain.closed.connect(self.closed)
            self.explain.set_look(self._look)
        self.explain.drawing.set_rig(self._settings)
        self.explain.drawing.set_reading(self._reading)
        self.explain.open()
        self._keys.set_enabled(False)

    def print_card(self) -> QFileDialog:
        """Ask where the card of all keys shall go; it is written as PDF."""
        from liveview.gui.key_card import ask_and_write, key_groups

        groups = key_groups(self._keys.groups(), self._pages())
        return ask_and_write(self._window, groups, self._say)

    def show_reading(self, reading: Reading | None) -> None:
        """The drawn blade follows it."""
        self._reading = reading
        if self.explain is not None and self.explain.isVisible():
            self.explain.drawing.set_reading(reading)

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        if self.explain is not None:
            self.explain.drawing.set_rig(settings)

    def lay_out(self, width: int, height: int, look: Look) -> None:
        """Cover a window of this size."""
        self._look = look
        for sheet in (self.explain, self.guide):
            if sheet is not None:
                sheet.resize(width, height)
                sheet.set_look(look)
