"""The explaining drawing over a page, large; the blade goes on moving in it."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent, QMouseEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.explain import ExplainWidget
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad

NEXT_KEYS = (Qt.Key.Key_Space, Qt.Key.Key_Right, Qt.Key.Key_PageDown, Qt.Key.Key_Return)
CLOSE_KEYS = (Qt.Key.Key_F8, Qt.Key.Key_F1)


class ExplainSheet(Overlay):
    """How the blade makes air visible, on the rig of the settings."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__("How the blade makes air visible", parent)
        self.drawing = ExplainWidget(self)
        self._next = Pad("Next", "Space", tip="The next scene", parent=self)
        self._next.clicked.connect(self.drawing.next_scene)

    def sheet_size(self) -> tuple[float, float]:
        """As large as the window allows without hiding the instrument altogether."""
        return (124.0, 88.0)

    def lay_out(self) -> None:
        """The drawing fills the sheet."""
        body, look = self.body_rect(), self.look
        self.drawing.setGeometry(body.toRect())
        self._next.set_look(look)
        x = body.right() - self._next.width()
        self._next.move(round(x), round(self.sheet_rect().top() + look.px(2.4)))

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Space goes on, F8 closes, as Esc does."""
        if event is not None and event.key() in NEXT_KEYS:
            self.drawing.next_scene()
        elif event is not None and event.key() in CLOSE_KEYS:
            self.close_sheet()
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        """A press on the drawing goes on."""
        if event is not None and self.drawing.geometry().contains(event.position().toPoint()):
            self.drawing.next_scene()
        else:
            super().mousePressEvent(event)
