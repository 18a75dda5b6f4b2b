"""The key sheet: every key on one page."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.keys import Action, KeyMap
from liveview.gui.overlay import Overlay
from liveview.gui.pad import paint_keycap
from liveview.gui.theme import COLOURS, Type, Weight

_ROW = 3.5
_HEAD = 4.0


class KeySheet(Overlay):
    """Lists the actions by group, in three columns."""

    def __init__(self, keys: KeyMap, parent: QWidget) -> None:
        super().__init__("Keys", parent)
        self._keys = keys

    def sheet_size(self) -> tuple[float, float]:
        """As high as the fullest column."""
        tallest = max((self._height(column) for column in self._columns()), default=10.0)
        return (140.0, tallest + 12.0)

    def _columns(self) -> list[list[tuple[str, list[Action]]]]:
        groups = list(self._keys.groups().items())
        total = sum(_HEAD + _ROW * len(actions) for _, actions in groups)
        columns: list[list[tuple[str, list[Action]]]] = [[]]
        for group in groups:
            if self._height(columns[-1]) > total / 3 - 6 and len(columns) < 3:
                columns.append([])
            columns[-1].append(group)
        return columns

    @staticmethod
    def _height(column: list[tuple[str, list[Action]]]) -> float:
        return sum(_HEAD + _ROW * len(actions) for _, actions in column)

    def paint_sheet(self, p: QPainter) -> None:
        """Headings, keycaps and what they do."""
        look, body = self.look, self.body_rect()
        columns = self._columns()
        width = body.width() / len(columns)
        for k, column in enumerate(columns):
            x, y = body.left() + k * width, body.top()
            for heading, actions in column:
                p.setFont(look.font(Type.BODY, Weight.STRONG))
                p.setPen(COLOURS.brass)
                p.drawText(
                    QRectF(x, y, width, look.px(3)), int(Qt.AlignmentFlag.AlignVCenter), heading
                )
                y += look.px(3.2)
                for action in actions:
                    self._row(p, action, QRectF(x, y, width, look.px(_ROW)))
                    y += look.px(_ROW)
                y += look.px(_HEAD - 3.2)

    def _row(self, p: QPainter, action: Action, box: QRectF) -> None:
        look = self.look
        paint_keycap(p, box.left(), box.center().y(), action.key, look)
        p.setFont(look.font())
        p.setPen(COLOURS.text)
        p.drawText(
            box.adjusted(look.px(10), 0, 0, 0),
            int(Qt.AlignmentFlag.AlignVCenter),
            action.title,
        )
