"""What each step of the chain takes, as bars against the time there is."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import paint_ground, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import THIN, first_up
from liveview.model import Reading

CALM = 0.06
"""Share of the newest time in the one shown: the bars do not flutter."""

_ROW = 2.3
_HEAD = 4.2
_MOST_ROWS = 12
MOST_SPREAD = 1.2
"""How much farther apart rows are for larger text, at most."""


class StepsPanel(QWidget):
    """One bar a step, the sum, and what was left out.

    ``grown`` when it wants another height.
    """

    grown = pyqtSignal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look, self._spread = Look(), 1.0
        self._times: dict[str, float] = {}
        self._skipped: tuple[str, ...] = ()
        self._budget_ms: float | None = None
        self.setAccessibleName("What each step takes")
        self.hide()

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self._spread = min(look.text_scale, MOST_SPREAD)
        self.update()

    @property
    def steps_high(self) -> float:
        """Height it wants, in steps."""
        rows = _ROW * min(len(self._times) + 1, _MOST_ROWS)
        return _HEAD + self._spread * rows + 1.5

    def words(self) -> str:
        """All it says, one step a line."""
        return "\n".join(f"{name} {ms:.2f} ms" for name, ms in self._times.items())

    def show_reading(self, reading: Reading) -> None:
        """Follow the newest times."""
        known, tall = dict(reading.steps_ms), self.steps_high
        self._times = {
            name: ms if name not in self._times else (1 - CALM) * self._times[name] + CALM * ms
            for name, ms in known.items()
        }
        self._skipped, self._budget_ms = reading.skipped, reading.budget_ms
        if self.isVisible():
            if self.steps_high != tall:
                self.grown.emit()
            self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        paint_ground(p, self.rect(), look)
        total = sum(self._times.values())
        self._line(p, look.px(0.6), look.px(3.2), "A frame takes", f"{total:.2f}{THIN}ms", True)
        longest = max([*self._times.values(), 0.1])
        y, row = look.px(_HEAD), look.px(_ROW * self._spread)
        for name, ms in list(self._times.items())[: _MOST_ROWS - 1]:
            bar = QRectF(look.px(1.4), y + look.px(0.2), 0, row - look.px(0.4))
            bar.setWidth((self.width() - look.px(2.8)) * ms / longest)
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(faded(COLOURS.brass_dim, 0.55))
            p.drawRoundedRect(bar, look.px(0.3), look.px(0.3))
            self._line(p, y, row, first_up(name), f"{ms:.2f}{THIN}ms", False)
            y += row
        if self._skipped:
            self._line(p, y, row, "Left out", ", ".join(self._skipped), False)
        elif self._budget_ms is not None:
            self._line(p, y, row, "It may take", f"{self._budget_ms:.1f}{THIN}ms", False)
        p.end()

    def _line(
        self, p: QPainter, y: float, height: float, left: str, right: str, strong: bool
    ) -> None:
        look = self._look
        box = QRectF(look.px(2), y, self.width() - look.px(4), height)
        p.setFont(look.font(Type.BODY, Weight.STRONG) if strong else look.font(Type.SMALL))
        p.setPen(COLOURS.brass if strong else COLOURS.quiet)
        p.drawText(box, int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter), left)
        p.setPen(COLOURS.text)
        p.drawText(box, int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter), right)
