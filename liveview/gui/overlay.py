"""Sheets that lie over the instrument: the picture goes on behind them, Esc puts them away."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import pen, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded


class Overlay(QWidget):
    """Covers its parent with a shade and shows a sheet in the middle.

    A subclass (or owner) places its contents inside :meth:`sheet_rect`.
    """

    closed = pyqtSignal()

    def __init__(self, title: str, parent: QWidget) -> None:
        super().__init__(parent)
        self._look = self._window_look = Look()
        self._title = title
        self.setAccessibleName(title)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.hide()

    @property
    def look(self) -> Look:
        """Sizes for the present window."""
        return self._look

    def set_look(self, look: Look) -> None:
        """Sizes for the present window; contents are laid out again.

        A sheet has more room than a page: its spacing follows larger text as far as it fits.
        """
        self._look = self._window_look = look
        width, height = self.sheet_size()
        fits = min(self.width() / look.px(width + 4), self.height() / look.px(height + 4))
        self._look = look.spread(min(max(fits, 1.0), max(look.text_scale, 1.0)))
        self.lay_out()
        self.update()

    def sheet_size(self) -> tuple[float, float]:
        """Width and height of the sheet in steps."""
        return (80.0, 60.0)

    def sheet_rect(self) -> QRectF:
        """The sheet inside this widget, pixels."""
        width, height = (self._look.px(size) for size in self.sheet_size())
        width = min(width, self.width() - self._look.px(4))
        height = min(height, self.height() - self._look.px(4))
        return QRectF((self.width() - width) / 2, (self.height() - height) / 2, width, height)

    def body_rect(self) -> QRectF:
        """The sheet below its title and inside its margins."""
        m = self._look.px(3.5)
        return self.sheet_rect().adjusted(m, self._look.px(8), -m, -self._look.px(3))

    def lay_out(self) -> None:
        """Place the contents; called whenever the size changed."""

    def open(self) -> None:
        """Show it over everything else."""
        parent = self.parentWidget()
        if parent is not None:
            self.resize(parent.size())
        self.set_look(self._window_look)  # what it holds may have changed
        self.show()
        self.raise_()
        self.setFocus()

    def close_sheet(self) -> None:
        """Put it away."""
        if self.isVisible():
            self.hide()
            self.closed.emit()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        p.fillRect(self.rect(), faded(COLOURS.ground, 0.62))
        sheet, look = self.sheet_rect(), self._look
        p.setPen(pen(COLOURS.line, look.line()))
        p.setBrush(COLOURS.raised)
        p.drawRoundedRect(sheet, look.px(2), look.px(2))
        m = look.px(3.5)
        p.setFont(look.font(Type.HEAD, Weight.FIRM))
        p.setPen(COLOURS.text)
        p.drawText(
            sheet.adjusted(m, look.px(2.4), -m, 0),
            int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop),
            self._title,
        )
        self.paint_sheet(p)
        p.end()

    def paint_sheet(self, p: QPainter) -> None:
        """Contents that are painted rather than placed."""

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and not self.sheet_rect().contains(event.position()):
            self.close_sheet()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape:
            self.close_sheet()
            return
        super().keyPressEvent(event)
