"""The measuring side of the Review page: tools, what came out, its diagram, what was kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from PyQt6.QtCore import QRect, pyqtSignal
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QLineEdit, QWidget

from liveview.gui.lines import Line, Lines
from liveview.gui.marks import choice_mark, notice_mark
from liveview.gui.pad import Pad
from liveview.gui.review_measuring import Plot
from liveview.gui.review_words import result_lines, short_line
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.words import THIN, first_up
from liveview.review.measure import Measurement

if TYPE_CHECKING:
    from liveview.gui.review_plot import ReviewPlot

ROW_STEPS = 3.3

HOW = {
    "length": "Draw a line from one end to the other.",
    "angle": "Press three places: an end, the corner, the other end.",
    "front": "Press where the spark was. Further presses put the front by hand.",
    "rise": "Draw a line along which it moves.",
    "flicker": "Draw a box around what flickers.",
    "plume": "Draw a line across the plume, from quiet air to quiet air.",
    "scale": "Draw a line along something of known length, then type that length.",
}
"""What to do with each tool."""


class PlotPlace(QWidget):
    """Where the diagram stands; its library is loaded with the first one."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self.plot: ReviewPlot | None = None
        self.hide()

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        if self.plot is not None:
            self.plot.set_look(look)

    def show_plot(self, plot: Plot) -> None:
        """Draw it."""
        from liveview.gui.review_plot import ReviewPlot

        if self.plot is None:
            self.plot = ReviewPlot(self)
            self.plot.set_look(self._look)
            self.plot.setGeometry(self.rect())
            self.plot.show()
        self.plot.show_plot(plot)
        self.show()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        if self.plot is not None:
            self.plot.setGeometry(self.rect())


class MeasurePanel(QWidget):
    """Tools from the top, then the result. Its diagram stands elsewhere on the page.

    The owner puts a pad for each tool into ``tools``.
    """

    plot_changed = pyqtSignal()
    """The diagram came or went."""

    def __init__(self, page: QWidget) -> None:
        super().__init__(page)
        self._look = Look()
        self.tools: dict[str, Pad] = {}
        self.plot_place = PlotPlace(page)
        self.keep = Pad("Keep", "Enter", tip="Keep the result with the event", parent=self)
        self.save = Pad("Save diagram", tip="Write the diagram into a file", parent=self)
        self.lines = Lines(parent=self)
        self.length_field = QLineEdit(self)
        self.length_field.setPlaceholderText("its length, such as 20 mm")
        self.length_field.setAccessibleName("Known length")
        self.length_field.hide()
        self._tool = ""
        self._measurement: Measurement | None = None
        self._kept: tuple[Measurement, ...] = ()
        self._words = ""
        self._share: float | None = None
        self._busy = False
        self._unit = "mm"
        self.hide()

    # --- values

    def show_tool(self, tool: str) -> None:
        """Which tool is in hand; none when empty."""
        self._tool = tool
        for name, pad in self.tools.items():
            on = name == tool
            pad.set_state(mark=choice_mark(on), on=on)
        self.length_field.setVisible(False)
        self._refresh()

    def show_result(self, measurement: Measurement | None, plot: Plot | None, words: str) -> None:
        """What came out."""
        self._measurement, self._words, self._busy = measurement, words, False
        if plot is not None:
            self.plot_place.show_plot(plot)
        else:
            self.plot_place.hide()
        self.plot_changed.emit()
        self._refresh()

    def show_busy(self, share: float | None) -> None:
        """It is being worked out."""
        if not self._busy or share != self._share:
            self._busy, self._share = True, share
            self._refresh()

    def show_kept(self, kept: Sequence[Measurement], unit: str) -> None:
        """What is saved with the event."""
        self._kept, self._unit = tuple(kept), unit
        self._refresh()

    def words(self) -> str:
        """Everything it says."""
        return self.lines.words()

    def _refresh(self) -> None:
        self.lines.show_lines(self._result_lines())
        self.keep.setVisible(self._measurement is not None)
        self.save.setVisible(not self.plot_place.isHidden())
        self.lay_out()

    def _result_lines(self) -> list[Line]:
        quiet = COLOURS.quiet
        if self._busy:
            far = "" if self._share is None else f" {self._share * 100:.0f}{THIN}%"
            return [Line(f"Working it out{far}. Esc leaves it.", gap=0.0)]
        lines = []
        if self._measurement is not None:
            shown = result_lines(self._measurement, self._unit)
            for k, (name, value) in enumerate(shown[:5]):
                lines.append(Line(name, Type.SMALL, colour=quiet, gap=0.0 if k == 0 else 0.5))
                size = Type.BODY if k else Type.HEAD if len(value) < 15 else Type.LEAD
                lines.append(Line(value, size, Weight.FIRM, gap=0.0))
            if self._measurement.words:
                text = f"{first_up(self._measurement.words)}."
                lines.append(Line(text, Type.SMALL, gap=0.5, mark=notice_mark))
            lines.append(Line("Intervals hold 95\u2009%.", Type.SMALL, colour=quiet, gap=0.6))
            for words in self._measurement.assumptions:
                text = f"Assumes: {words}."
                lines.append(Line(text, Type.SMALL, colour=quiet, gap=0.1))
        if self._words:
            lines.append(Line(f"{first_up(self._words)}.", gap=0.4, mark=notice_mark))
        if not lines:
            lines = [Line(HOW.get(self._tool, "Choose what to measure."), gap=0.0)]
            lines += self._kept_lines()
        return lines

    def _kept_lines(self) -> list[Line]:
        if not self._kept:
            return []
        head = Line("Kept with this event", Type.SMALL, colour=COLOURS.quiet, gap=1.2)
        rows = [
            Line(short_line(m, self._unit), Type.SMALL, Weight.FIRM, gap=0.2)
            for m in reversed(self._kept)
        ]
        more = len(rows) - 6
        if more > 0:
            rows = [*rows[:6], Line(f"and {more} more", Type.SMALL, colour=COLOURS.quiet)]
        return [head, *rows]

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for pad in (*self.tools.values(), self.keep, self.save):
            pad.set_look(look)
        self.lines.set_look(look)
        self.length_field.setFont(look.font())
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Tools, result, keep."""
        look, width = self._look, self.width()
        y = 0.0
        for pad in self.tools.values():
            pad.move(0, round(y))
            y += look.px(ROW_STEPS)
        y += look.px(1.0)
        if self.length_field.isVisibleTo(self):
            self.length_field.setGeometry(0, round(y), width, round(look.px(4)))
            y += look.px(5)
        foot = look.px(4.4)
        needed = self.lines.needed_height(width)
        room = max(self.height() - y - foot, 0.0)
        high = min(needed, room)
        self.lines.setGeometry(QRect(0, round(y), width, round(high)))
        y += high + look.px(0.4)
        x = 0.0
        for pad in (self.keep, self.save):
            if pad.isVisibleTo(self):
                pad.move(round(x), round(y))
                x += pad.width() + look.px(0.6)
