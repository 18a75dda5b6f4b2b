"""The key sheet: every key of the open page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui.keys import Action, KeyMap, in_order
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad, paint_keycap
from liveview.gui.theme import COLOURS, Type, Weight

TITLE_AT = 10.0
"""Where what a key does begins, steps."""

_ROW = 3.5
_HEAD = 4.4

COLUMNS = 3
KEPT_TOGETHER = 3
"""Rows of a divided group that stand together at least."""

FURTHER = {"guide": "User guide", "explain": "How it works", "key card": "All keys on paper"}
"""What can be opened from here besides, by the mouse as well."""


Rows = list[str | Action]


class KeySheet(Overlay):
    """Lists the actions that work on the open page by group, in three columns.

    Parameters
    ----------
    keys : KeyMap
        The window's actions.
    pages : callable
        Gives the key groups of each page.
    parent : QWidget
        The window.
    """

    def __init__(
        self, keys: KeyMap, pages: Callable[[], Mapping[str, Sequence[str]]], parent: QWidget
    ) -> None:
        super().__init__("Keys", parent)
        self._keys = keys
        self._pages = pages
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
        """Headings and actions in columns as low as they can be, the page's own keys first.

        A group that is too long for its column goes on in the next under its heading again.
        """
        groups: list[Rows] = [
            [heading, *in_order(heading, actions)]
            for heading, actions in self._in_order_of_use().items()
        ]
        most = sum(map(_height, groups)) / COLUMNS
        columns = _filled(groups, most)
        while len(columns) > COLUMNS:
            most += 0.1
            columns = _filled(groups, most)
        return columns

    def _in_order_of_use(self) -> dict[str, list[Action]]:
        """Working groups: those of few pages before those of all."""
        pages = self._pages().values()
        groups = self._keys.groups(working=True)
        return dict(
            sorted(groups.items(), key=lambda group: sum(group[0] in names for names in pages))
        )

    def places(self) -> list[tuple[str | Action, QRectF]]:
        """Every heading and action with where it stands, pixels."""
        look, body = self.look, self.body_rect()
        width = body.width() / COLUMNS
        found: list[tuple[str | Action, QRectF]] = []
        for k, column in enumerate(self.columns()):
            y = body.top()
            for row in column:
                tall = look.px(_height([row]))
                found.append((row, QRectF(body.left() + k * width, y, width, tall)))
                y += tall
        return found

    def paint_sheet(self, p: QPainter) -> None:
        """Headings, keycaps and what they do."""
        look = self.look
        for row, box in self.places():
            if isinstance(row, str):
                p.setFont(look.font(Type.BODY, Weight.STRONG))
                p.setPen(COLOURS.brass)
                low = box.adjusted(0, box.height() - look.px(3.4), 0, -look.px(0.4))
                p.drawText(low, int(Qt.AlignmentFlag.AlignVCenter), row)
            else:
                self._row(p, row, box)

    def _row(self, p: QPainter, action: Action, box: QRectF) -> None:
        look = self.look
        paint_keycap(p, box.left(), box.center().y(), action.key, look)
        p.setFont(look.font())
        p.setPen(COLOURS.text)
        p.drawText(
            box.adjusted(look.px(TITLE_AT), 0, 0, 0),
            int(Qt.AlignmentFlag.AlignVCenter),
            action.title,
        )


def _height(rows: Sequence[str | Action]) -> float:
    """Height of rows in steps."""
    return sum(_HEAD if isinstance(row, str) else _ROW for row in rows)


def _filled(groups: Sequence[Rows], most: float) -> list[Rows]:
    """Columns filled one after the other, none higher than ``most`` steps (or three rows).

    No row or two of a group stand alone at the end of a column or at the top of the next one.
    """
    columns: list[Rows] = [[]]
    for group in groups:
        heading, rest = str(group[0]), group[1:]
        while rest:
            room = most - _height(columns[-1]) - _HEAD
            fits = int((room + 1e-9) / _ROW)
            if fits < len(rest):
                fits = min(fits, len(rest) - KEPT_TOGETHER)
            if fits < min(KEPT_TOGETHER, len(rest)) and columns[-1]:
                columns.append([])
                continue
            fits = min(max(fits, KEPT_TOGETHER), len(rest))
            columns[-1] += [heading, *rest[:fits]]
            heading, rest = f"{group[0]}, continued", rest[fits:]
    return columns
