"""The key sheet: every key of the open page."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.keys import Action, KeyMap, in_order
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad, paint_keycap
from liveview.gui.theme import COLOURS, Type, Weight

_ROW = 3.5
_HEAD = 4.4

COLUMNS = 3

FURTHER = {"guide": "User guide", "explain": "How it works", "key card": "All keys on paper"}
"""What can be opened from here besides, by the mouse as well."""


class KeySheet(Overlay):
    """Lists the actions that work on the open page by group, in three columns."""

    def __init__(self, keys: KeyMap, parent: QWidget) -> None:
        super().__init__("Keys", parent)
        self._keys = keys
        self.pads: dict[str, Pad] = {}
        for name, title in FURTHER.items():
            if name in keys:
                pad = Pad(title, keys[name].key, tip=keys[name].title, parent=self)
                pad.clicked.connect(partial(self._further, name))
                self.pads[name] = pad

    def sheet_size(self) -> tuple[float, float]:
        """As high as the fullest column."""
        tallest = max((_height(column) for column in self.columns()), default=10.0)
        return (150.0, tallest + 12.0)

    def lay_out(self) -> None:
        """What else can be opened stands beside the title."""
        sheet, look = self.sheet_rect(), self.look
        x = sheet.right() - look.px(3)
        for pad in reversed(self.pads.values()):
            pad.set_look(look)
            x -= pad.width() + look.px(1)
            pad.move(round(x), round(sheet.top() + look.px(2)))

    def _further(self, name: str) -> None:
        self.close_sheet()
        self._keys[name].run()

    def columns(self) -> list[list[str | Action]]:
        """Headings and actions; a long group goes on in the next column under its heading again.

        A short one stands together.
        """
        groups: list[list[str | Action]] = [
            [heading, *in_order(heading, actions)]
            for heading, actions in self._keys.groups(working=True).items()
        ]
        most = sum(map(_height, groups)) / COLUMNS + _HEAD
        if len(groups) <= COLUMNS:
            most = max([most, *map(_height, groups)])
        columns: list[list[str | Action]] = [[]]
        for group in groups:
            together = len(group) if _height(group) < most / 2 else 3
            for k, row in enumerate(group):
                needed = _height(group[k:together]) if k == 0 else _height([row])
                full = _height(columns[-1]) + needed > most
                # No row or two of a group alone at the top of the next column.
                if full and (k == 0 or len(group) - k > 2) and len(columns) < COLUMNS:
                    columns.append([group[0]] if k else [])
                columns[-1].append(row)
        return columns

    def paint_sheet(self, p: QPainter) -> None:
        """Headings, keycaps and what they do."""
        look, body = self.look, self.body_rect()
        width = body.width() / COLUMNS
        for k, column in enumerate(self.columns()):
            x, y = body.left() + k * width, body.top()
            for row in column:
                tall = _height([row])
                if isinstance(row, str):
                    p.setFont(look.font(Type.BODY, Weight.STRONG))
                    p.setPen(COLOURS.brass)
                    box = QRectF(x, y + look.px(tall - 3.4), width, look.px(3))
                    p.drawText(box, int(Qt.AlignmentFlag.AlignVCenter), row)
                else:
                    self._row(p, row, QRectF(x, y, width, look.px(tall)))
                y += look.px(tall)

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


def _height(rows: Sequence[str | Action]) -> float:
    """Height of rows in steps."""
    return sum(_HEAD if isinstance(row, str) else _ROW for row in rows)
