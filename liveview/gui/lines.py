"""A block of lines: the one way in which words and figures stand on the instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.marks import Mark
from liveview.gui.paint import smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight


@dataclass(frozen=True, slots=True)
class Line:
    """One line (or paragraph: it wraps). ``gap`` is the space above it in steps."""

    text: str
    size: Type = Type.BODY
    weight: Weight = Weight.PLAIN
    colour: QColor = field(default_factory=lambda: COLOURS.text)
    gap: float = 0.3
    mark: Mark | None = None
    suffix: str = ""
    """Set smaller behind the text: a unit."""


class Lines(QWidget):
    """Paints lines one below the other.

    Parameters
    ----------
    align : Qt.AlignmentFlag
        Left or right.
    from_bottom : bool
        The last line stands at the bottom of the block.
    """

    def __init__(
        self,
        align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
        *,
        from_bottom: bool = False,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._look = Look()
        self._right = align == Qt.AlignmentFlag.AlignRight
        self._from_bottom = from_bottom
        self._lines: tuple[Line, ...] = ()
        self._heights: tuple[float, tuple[float, ...]] = (-1.0, ())
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self._heights = (-1.0, ())
        self.update()

    def show_lines(self, lines: Sequence[Line]) -> None:
        """Replace the words; repaints only if they differ."""
        if tuple(lines) != self._lines:
            self._lines = tuple(lines)
            self._heights = (-1.0, ())
            self.setAccessibleName(self.words())
            self.update()

    def words(self) -> str:
        """Everything it says, one line each."""
        return "\n".join(line.text + line.suffix for line in self._lines)

    def needed_height(self, width: float) -> float:
        """Height that the lines take at this width."""
        return sum(self._laid_out(float(width)))

    def _laid_out(self, width: float) -> tuple[float, ...]:
        """Heights of the lines at this width; measured once."""
        if self._heights[0] != width:
            self._heights = (width, tuple(self._height(line, width) for line in self._lines))
        return self._heights[1]

    def _inset(self, line: Line) -> float:
        if line.mark is None:
            return 0.0
        return self._mark_side(line) + self._look.px(1.0)

    def _mark_side(self, line: Line) -> float:
        return QFontMetricsF(self._look.font(line.size, line.weight)).height() * 0.8

    def _height(self, line: Line, width: float) -> float:
        metrics = QFontMetricsF(self._look.font(line.size, line.weight))
        box = metrics.boundingRect(
            QRectF(0, 0, width - self._inset(line), 10_000),
            int(Qt.TextFlag.TextWordWrap),
            line.text or " ",
        )
        # Figures have no descenders: their box ends at the base line.
        tall = metrics.ascent() + metrics.descent() * 0.3 if line.size is Type.FIGURE else 0.0
        return (tall or box.height()) + self._look.px(line.gap)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        width = float(self.width())
        y = self.height() - self.needed_height(width) if self._from_bottom else 0.0
        for line, height in zip(self._lines, self._laid_out(width), strict=True):
            gap = self._look.px(line.gap)
            self._paint_line(p, line, QRectF(0, y + gap, width, height - gap))
            y += height
        p.end()

    def _paint_line(self, p: QPainter, line: Line, box: QRectF) -> None:
        font = self._look.font(line.size, line.weight)
        metrics = QFontMetricsF(font)
        inset = self._inset(line)
        text_box = box.adjusted(0, 0, -inset, 0) if self._right else box.adjusted(inset, 0, 0, 0)
        if line.mark is not None:
            side = self._mark_side(line)
            top = box.top() + (metrics.height() - side) / 2
            x = box.right() - side if self._right else box.left()
            line.mark(p, QRectF(x, top, side, side), self._look)
        p.setPen(line.colour)
        p.setFont(font)
        if line.suffix or line.size is Type.FIGURE:
            self._paint_figure(p, line, text_box, metrics)
            return
        side_flag = Qt.AlignmentFlag.AlignRight if self._right else Qt.AlignmentFlag.AlignLeft
        p.drawText(text_box, int(side_flag | Qt.TextFlag.TextWordWrap), line.text)

    def _paint_figure(self, p: QPainter, line: Line, box: QRectF, metrics: QFontMetricsF) -> None:
        unit_font = self._look.font(Type.HEAD, Weight.PLAIN)
        unit_width = QFontMetricsF(unit_font).horizontalAdvance(line.suffix)
        width = metrics.horizontalAdvance(line.text)
        gap = self._look.px(0.8) if line.suffix else 0.0
        x = box.right() - width - gap - unit_width if self._right else box.left()
        base = box.top() + metrics.ascent()
        p.drawText(int(x), int(base), line.text)
        p.setFont(unit_font)
        p.setPen(COLOURS.quiet)
        p.drawText(int(x + width + gap), int(base), line.suffix)
