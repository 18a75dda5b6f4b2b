"""The window: pages, strips, sheets and keys around one bridge."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial

from PyQt6.QtCore import QRectF, Qt, QTimer
from PyQt6.QtGui import QCloseEvent, QIcon, QPainter, QPaintEvent, QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QWidget

from liveview.errors import WorkerStuck
from liveview.gui.actions import actions_for
from liveview.gui.book import PAGE_KEYS, Book
from liveview.gui.bridge import Bridge
from liveview.gui.clock_sheet import ClockSheet
from liveview.gui.controls import Controls
from liveview.gui.helps import Helps
from liveview.gui.key_sheet import KeySheet
from liveview.gui.keys import Action, KeyMap
from liveview.gui.lines import Line, Lines
from liveview.gui.panels import Panels
from liveview.gui.source_dialog import SourceDialog
from liveview.gui.strip import PageBar, SourceStrip
from liveview.gui.theme import COLOURS, Look, Weight
from liveview.gui.watch_page import WatchPage
from liveview.gui.words import THIN, count, seconds
from liveview.model import Reading, SessionStatus
from liveview.settings import Settings
from liveview.shipped import shipped_folder

ANSWER_S = 4.0
"""How long an answer to something done stays."""

STOP_S = 2.0


class Window(QWidget):
    """The instrument on the screen.

    Parameters
    ----------
    bridge : Bridge
        Started by the owner after the window is shown.
    views : sequence of str
        The views that the chain offers.
    """

    def __init__(
        self,
        bridge: Bridge,
        views: Sequence[str],
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__()
        self._bridge = bridge
        self._views = tuple(views)
        self._clock = clock
        self._look = Look()
        self._frozen_since: float | None = None
        self._answer_until = 0.0
        self._closing = False
        self._view_before: str | None = None
        self.stuck: tuple[str, ...] = ()
        self.setWindowTitle("liveview")
        self.setWindowIcon(QIcon(str(shipped_folder("assets") / "icon.svg")))
        self.setMinimumSize(960, 600)
        self.controls = Controls(bridge, self._shown_reading, self._settings_changed)
        self._deeds = self._make_deeds()
        self.keys = KeyMap(actions_for(self, self.controls, self._views))
        self.page = WatchPage(self.keys, self._views, clock=clock, parent=self)
        self.pages = PageBar(("Watch",), self)
        self.pages.turned_to.connect(self.turn_to)
        self._book = Book()
        self.source = SourceStrip(self)
        self.source.clicked.connect(self.keys["source"].run)
        self.source.setToolTip(f"{self.keys['source'].title}  ({self.keys['source'].key})")
        self.answer = Lines(parent=self)
        self.panels = Panels(self, self.controls.set, self.page.keep_below)
        self.sources = SourceDialog(bridge.supplies.scenes, bridge.supplies.look_for_cameras, self)
        self.key_sheet = KeySheet(self.keys, self.key_pages, self)
        self.clock_sheet = ClockSheet(self)
        self.helps = Helps(self, self.keys, self.key_pages, self.say)
        self.helps.set_settings(bridge.settings)
        self.keys.bind(self)
        self._connect()
        self.page.set_settings(bridge.settings)
        self.panels.set_settings(bridge.settings)
        self.add_page("Watch", self.page)
        self.keys.allow(self._book.key_groups("Watch"))

    @property
    def views(self) -> tuple[str, ...]:
        """The views that the chain offers."""
        return self._views

    # --- pages

    def add_page(self, name: str, page: QWidget) -> None:
        """One more page of the work, see ``gui.book``."""
        page.setParent(self)
        self._book.add(name, page)
        names = self._book.names
        self.pages.show_pages(names)
        if len(names) > 1:
            for known in names:
                if f"page {known}" not in self.keys:
                    key, title = PAGE_KEYS[known], f"The {known} page"
                    turn = partial(self.turn_to, known)
                    self.keys.add(Action(f"page {known}", (key,), title, "Pages", turn))
        self.pages.setToolTip("\n".join(f"{known}  ({PAGE_KEYS[known]})" for known in names))
        self.lay_out()

    def turn_to(self, name: str) -> None:
        """Open a page."""
        self._book.turn_to(name)
        self.pages.turn_to(name)
        self.keys.allow(self._book.key_groups(name))
        if self._book[name] is not self.page:
            self.panels.close()
        self._focus_page()

    def _focus_page(self) -> None:
        """Keys go to the open page."""
        page = self._book[self.open_page]
        (self.page.dial.picture if page is self.page else page).setFocus()

    @property
    def open_page(self) -> str:
        """Name of the page that is open."""
        return self._book.open_page

    def key_pages(self) -> dict[str, tuple[str, ...]]:
        """Key groups that work, by page in the order of the work."""
        return {name: self._book.key_groups(name) for name in self._book.names}

    def _connect(self) -> None:
        bridge, picture = self._bridge, self.page.dial.picture
        bridge.new_reading.connect(self._on_reading)
        bridge.new_status.connect(self._on_status)
        bridge.source_changed.connect(self._on_source)
        bridge.said.connect(self.say)
        bridge.settings_restored.connect(self._settings_changed)
        self.panels.camera.wanted.connect(partial(self.controls.set_all, "camera"))
        self.panels.camera.check_asked.connect(self._check_clock)
        self.clock_sheet.found.connect(partial(self.controls.set_all, "camera"))
        picture.disc_placed.connect(self.controls.place_disc)
        picture.placing_changed.connect(self._on_placing)
        picture.painted.connect(self._after_first_picture)
        self.sources.chosen.connect(self._open)
        self.sources.controls_asked.connect(self._camera)
        for sheet in (self.sources, self.key_sheet, self.clock_sheet):
            sheet.closed.connect(self._sheet_closed)
        self.helps.closed.connect(self._sheet_closed)

    # --- what can be done

    def do(self, name: str) -> None:
        """Something the window itself does, by name; see ``actions.Deeds``."""
        self._deeds[name]()

    def turn(self, steps: int) -> None:
        """Turn what the open panel has in hand."""
        self.panels.turn(steps)

    def choose(self, by: int) -> None:
        """Another thing in the open panel."""
        self.panels.choose(by)

    def _make_deeds(self) -> dict[str, Callable[[], object]]:
        return {
            "freeze": self.freeze,
            "whole": self._whole,
            "place": self._place,
            "find": self._find,
            "source": self._choose_source,
            "full": self._full_screen,
            "keys": self._show_keys,
            **{name: partial(self._help, name) for name in ("guide", "explain", "card")},
            "back": self._back,
            "quit": self._quit,
            "hand": self._hand,
            "enhance": lambda: self.panels.toggle(self.panels.enhance),
            "catch": lambda: self.panels.toggle(self.panels.catch),
            "steps": lambda: self.panels.toggle(self.panels.steps),
            "camera": self._camera,
            "clock": self._check_clock,
        }

    def freeze(self) -> None:
        """Hold the picture; everything behind it goes on."""
        if self._frozen_since is not None:
            self._frozen_since = None
            self._show_chip()
        elif self._shown_reading() is not None:
            self._frozen_since = self._clock()
            self.page.dial.picture.hold_copy()
            self._show_chip()

    @property
    def frozen(self) -> bool:
        """True while the picture is held."""
        return self._frozen_since is not None

    def _whole(self) -> None:
        picture = self.page.dial.picture
        picture.show_whole(not picture.whole)

    def _place(self) -> None:
        picture = self.page.dial.picture
        picture.start_placing(not picture.placing)

    def _find(self) -> None:
        self.page.dial.picture.start_placing(False)
        self.controls.place_disc(None)
        self.say("Looking for the disc.")

    def _on_placing(self, on: bool) -> None:
        """The disc is placed in the plain picture: the others end at the old disc."""
        if on:
            self._view_before = self._bridge.settings.enhance.view
            self.controls.view("plain")
            self.say("Arrows move it, + and \u2212 size it, Shift is faster, Enter keeps it.")
        elif self._view_before is not None:
            self.controls.view(self._view_before)
            self._view_before = None

    def _choose_source(self) -> None:
        if self.sources.isVisible():
            self.sources.close_sheet()
            return
        self.key_sheet.close_sheet()
        self.sources.open_for(self._bridge.address)
        self.keys.set_enabled(False)

    def _show_keys(self) -> None:
        if self.key_sheet.isVisible():
            self.key_sheet.close_sheet()
        else:
            self.key_sheet.open()

    def _help(self, name: str) -> None:
        self.key_sheet.close_sheet()
        if name == "guide":
            self.helps.show_guide(self.open_page)
        elif name == "explain":
            self.helps.show_explanation()
        else:
            self.helps.print_card()

    def _sheet_closed(self) -> None:
        self.keys.set_enabled(True)
        self._focus_page()

    def _back(self) -> None:
        if self.clock_sheet.isVisible():
            self.clock_sheet.close_sheet()
        elif self.key_sheet.isVisible():
            self.key_sheet.close_sheet()
        elif self.panels.close() or self._book.close_own():
            return
        elif self.page.dial.picture.whole:
            self.page.dial.picture.show_whole(False)
        elif self.isFullScreen():
            self._full_screen()

    def _full_screen(self) -> None:
        # A maximized window is maximized again afterwards.
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def _open(self, address: str) -> None:
        self._frozen_since = None
        self._bridge.open(address)

    def _hand(self) -> None:
        if self.panels.hand.has_rig:
            self.panels.toggle(self.panels.hand)
        else:
            self.say("This is not the simulated rig: turn the real one.")

    def _camera(self) -> None:
        if self.panels.camera.has_camera:
            if not (self.page.isVisible() or self.panels.camera.isVisible()):
                self.turn_to("Watch")
            self.panels.toggle(self.panels.camera)
        else:
            self.say("A recording has no controls: open a camera.")

    def _check_clock(self) -> None:
        session = self._bridge.session
        if session is None or session.camera is None:
            self.say("A recording has its own clock: open a camera.")
            return
        self.panels.close()
        self.clock_sheet.open_for(session)
        self.keys.set_enabled(False)

    # --- what comes in

    def _shown_reading(self) -> Reading | None:
        return self.page.dial.picture.reading

    def _on_reading(self, reading: Reading) -> None:
        self.panels.show_reading(reading)
        self.helps.show_reading(reading)
        if self._frozen_since is None:
            self.page.show_reading(reading)

    def _on_status(self, status: SessionStatus) -> None:
        self.source.show_status(status)
        self.page.show_status(status, self._bridge.words)
        self.panels.hand.refresh()
        self.panels.camera.show_status(status)
        self._show_chip()
        if self._answer_until and self._clock() > self._answer_until:
            self._answer_until = 0.0
            self.answer.show_lines(())
        if self._closing:
            self._wait_for_disk()

    def _on_source(self, address: str) -> None:
        self._frozen_since = None
        self.page.clear()
        session = self._bridge.session
        self.panels.hand.hold(None if session is None else session.rig)
        self.panels.camera.hold(None if session is None else session.camera)

    def _settings_changed(self, settings: Settings) -> None:
        self._book.set_settings(settings)
        self.panels.set_settings(settings)
        self.helps.set_settings(settings)

    def use_settings(self, settings: Settings) -> None:
        """Settings that a page worked out: for the session and for all pages."""
        self._bridge.apply(settings)
        self._settings_changed(settings)

    def _after_first_picture(self, reading: Reading) -> None:
        """The plot's library takes long to load: the first picture does not wait for it."""
        self.page.dial.picture.painted.disconnect(self._after_first_picture)
        QTimer.singleShot(0, self.page.add_histogram)

    def say(self, words: str) -> None:
        """A short answer to something the user did."""
        self._answer_until = self._clock() + ANSWER_S
        self.answer.show_lines([Line(words, weight=Weight.FIRM, colour=COLOURS.text)])
        self._place_answer()
        self.answer.raise_()

    def _show_chip(self) -> None:
        picture = self.page.dial.picture
        state = self._bridge.status.state
        if self._frozen_since is not None:
            held = seconds(max(self._clock() - self._frozen_since, 0.0))
            picture.set_chip(f"\u275a\u275a{THIN} Frozen for {held}", COLOURS.brass)
        elif picture.placing:
            picture.set_chip("Placing the disc", COLOURS.brass)
        else:
            picture.show_state(state)

    # --- layout and life

    def showEvent(self, event: QShowEvent | None) -> None:
        self._focus_page()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        scale = self._bridge.settings.screen.text_scale
        self._look = Look.for_window(self.width(), self.height(), scale)
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything for the present size."""
        look, width, height = self._look, self.width(), self.height()
        self._book.lay_out(width, height, look)
        # Its words end before the ring, nearer to it than blocks of words.
        self.pages.set_look(look, self.page.free_width(0, look.px(4.6)) + look.px(0.5))
        self.pages.move(round(look.px(2)), round(look.px(1.6)))
        self.source.set_look(look)
        room = self.page.free_width(look.px(1.5), look.px(8))
        self.source.setGeometry(
            QRectF(width - look.px(2) - room, look.px(1.6), room, look.px(6.6)).toRect()
        )
        self.answer.set_look(look)
        self._place_answer()
        self.panels.lay_out(look, height, self.page.free_width)
        for sheet in (self.sources, self.key_sheet, self.clock_sheet):
            sheet.resize(width, height)
            sheet.set_look(look)
        self.helps.lay_out(width, height, look)

    def _place_answer(self) -> None:
        """Beside the ring; over more of the width where a page has none."""
        look = self._look
        share = getattr(self._book[self.open_page], "ANSWER_SHARE", 0.0) if self._book.names else 0
        room = max(self.page.free_width(0, look.px(8)), share * self.width())
        self.answer.setGeometry(QRectF(look.px(2), look.px(5.4), room, look.px(5)).toRect())

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        p.fillRect(self.rect(), COLOURS.ground)
        p.end()

    def _quit(self) -> None:
        """Close, but not over frames that are in memory only; asked twice, close."""
        if not self._holds_back():
            self.close()

    def _holds_back(self) -> bool:
        """True the first time it is asked while frames of an event wait for the disk."""
        if self._closing or not self._bridge.status.store.waiting_frames:
            return False
        self._closing = True
        self._wait_for_disk()
        return True

    def _wait_for_disk(self) -> None:
        """Say what is waited for; close once it is on the disk."""
        store = self._bridge.status.store
        if not store.waiting_frames:
            self.close()
            return
        wait = f"{count(store.waiting_frames, 'frame waits', 'frames wait')} for the disk"
        self.say(f"{wait}; then it closes. Close again: they are given up.")

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """The window goes first; then everything behind it is stopped within two seconds.

        Somebody who closes it is told if frames of an event are not on the disk yet.
        """
        if event is not None and event.spontaneous() and self._holds_back():
            event.ignore()
            return
        self.hide()
        words = [*self._bridge.stop(STOP_S), *self._book.finish(STOP_S / 2)]
        try:
            self.sources.finish(STOP_S / 2)
        except WorkerStuck as error:
            words.append(str(error))
        self.stuck = tuple(words)
        super().closeEvent(event)
