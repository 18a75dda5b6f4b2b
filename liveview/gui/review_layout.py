"""Where everything on the Review page stands, and what its pads say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from liveview.gui.around import SIDE_STEPS, free_width, put
from liveview.gui.marks import choice_mark, gain_mark
from liveview.gui.pad import Pad
from liveview.gui.review_reader import Sight
from liveview.gui.review_replay import Compare, Replay
from liveview.gui.theme import Look
from liveview.gui.words import with_unit

if TYPE_CHECKING:
    from liveview.gui.review_page import ReviewPage

PLOT_STEPS = 30.0
"""Height of the diagram."""


@dataclass(frozen=True, slots=True)
class PadState:
    """Everything that the pads show; ``notices`` only moves them."""

    playing: bool
    loop: bool
    sight: Sight
    compare: Compare
    gain_note: str
    there: bool
    measuring: bool
    can_undo: bool
    notices: object


def pad_state(replay: Replay, can_undo: bool, measuring: bool, notices: object) -> PadState:
    """State of the pads for a replay."""
    words = "automatic" if replay.sight.gain is None else "fixed"
    reading = None if replay.shown is None else replay.shown.reading
    if reading is not None and reading.scale is not None:
        words += f", \u00b1{with_unit(reading.scale, reading.unit)}"
    return PadState(
        replay.playing,
        replay.loop,
        replay.sight,
        replay.compare,
        words,
        replay.path is not None,
        measuring,
        can_undo,
        notices,
    )


def show_pads(pads: Mapping[str, Pad], state: PadState, views: tuple[str, ...]) -> None:
    """Let the pads say it."""
    pads["play"].set_state(title="Stop" if state.playing else "Play", on=state.playing)
    pads["loop"].set_state(title="Loop", on=state.loop)
    fixed = state.sight.gain is not None
    pads["gain"].set_state(mark=gain_mark(fixed), note=state.gain_note, on=fixed)
    choices = {f"view {view}": view == state.sight.view for view in views}
    choices |= {
        "compare": state.compare is Compare.VIEW,
        "hold": state.compare is Compare.HELD,
        "measure": state.measuring,
    }
    for name, on in choices.items():
        pads[name].set_state(mark=choice_mark(on), on=on)
    pads["undo"].setVisible(state.can_undo)
    for name in ("bin", "export", "measure", "hold", "compare", "play"):
        pads[name].setEnabled(state.there)


class ReviewLayout:
    """Places the parts of one page: events left, the instrument in the middle, pads right."""

    def __init__(self, page: ReviewPage) -> None:
        self._page = page

    def place_all(self, look: Look, measuring: bool) -> None:
        """Everything, for a new size or look."""
        page = self._page
        width, height = page.width(), page.height()
        side = round(min(height - look.px(1.5), width - 2 * look.px(SIDE_STEPS)))
        page.dial.fit(side, look)
        page.dial.move((width - side) // 2, (height - side) // 2)
        margin, column = look.px(2), self._column(look)
        self._place_left(look, margin, column)
        put(page.moment, width - margin - column, look.px(10), column, look.px(20))
        page.sheet.resize((page.sheet.parentWidget() or page).size())
        self.place_pads(look, measuring)

    def _column(self, look: Look) -> float:
        """Width of the columns beside the instrument."""
        return (self._page.width() - self._page.dial.width()) / 2 - look.px(3.0)

    def _place_left(self, look: Look, margin: float, column: float) -> None:
        """The events, and below them the diagram of what was measured."""
        page = self._page
        top, foot = look.px(11.5), page.height() - look.px(6.4)
        plot = page.panel.plot_place
        if plot.isVisibleTo(page):
            tall = look.px(PLOT_STEPS)
            wide = free_width(page, page.dial.width(), look, foot - tall, foot)
            put(plot, margin, foot - tall, max(wide, column), tall)
            foot -= tall + look.px(1)
        put(page.events, margin, top, column, foot - top)

    def place_pads(self, look: Look, measuring: bool) -> None:
        """The pads, and either the views or the measuring tools."""
        page, pads = self._page, self._page.pads
        if not pads:
            return
        margin, column = look.px(2), self._column(look)
        x, foot = page.width() - margin - column, page.height() - look.px(5)
        y = look.px(29.5)
        for k, name in enumerate(("play", "loop", "slower", "faster")):
            pads[name].setVisible(not measuring)
            pads[name].move(round(x + (k % 2) * column / 2), round(y + (k // 2) * look.px(3.6)))
        _in_a_row([pads[name] for name in ("elsewhere", "bin", "undo")], margin, foot, look, 0.2)
        _in_a_row([pads["measure"], pads["export"]], x + look.px(0.5), foot, look, 0.5)
        if measuring:
            y += look.px(0.5)
            put(page.panel, x, y, column, foot - y - look.px(0.5))
        self._place_views(look, x, y + look.px(8.6), column, foot, visible=not measuring)

    def _place_views(
        self, look: Look, x: float, y: float, column: float, foot: float, *, visible: bool
    ) -> None:
        page, pads = self._page, self._page.pads
        names = [name for name in pads if name.startswith("view ")] + ["gain", "compare", "hold"]
        for name in names:
            pads[name].setVisible(visible)
            y += look.px(1.0) if name in ("gain", "compare") else 0.0
            pads[name].move(round(x), round(y))
            y += look.px(5.0) if name == "gain" else look.px(3.6)
        room = foot - y - look.px(2)
        needed = min(page.notices.needed_height(column), max(room, 0.0))
        put(page.notices, x, y + look.px(1), column, needed)
        page.notices.setVisible(visible)


def _in_a_row(pads: list[Pad], x: float, y: float, look: Look, gap: float) -> None:
    """One beside the other; the first one's frame stands a little left of ``x``."""
    x -= look.px(0.5)
    for pad in pads:
        pad.move(round(x), round(y))
        x += pad.width() + look.px(gap)
