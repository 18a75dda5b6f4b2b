"""The cautions in full, over the Catch page."""

from __future__ import annotations

from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.catch_words import CAUTIONS
from liveview.gui.caution_columns import paint_cautions
from liveview.gui.overlay import Overlay


class CautionSheet(Overlay):
    """One paragraph for each danger, in two columns."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__("Before a spark", parent)

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (124.0, 52.0)

    def words(self) -> str:
        """All it says."""
        return "\n".join(f"{heading}: {words}" for heading, words in CAUTIONS)

    def paint_sheet(self, p: QPainter) -> None:
        """Headings and paragraphs."""
        paint_cautions(p, self.body_rect(), self.look, CAUTIONS)
