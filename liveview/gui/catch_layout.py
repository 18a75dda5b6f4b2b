"""Where everything on the Catch page stands."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from PyQt6.QtWidgets import QWidget

from liveview.gui.around import put
from liveview.gui.theme import Look

if TYPE_CHECKING:
    from liveview.gui.catch_page import CatchPage

SIDE_STEPS = 38.0
"""Least room on either side of the instrument."""

BELOW_STEPS = 6.0
"""Room below it, for the cautions."""

METER_STEPS = 61.6
"""Where the level meter stands."""


class CatchLayout:
    """Places the parts of one page: the trigger left, the instrument between, events right."""

    def __init__(self, page: CatchPage) -> None:
        self._page = page

    def place_all(self, look: Look) -> None:
        """Everything, for a new size or look."""
        page, px = self._page, look.px
        width, height = page.width(), page.height()
        side = round(min(height - px(BELOW_STEPS + 0.8), width - 2 * px(SIDE_STEPS)))
        page.dial.fit(side, look)
        page.dial.move((width - side) // 2, round((height - px(BELOW_STEPS) - side) / 2))
        base = height - px(BELOW_STEPS)
        self._left(look, page.badge, px(10.6), px(11))
        rows = px(page.rows.steps_high)
        self._left(look, page.rows, px(27), rows, inset=0.6)
        below = px(28) + rows
        self._left(look, page.path, below, px(METER_STEPS) - below)
        self._left(look, page.meter, px(METER_STEPS), px(10))
        self._left(look, page.strip, px(75), base - px(75))
        self._right(look, page.heading, px(11), px(4))
        self._right(look, page.events, px(15), px(45))
        self._right(look, page.store, px(66), base - px(66.5))
        put(page.caution, px(2), height - px(4.4), width - px(33), px(4))
        for sheet in (page.sheet, page.microphone):
            sheet.resize(width, height)
            sheet.set_look(look)
        self.place_pads(look)

    def place_pads(self, look: Look) -> None:
        """The pads; those that are hidden leave no hole."""
        pads, px, width = self._page.pads, look.px, self._page.width()
        if not pads:
            return
        x = px(1.0)
        for name in ("trigger", "quiet", "spark"):
            pads[name].move(round(x), round(px(21.8)))
            x += pads[name].width() + px(0.4)
        x = width - px(1.5)
        for name in ("put back", "bin", "review"):
            pad = pads[name]
            if not pad.isHidden():
                x -= pad.width()
                pad.move(round(x), round(px(60.6)))
                x -= px(0.4)
        pads["microphone"].move(round(px(1.4)), round(px(71)))
        x = width - px(1.5)
        for name in ("cautions", "folder"):
            pad = pads[name]
            if not pad.isHidden():
                x -= pad.width()
                pad.move(round(x), round(self._page.height() - px(5)))
                x -= px(0.4)

    def _free(self, look: Look, top: float, bottom: float) -> float:
        """Room between the page's edge and the instrument over a stretch of height, pixels."""
        dial = self._page.dial
        radius = dial.width() / 2
        middle = dial.y() + radius
        off = min(max(middle, top), bottom) - middle
        chord = sqrt(max(radius**2 - off**2, 0.0))
        return self._page.width() / 2 - chord - look.px(3.5)

    def _left(
        self, look: Look, widget: QWidget, top: float, tall: float, *, inset: float = 0.0
    ) -> None:
        margin = look.px(2 - inset)
        room = self._free(look, top, top + tall) - margin + look.px(1)
        put(widget, margin, top, room, tall)

    def _right(self, look: Look, widget: QWidget, top: float, tall: float) -> None:
        margin = look.px(2)
        room = self._free(look, top, top + tall) - margin + look.px(1)
        put(widget, self._page.width() - margin - room, top, room, tall)
