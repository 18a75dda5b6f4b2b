"""A block of lines: the one way in which words and figures stand on the instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.marks import Mark
from liveview.gui.paint import smooth
from liveview.gui.theme import COLOURS, FITTING, Look, Type, Weight


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
    """Paints lines one below the other, smaller where they would not fit.

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
        self._heights: dict[tuple[float, float], tuple[float, ...]] = {}
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self._heights.clear()
        self.update()

    def show_lines(self, lines: Sequence[Line]) -> None:
        """Replace the words; repaints only if they differ."""
        if tuple(lines) != self._lines:
            self._lines = tuple(lines)
            self._heights.clear()
            self.setAccessibleName(self.words())
            self.update()

    def words(self) -> str:
        """Everything it says, one line each."""
        return "\n".join(line.text + line.suffix for line in self._lines)

    def needed_height(self, width: float) -> float:
        """Height that the lines take at this width, in their usual size."""
        return sum(self._laid_out(float(width)))

    @property
    def fitting(self) -> float:
        """Share of the usual size in which the lines are painted."""
        return next((size for size in FITTING if self._fits(size)), FITTING[-1])

    @property
    def painted_height(self) -> float:
        """Height that the lines take as they are painted."""
        return sum(self._laid_out(float(self.width()), self.fitting))

    @property
    def fits(self) -> bool:
        """False when words are cut although they are as small as can be."""
        return self._fits(self.fitting)

    def _fits(self, size: float) -> bool:
        return sum(self._laid_out(float(self.width()), size)) <= self.height() + 1.0

    def _laid_out(self, width: float, size: float = 1.0) -> tuple[float, ...]:
        """Heights of the lines at this width and share of their size; measured once."""
        if (width, size) not in self._heights:
            look = self._look.smaller(size)
            self._heights[width, size] = tuple(_height(line, width, look) for line in self._lines)
        return self._heights[width, size]

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        width, size = float(self.width()), self.fitting
        look, heights = self._look.smaller(size), self._laid_out(width, size)
        y = self.height() - sum(heights) if self._from_bottom else 0.0
        for line, height in zip(self._lines, heights, strict=True):
            gap = look.px(line.gap)
            self._paint_line(p, line, QRectF(0, y + gap, width, height - gap), look)
            y += height
        p.end()

    def _paint_line(self, p: QPainter, line: Line, box: QRectF, look: Look) -> None:
        font = look.font(line.size, line.weight)
        metrics = QFontMetricsF(font)
        inset = _inset(line, look)
        text_box = box.adjusted(0, 0, -inset, 0) if self._right else box.adjusted(inset, 0, 0, 0)
        if line.mark is not None:
            side = _mark_side(line, look)
            top = box.top() + (metrics.height() - side) / 2
            x = box.right() - side if self._right else box.left()
            line.mark(p, QRectF(x, top, side, side), look)
        p.setPen(line.colour)
        p.setFont(font)
        if line.suffix or line.size is Type.FIGURE:
            self._paint_figure(p, line, text_box, look)
            return
        side_flag = Qt.AlignmentFlag.AlignRight if self._right else Qt.AlignmentFlag.AlignLeft
        p.drawText(text_box, int(side_flag | Qt.TextFlag.TextWordWrap), _breakable(line))

    def _paint_figure(self, p: QPainter, line: Line, box: QRectF, look: Look) -> None:
        metrics = QFontMetricsF(look.font(line.size, line.weight))
        unit_font = look.font(Type.HEAD, Weight.PLAIN)
        unit_width = QFontMetricsF(unit_font).horizontalAdvance(line.suffix)
        width = metrics.horizontalAdvance(line.text)
        gap = look.px(0.8) if line.suffix else 0.0
        x = box.right() - width - gap - unit_width if self._right else box.left()
        base = box.top() + metrics.ascent()
        p.drawText(int(x), int(base), line.text)
        p.setFont(unit_font)
        p.setPen(COLOURS.quiet)
        p.drawText(int(x + width + gap), int(base), line.suffix)


def _breakable(line: Line) -> str:
    """The text, with places where a long name of a file may go on in the next line."""
    return line.text.replace("_", "_\u200b")


def _inset(line: Line, look: Look) -> float:
    return 0.0 if line.mark is None else _mark_side(line, look) + look.px(1.0)


def _mark_side(line: Line, look: Look) -> float:
    return QFontMetricsF(look.font(line.size, line.weight)).height() * 0.8


def _height(line: Line, width: float, look: Look) -> float:
    metrics = QFontMetricsF(look.font(line.size, line.weight))
    box = metrics.boundingRect(
        QRectF(0, 0, width - _inset(line, look), 10_000),
        int(Qt.TextFlag.TextWordWrap),
        _breakable(line) or " ",
    )
    # Figures have no descenders: their box ends at the base line.
    tall = metrics.ascent() + metrics.descent() * 0.3 if line.size is Type.FIGURE else 0.0
    return (tall or box.height()) + look.px(line.gap)
