"""The Show page: what the audience sees, what comes next, and the presenter's keys.

In the middle the programme ring with a small copy of the audience's screen. On the left where the
show is, what can be done, and the flash guard; on the right the captions, below them the screens.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QHideEvent, QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview.errors import BadRequest
from liveview.gui.around import free_width, put
from liveview.gui.bridge import Bridge
from liveview.gui.catch_bits import calm_mark
from liveview.gui.chores import Chores
from liveview.gui.keys import Action, KeyMap
from liveview.gui.lines import Line, Lines
from liveview.gui.marks import choice_mark
from liveview.gui.pad import Pad
from liveview.gui.show_desk import ShowDesk
from liveview.gui.show_dial import ShowDial
from liveview.gui.show_keys import GROUP, keys_for, show_actions
from liveview.gui.show_lines import (
    caption_lines,
    fault_lines,
    guard_lines,
    screen_lines,
    seen_words,
    stage_words,
)
from liveview.gui.show_ring import ShowValues
from liveview.gui.show_sheet import GuardSheet
from liveview.gui.show_words import CAUTION
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.window import Window
from liveview.gui.words import seconds
from liveview.model import SessionStatus
from liveview.settings import Settings
from liveview.shipped import shipped_folder
from liveview.shows import show_over

SIDE_STEPS = 40.0
WORDS_S = 0.1
HAND_S = 10.0
"""The ring's hand goes on in steps of so many seconds."""
BELOW_STEPS = 6.0
RIGHT = Qt.AlignmentFlag.AlignRight

LEFT_PADS = {
    "screen": "On the screen",
    "freeze": "Freeze the picture",
    "wipe": "Wipe to plain",
    "replay": "Last spark slowly",
    "replay_by_itself": "Replay by itself",
    "spotlight": "Spotlight",
    "more_gain": "More gain",
    "blank": "Blank",
}
CAPTION_PADS = {"previous": "Before", "next": "Next"}
SCREEN_PADS = {"next_screen": "Another", "swap": "Swap"}
WORD_PADS = {"clock": "Clock", "legend": "Legend"}
MORE_PADS = {"explanation": "Drawing"}

ONLY_HERE = ("guard",)
"""Deeds that need a sheet: not in front of the audience."""


_ACTIONS = {"card": "key card"}
"""Pads whose action is not one of the show's own."""


def _in_front(actions: tuple[Action, ...]) -> tuple[Action, ...]:
    """What can be done in front of the audience."""
    return tuple(action for action in actions if action.name.split(" ", 1)[1] not in ONLY_HERE)


