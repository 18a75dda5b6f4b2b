"""Numbers that are edited where they stand on the drawing."""

from __future__ import annotations

from PyQt6.QtCore import QEvent, Qt, pyqtSignal
from PyQt6.QtGui import QFocusEvent, QKeyEvent, QWheelEvent
from PyQt6.QtWidgets import QLineEdit, QWidget

from liveview.gui.paint import text_width
from liveview.gui.plan_values import Measure, Spot
from liveview.gui.theme import COLOURS, Look, Type, Weight


class ValueField(QLineEdit):
    """One number on the drawing: plain text until it is touched.

    Enter or leaving it takes what was written, Escape gives it up, the wheel and the up and down
    keys turn it.
    """

    written = pyqtSignal(str)
    turned = pyqtSignal(int)

    def __init__(self, spot: Spot, parent: QWidget) -> None:
        super().__init__(parent)
        self.spot = spot
        self._look = Look()
        self._size, self._weight = Type.BODY, Weight.FIRM
        self._value = self._instead = self._style = ""
        self._wrong = self._concern = False
        self.setFrame(False)
        self.setAccessibleName(spot.name)
        self.setToolTip(spot.name + ("; empty: chosen for you" if spot.automatic else ""))
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.editingFinished.connect(self._finish)
        self.textEdited.connect(self._fit)

    def set_look(self, look: Look, size: Type = Type.BODY, weight: Weight = Weight.FIRM) -> None:
        """Sizes for the present window."""
        self._look, self._size, self._weight = look, size, weight
        self.setFont(look.font(size, weight))
        self._dress()
        self._fit()

    def show_value(self, text: str, instead: str = "") -> None:
        """The value in force; ``instead`` is what the program chose where it is empty."""
        if (text, instead) == (self._value, self._instead) and not self._wrong:
            return
        self._value, self._instead = text, instead
        self._wrong = False
        if not (self.hasFocus() and self.isModified()):
            self.setText(text)
        self.setPlaceholderText(instead)
        self._dress()
        self._fit()

    def show_concern(self, concern: bool) -> None:
        """Whether a caution is about this value: its rule turns to ember."""
        if concern != self._concern:
            self._concern = concern
            self._dress()

    def show_wrong(self) -> None:
        """Mark what was written as refused; it stays to be mended."""
        self._wrong = True
        self._dress()

    @property
    def wrong(self) -> bool:
        """True while something refused stands here."""
        return self._wrong

    def _dress(self) -> None:
        colours = COLOURS
        ink = colours.ember if self._wrong else colours.text
        rule = "1px dotted " + colours.brass_dim.name()
        if self._wrong or self._concern:
            rule = "2px solid " + colours.ember.name()
        ground, quiet, brass = (c.name() for c in (colours.ground, colours.quiet, colours.brass))
        style = (
            f"QLineEdit {{ background: {ground}; color: {ink.name()}; padding: 0 1px; "
            f"placeholder-text-color: {quiet}; border: none; border-bottom: {rule}; }}"
            f"QLineEdit:hover {{ border-bottom: 1px solid {brass}; }}"
            f"QLineEdit:focus {{ border-bottom: 2px solid {brass}; }}"
        )
        if style != self._style:  # setting one takes Qt longer than all the rest
            self._style = style
            self.setStyleSheet(style)

    def _fit(self) -> None:
        """As wide as its text."""
        text = self.text() or self._instead or "0"
        width = text_width(self._look.font(self._size, self._weight), text) + self._look.px(1.8)
        height = self._look.text_px * self._size.value * 1.5
        middle = self.geometry().center()
        left = self.x()
        self.resize(round(width), round(height))
        if self.alignment() & Qt.AlignmentFlag.AlignHCenter:
            self.move(middle.x() - self.width() // 2, self.y())
        else:
            self.move(left, self.y())

    def put(self, x: float, y: float) -> None:
        """Place its middle."""
        self.move(round(x - self.width() / 2), round(y - self.height() / 2))

    def put_left(self, x: float, y: float) -> None:
        """Place its left end, at this height of its middle."""
        self.move(round(x), round(y - self.height() / 2))

    def _finish(self) -> None:
        if self.isModified() and self.text().strip() != self._value:
            self.setModified(False)
            self.written.emit(self.text())
        elif not self._wrong:
            self.setText(self._value)

    def event(self, event: QEvent | None) -> bool:
        """Keys that edit a number are not the window's short-cuts while it has the focus.

        Ctrl+Z undoes letters; where none were typed it is the page's.
        """
        if (
            event is not None
            and event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
        ):
            if not event.modifiers() & Qt.KeyboardModifier.ControlModifier:
                event.accept()
                return True
            if event.key() == Qt.Key.Key_Z and not self.isModified():
                event.ignore()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None:
            return
        if event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self.turned.emit(1 if event.key() == Qt.Key.Key_Up else -1)
        elif event.key() == Qt.Key.Key_Escape:
            self.setText(self._value)
            self.setModified(False)
            self._wrong = False
            self._dress()
            self.clearFocus()
        else:
            super().keyPressEvent(event)

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is None:
            return
        notches = event.angleDelta().y()
        if notches and self.spot.measure is not Measure.WORDS:
            self.turned.emit(1 if notches > 0 else -1)
        event.accept()

    def focusInEvent(self, event: QFocusEvent | None) -> None:
        super().focusInEvent(event)
        self.selectAll()
