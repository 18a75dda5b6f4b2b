"""Cautions about flashing pictures, and the one step that switches the guard off."""

from __future__ import annotations

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.caution_columns import paint_cautions
from liveview.gui.marks import notice_mark
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.show_words import CAUTIONS
from liveview.gui.theme import Look


class GuardSheet(Overlay):
    """Paragraphs in two columns, and below them the pad that switches the guard off."""

    agreed = pyqtSignal()
    """The guard is to be switched off."""

    def __init__(self, key: str, parent: QWidget) -> None:
        super().__init__("Flashing pictures", parent)
        title = "Switch the flash guard off until the program ends"
        tip = "The audience then sees every flash as it is"
        self.off = Pad(title, key, tip=tip, parent=self)
        self.off.set_state(mark=notice_mark, note="Esc leaves it on")
        self.off.clicked.connect(self.agree)
        self._asks = False

    def ask(self, asks: bool) -> None:
        """Open it; ``asks`` offers to switch the guard off."""
        self._asks = asks
        self.open()

    def agree(self) -> None:
        """Yes, off: only while the sheet asks."""
        if self.isVisible() and self._asks:
            self.close_sheet()
            self.agreed.emit()

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (124.0, 58.0 if self._asks else 50.0)

    def words(self) -> str:
        """All it says."""
        return "\n".join(f"{heading}: {words}" for heading, words in CAUTIONS)

    def set_look(self, look: Look) -> None:
        """See Overlay."""
        self.off.set_look(look)
        super().set_look(look)

    def lay_out(self) -> None:
        """See Overlay."""
        body = self.body_rect()
        self.off.setVisible(self._asks)
        self.off.move(round(body.left()), round(body.bottom() - self.off.height()))

    def paint_sheet(self, p: QPainter) -> None:
        """Headings and paragraphs."""
        paint_cautions(p, self.body_rect(), self.look, CAUTIONS)