class ShowPage(QWidget):
    """Everything that a presenter reads and does.

    Parameters
    ----------
    window : Window
    bridge : Bridge
    """

    KEY_GROUPS = ("Pages", "Window", GROUP)

    def __init__(
        self,
        window: Window,
        bridge: Bridge,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__(window)
        self._window = window
        self._bridge = bridge
        self._clock = clock
        self._look = Look()
        self._status = SessionStatus()
        self.key_words = ""
        """What is wrong with the show's own keys, empty when nothing is."""
        self.desk = ShowDesk(bridge, window.controls, window.views, self, clock=clock)
        self.dial = ShowDial(self.desk.frame, self)
        self.stage_lines = Lines(parent=self)
        self.guard = Lines(from_bottom=True, parent=self)
        self.captions = Lines(RIGHT, parent=self)
        self.screens = Lines(RIGHT, from_bottom=True, parent=self)
        self.caution = Lines(from_bottom=True, parent=self)
        self.caution.show_lines([Line(CAUTION, gap=0.0, mark=calm_mark)])
        keys = self._keys(bridge.settings)
        self.actions_here = self._actions(keys)
        self.sheet = GuardSheet("Y", self)
        self.pads: dict[str, Pad] = {}
        self._chores = self._make_chores()
        self._audience_keys = KeyMap(
            [
                *_in_front(self.actions_here),
                Action("leave", ("Escape",), "Back to the presenter", GROUP, self._leave),
            ]
        )
        self._audience_keys.bind(self.desk.audience)
        self._connect()

    def _make_chores(self) -> Chores:
        """The audience's picture never waits for more than one of these."""
        chores = Chores(self._clock)
        for name, do in (
            ("stage", self._refresh_stage),
            ("guard", self._refresh_guard),
            ("captions", self._refresh_captions),
            ("dial", self._refresh_dial),
            ("pads", self._refresh_pads),
        ):
            chores.add(name, WORDS_S, do)
        return chores

    def _keys(self, settings: Settings) -> dict[str, tuple[str, ...]]:
        """The show's keys; wrong ones are said, and the usual ones stay."""
        try:
            return keys_for(settings.show.keys)
        except BadRequest as error:
            self.key_words = str(error)
            return keys_for({})

    def _actions(self, keys: dict[str, tuple[str, ...]]) -> tuple[Action, ...]:
        def do(name: str) -> Callable[[], None]:
            return self.toggle_guard if name == "guard" else self.desk.deed(name)

        return show_actions(keys, do)

    def own_actions(self) -> tuple[Action, ...]:
        """What can be done here, for the window's key map."""
        return (
            *self.actions_here,
            Action("show guard yes", ("Y",), "Yes, the guard off", GROUP, self.sheet.agree),
            Action("show cautions", ("K",), "Cautions for flashes", GROUP, self.toggle_cautions),
            Action("show open", ("Ctrl+O",), "Open a show", GROUP, self.ask_show),
        )

    def _connect(self) -> None:
        desk = self.desk
        desk.changed.connect(self._refresh)
        desk.composed.connect(self._with_picture)
        desk.stage.changed.connect(self._refresh)
        self._bridge.new_status.connect(self._on_status)
        self.dial.station_pressed.connect(desk.go_to)
        self.dial.copy.pointed.connect(desk.point_at)
        self.dial.copy.edge_drawn.connect(desk.set_edge)
        self.sheet.agreed.connect(partial(desk.set_guard, False))

    def make_pads(self, keys: KeyMap) -> None:
        """Build the pads, once the actions are in the window's key map."""
        for group in (LEFT_PADS, CAPTION_PADS, SCREEN_PADS, WORD_PADS, MORE_PADS):
            for name, title in group.items():
                self._pad(name, title, keys[f"show {name}"])
        self._pad("view", "View", keys["show view"])
        if "key card" in keys:
            self._pad("card", "Key card", keys["key card"])
        self._pad("guard", "Guard", keys["show guard"])
        self._pad("cautions", "Cautions", keys["show cautions"])
        self._pad("open", "Open a show", keys["show open"])
        self.sheet.raise_()
        self._refresh()

    def _pad(self, name: str, title: str, what: Action) -> None:
        pad = Pad(title, what.key, tip=what.title, parent=self)
        pad.clicked.connect(what.run)
        pad.set_look(self._look)
        self.pads[name] = pad

    # --- what can be done

    def toggle_guard(self) -> None:
        """Off only through the sheet; on at once."""
        if self.desk.frame.guarded:
            self.sheet.ask(True)
        else:
            self.desk.set_guard(True)

    def toggle_cautions(self) -> None:
        """The cautions in full, or back."""
        if not self._close_sheet():
            self.sheet.ask(False)

    def ask_show(self) -> None:
        """Ask which show to open; the shipped ones are where it begins to look."""
        folder = str(shipped_folder("configs") / "shows")
        dialog = QFileDialog(self.window(), "Open a show", folder, "Shows (*.toml)")
        dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.open_show)
        dialog.open()

    def open_show(self, path: str) -> None:
        """Go on with another show: its captions, keys and view, and its source if it names one."""
        before = self._bridge.settings
        try:
            settings = show_over(path, before)
            keys = keys_for(settings.show.keys)
        except BadRequest as error:
            self._bridge.said.emit(str(error))
            return
        self._use_keys(keys)
        self._window.use_settings(settings)
        source = settings.camera.source
        if source and (source != self._bridge.address or settings.camera != before.camera):
            self._bridge.open(source)
        self._bridge.said.emit(f"Show: {settings.show.title or Path(path).stem}")

    def _use_keys(self, keys: dict[str, tuple[str, ...]]) -> None:
        """Other keys for the same deeds, here, on the pads and on the audience's window."""
        self.key_words = ""
        self.actions_here = self._actions(keys)
        self._window.keys.replace(self.actions_here)
        self._audience_keys.replace(_in_front(self.actions_here))
        for name, pad in self.pads.items():
            pad.set_key(self._window.keys[_ACTIONS.get(name, f"show {name}")].key)

    def _leave(self) -> None:
        """Back from the full screen: off it where it covers this window."""
        if self.desk.stage.covers_presenter:
            self.desk.stage.end()

    def _close_sheet(self) -> bool:
        there = self.sheet.isVisible()
        self.sheet.close_sheet()
        if there:
            self.setFocus()
        return there

    def close_own(self) -> bool:
        """Put away the sheet; False when nothing was open."""
        return self._close_sheet()

    # --- values

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self.desk.set_settings(settings)
        self._refresh()

    def showEvent(self, event: QShowEvent | None) -> None:
        self.desk.set_page_open(True)
        self.dial.fit_copy()
        self._status = self._bridge.status
        self._refresh()

    def hideEvent(self, event: QHideEvent | None) -> None:
        self.sheet.close_sheet()
        self.desk.set_page_open(False)

    def _on_status(self, status: SessionStatus) -> None:
        self._status = status
        if self._seen:
            self._chores.want("stage", "guard", "captions", "dial", "pads")
            self._chores.without_picture()

    def _with_picture(self) -> None:
        """A picture went to the audience: the small copy or one of the refreshes follows."""
        if self._seen and not self.dial.copy.follow():
            self._chores.with_picture()

    @property
    def _seen(self) -> bool:
        return self.isVisible() and bool(self.pads)

    @property
    def elapsed_s(self) -> float | None:
        """How long the show has been on; None before it was."""
        began = self.desk.began_s
        return None if began is None else self._clock() - began

    @property
    def _whole_s(self) -> float | None:
        """The time on screen, in steps of the ring's hand."""
        elapsed = self.elapsed_s
        return None if elapsed is None else elapsed // HAND_S * HAND_S

    def _refresh(self) -> None:
        """The presenter did something: everything at once."""
        if self._seen:
            self._chores.all()

    def _refresh_stage(self) -> None:
        stage = self.desk.stage
        head, below = stage_words(stage)
        colour = COLOURS.ember if stage.waiting_for else COLOURS.text
        lines = [
            Line(head, Type.TITLE, Weight.FIRM, colour, gap=0.0),
            Line(below, weight=Weight.FIRM),
        ]
        if self.key_words:
            lines.append(Line(f"Usual keys: {self.key_words}", Type.SMALL, colour=COLOURS.ember))
        self.stage_lines.show_lines(lines)
        self.screens.show_lines(screen_lines(stage))

    def _refresh_guard(self) -> None:
        faults = fault_lines(self._status, self._bridge.words, self.desk.live)
        self.guard.show_lines([*faults, *guard_lines(self.desk)])

    def _refresh_captions(self) -> None:
        self.captions.show_lines(caption_lines(self.desk.board))

    def _refresh_dial(self) -> None:
        desk, board, whole_s = self.desk, self.desk.board, self._whole_s
        self.dial.fit_copy()
        self.dial.show_values(
            ShowValues(
                captions=tuple(caption.text for caption in board.captions),
                at=board.at,
                elapsed_s=whole_s,
                flashes=desk.flashes,
                guarded=desk.frame.guarded,
                softened=desk.log.share < 1.0,
            ),
            "The audience sees" if desk.stage.running else "The audience would see",
            seen_words(desk, whole_s),
            calm=not desk.stage.waiting_for,
        )

    def _refresh_pads(self) -> None:
        desk, stage = self.desk, self.desk.stage
        more = f"{desk.show.more_gain:g}\u2009×, {seconds(desk.show.more_gain_for_s)}"
        states: dict[str, tuple[bool, str, str]] = {
            "screen": (stage.running, "", ""),
            "freeze": (desk.frozen, "", ""),
            "wipe": (desk.board.edge.target > 0, "", ""),
            "replay": (desk.replaying, "", f"{desk.show.replay_rate} of real time"),
            "replay_by_itself": (desk.slow.by_itself, "", ""),
            "spotlight": (desk.board.spot_depth.target > 0, "", ""),
            "more_gain": (desk.boosted, "", more),
            "blank": (desk.board.blank, "", ""),
            "clock": (desk.board.clock_on, "", ""),
            "legend": (desk.board.legend_on, "", ""),
            "explanation": (desk.board.drawing_on, "", ""),
            "guard": (desk.frame.guarded, "", ""),
        }
        for name, (on, title, note) in states.items():
            self.pads[name].set_state(mark=choice_mark(on), on=on, title=title, note=note)
        view = self._bridge.settings.enhance.view
        self.pads["view"].set_state(title=f"View: {view}")
        self._place_pads()

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for block in (self.stage_lines, self.guard, self.captions, self.screens, self.caution):
            block.set_look(look)
        for pad in self.pads.values():
            pad.set_look(look)
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything."""
        look, width, height = self._look, self.width(), self.height()
        px = look.px
        side = round(min(height - px(BELOW_STEPS + 1.6), width - 2 * px(SIDE_STEPS)))
        self.dial.fit(side, look)
        self.dial.move((width - side) // 2, round((height - px(BELOW_STEPS) - side) / 2))
        base = height - px(BELOW_STEPS)
        self._left(self.stage_lines, px(10.6), px(14))
        self._left(self.guard, base - px(23), px(23))
        self._right(self.captions, px(11), px(44))
        self._right(self.screens, base - px(20), px(15))
        self.sheet.resize(width, height)
        self.sheet.set_look(look)
        self._place_pads()

    def _left(self, widget: QWidget, top: float, tall: float) -> None:
        room = free_width(self, self.dial.width(), self._look, top, top + tall)
        put(widget, self._look.px(2), top, room, tall)

    def _right(self, widget: QWidget, top: float, tall: float) -> None:
        margin = self._look.px(2)
        room = free_width(self, self.dial.width(), self._look, top, top + tall)
        put(widget, self.width() - margin - room, top, room, tall)

    def _place_pads(self) -> None:
        if not self.pads:
            return
        px, width = self._look.px, self.width()
        y = px(26)
        for name in LEFT_PADS:
            pad = self.pads[name]
            pad.move(round(px(1.5)), round(y))
            y += px(4.9) if pad.note else px(4.2)
        base = self.height() - px(BELOW_STEPS)
        self._row(tuple(CAPTION_PADS), px(56))
        self._row(("view",), px(62.5))
        self._row(tuple(WORD_PADS), px(66.7))
        self._row((*MORE_PADS, "card"), px(70.9))
        self._row(("open",), px(75.1))
        self._row(tuple(SCREEN_PADS), base - px(4))
        pad = self.pads["cautions"]
        pad.move(round(width - px(1.5) - pad.width()), round(self.height() - px(5)))
        guard = self.pads["guard"]
        x = width - px(2.5) - pad.width() - guard.width()
        guard.move(round(x), round(self.height() - px(5)))
        put(self.caution, px(2), base - px(0.5), x - px(4), px(4.2))

    def _row(self, names: tuple[str, ...], y: float) -> None:
        """Pads in a row that ends at the right margin."""
        x = self.width() - self._look.px(1.5)
        for name in reversed(names):
            pad = self.pads.get(name)
            if pad is not None:
                x -= pad.width()
                pad.move(round(x), round(y))
                x -= self._look.px(1.0)

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """Close the audience's window; words about what is stuck."""
        return self.desk.finish(timeout_s)


def join_show(window: Window, bridge: Bridge) -> ShowPage:
    """Add the Show page to a window."""
    page = ShowPage(window, bridge)
    for action in page.own_actions():
        window.keys.add(action)
    page.make_pads(window.keys)
    page.set_settings(bridge.settings)
    window.add_page("Show", page)
    return page
