"""The Review page: caught events seen again slowly, compared, measured and written to files.

On the left the events, newest at the top. In the middle the disc with the ring of time. On the
right the moment, the replay, and either the views or the measuring tools.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QDragEnterEvent, QDropEvent, QHideEvent, QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview.errors import LiveviewError, WorkerStuck
from liveview.gui.keys import Action, KeyMap
from liveview.gui.legend import legend_colours, legend_words
from liveview.gui.lines import Lines
from liveview.gui.pad import Pad
from liveview.gui.review_actions import GROUP, TOOL_KEYS, review_actions
from liveview.gui.review_dial import ReviewDial
from liveview.gui.review_export_order import Order
from liveview.gui.review_export_sheet import ExportSheet
from liveview.gui.review_layout import ReviewLayout, pad_state, show_pads
from liveview.gui.review_library import Library
from liveview.gui.review_list import EventList
from liveview.gui.review_measure_desk import TOOLS, MeasureDesk
from liveview.gui.review_measure_panel import MeasurePanel
from liveview.gui.review_measuring import Measuring, Stretch
from liveview.gui.review_replay import Compare, Replay
from liveview.gui.review_ring import Legend, RingFace
from liveview.gui.review_side import moment_lines, notice_lines
from liveview.gui.theme import COLOURS, Look
from liveview.model import Reading, SessionStatus, StoreStatus
from liveview.review.place import events_folder
from liveview.settings import Settings

if TYPE_CHECKING:
    from liveview.gui.bridge import Bridge
    from liveview.gui.window import Window

TICK_MS = 12
"""How often news is pulled while there is something to wait for."""

EDGE_KEY_STEP = 0.03


class ReviewPage(QWidget):
    """Everything that is done with events after they were caught.

    Parameters
    ----------
    settings : Settings
        The settings in force; ``store.folder`` says where events are.
    views : tuple of str
        The views there are.
    keys : KeyMap
        What the pads do; the page adds its own actions in ``join_review``.
    """

    KEY_GROUPS = ("Pages", "Window", GROUP)

    said = pyqtSignal(str)
    recording_chosen = pyqtSignal(str)
    """A recording that is no event: to be opened as a source."""

    def __init__(
        self,
        settings: Settings,
        views: tuple[str, ...],
        keys: KeyMap,
        *,
        clock: Callable[[], float] = time.perf_counter,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._keys = keys
        self._views = views
        self._clock = clock
        self._look = Look()
        self._settings = settings
        self._store = StoreStatus()
        self._last_tick_s = 0.0
        self._shown: object = None
        self._pads_shown: object = None
        self.replay = Replay(self._changed)
        self.dial = ReviewDial(self)
        self.events = EventList(self)
        self.library = Library(events_folder(settings), self.events, self.replay)
        self.moment = Lines(parent=self)
        self.notices = Lines(from_bottom=False, parent=self)
        self.pads: dict[str, Pad] = {}
        self.panel = MeasurePanel(self)
        self.panel.plot_changed.connect(self.lay_out)
        self.desk = MeasureDesk(self.dial.marks, self.panel, self._measuring)
        self.sheet = ExportSheet(self)
        self._measure_open = False
        self._layout = ReviewLayout(self)
        self._timer = QTimer(self)
        self._timer.setInterval(TICK_MS)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._tick)
        self._connect()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAcceptDrops(True)

    def _connect(self) -> None:
        self.events.chosen.connect(self.open)
        self.library.open_wanted.connect(self.open)
        self.library.emptied.connect(self._nothing_open)
        self.library.said.connect(self.said)
        self.library.worked.connect(self._wake)
        self.library.recording_chosen.connect(self.recording_chosen)
        self.dial.sought.connect(self._seek)
        self.dial.zoomed.connect(self.replay.zoom)
        self.dial.marks.wheeled.connect(lambda notches: self.step(-notches))
        self.desk.said.connect(self.said)
        self.desk.worked.connect(self._wake)
        self.sheet.said.connect(self.said)
        self.sheet.worked.connect(self._wake)
        self.sheet.closed.connect(lambda: self._keys.set_enabled(True))
        self.panel.save.clicked.connect(self._save_plot)

    # --- joining the window

    def own_actions(self) -> tuple[Action, ...]:
        """What can be done here, for the window's key map."""
        return review_actions(self, self.replay, self._views)

    def act(self, run: Callable[[], object]) -> None:
        """Do it, and pull what comes of it."""
        run()
        self._wake()

    def make_pads(self) -> None:
        """Build the pads; called once the actions are in the window's key map."""
        titles = {"play": "Play", "loop": "Loop", "slower": "Slower", "faster": "Faster"}
        titles |= {f"view {view}": view.capitalize() for view in self._views}
        titles |= {"gain": "Gain", "compare": "Compare", "hold": "Hold", "measure": "Measure"}
        titles |= {"export": "Export"}
        titles |= {"elsewhere": "Open elsewhere", "bin": "Bin", "undo": "Put back"}
        for name, title in titles.items():
            self.pads[name] = self._pad(name, title, self)
        for tool in TOOLS:
            pad = self._pad(f"tool {tool}", TOOL_KEYS[tool][1], self.panel)
            self.panel.tools[tool] = pad
        self.desk.take_up("")
        self.set_look(self._look)
        self._refresh_pads()

    def _pad(self, name: str, title: str, parent: QWidget) -> Pad:
        what = self._keys[f"review {name}"]
        pad = Pad(title, what.key, tip=what.title, parent=parent)
        pad.clicked.connect(what.run)
        return pad

    def host_sheet(self, window: QWidget) -> None:
        """Let the sheet lie over the whole window."""
        self.sheet.setParent(window)
        self.sheet.hide()

    # --- what can be done

    def open(self, path: Path, index: int | None = None) -> None:
        """Look at this event."""
        self._shown = None
        self.replay.open(path, index)
        self.events.mark(path)
        self.desk.event_changed()
        self._wake()

    def ask_elsewhere(self) -> None:
        """Choose a recording from anywhere."""
        folder = str(self.library.folder)
        dialog = QFileDialog(self.window(), "Find an event.json or a recording", folder)
        dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
        dialog.fileSelected.connect(lambda name: self.library.open_elsewhere(Path(name)))
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()

    def _nothing_open(self) -> None:
        self.events.mark(None)
        self.dial.picture.clear()
        self.dial.marks.show_beside(None)
        self.desk.event_changed()
        self._changed()

    def toggle_measure(self) -> None:
        """The measuring tools instead of the views."""
        self._measure_open = not self._measure_open
        if not self._measure_open:
            self.desk.take_up("")
        self.panel.setVisible(self._measure_open)
        if not self._measure_open:
            self.panel.plot_place.hide()
            self.lay_out()
        self.desk.refresh_kept()
        self._refresh_pads()

    def close_own(self) -> bool:
        """Put the newest thing away: work, tool, measuring; False when nothing was open."""
        if self.desk.cancel():
            return True
        if self.desk.tool:
            self.desk.take_up("")
            return True
        if self._measure_open:
            self.toggle_measure()
            return True
        if self.replay.compare is not Compare.NONE:
            if self.replay.compare is Compare.HELD:
                self.replay.hold()
            else:
                self.replay.toggle_compare()
            return True
        return False

    def take_tool(self, tool: str) -> None:
        """Take a measuring tool in hand; the same again puts it away."""
        if not self._measure_open:
            self.toggle_measure()
        self.replay.stop()
        if self.replay.compare is not Compare.NONE:
            self.close_compare()
        self.desk.take_up("" if self.desk.tool == tool else tool)

    def close_compare(self) -> None:
        """Stop comparing."""
        if self.replay.compare is Compare.HELD:
            self.replay.hold()
        elif self.replay.compare is Compare.VIEW:
            self.replay.toggle_compare()

    def open_export(self) -> None:
        """The sheet on which it is written to files."""
        replay = self.replay
        if replay.facts is None or replay.player is None:
            opening = replay.path is not None and not replay.fault
            self.said.emit("The event is being opened." if opening else "Open an event first.")
            return
        replay.stop()
        player = replay.player
        order = Order(
            replay.facts, replay.sight, player.rate, player.first, player.last, player.index
        )
        self._keys.set_enabled(False)
        self.sheet.set_look(self._look)
        self.sheet.open_for(order, self.export_folder)

    @property
    def export_folder(self) -> Path:
        """Where files go unless another folder is chosen."""
        return self.library.folder / "exports"

    def _save_plot(self) -> None:
        plot = self.panel.plot_place.plot
        if plot is None or self.replay.facts is None:
            return
        try:
            files = plot.save(self.export_folder, self.replay.facts.name)
        except LiveviewError as error:
            self.said.emit(str(error))
            return
        if files:
            self.said.emit(f"Saved as {files[0].stem}, CSV, PNG and SVG.")

    def step(self, frames: int) -> None:
        """By whole frames."""
        self.replay.step(frames)
        self._wake()

    def _seek(self, time_s: float) -> None:
        self.replay.stop()
        self.replay.seek_time(time_s)
        self._wake()

    def end_of_stretch(self, end: int) -> None:
        """To the stretch's start (0) or end (1)."""
        player = self.replay.player
        if player is not None:
            self.replay.seek(player.last if end else player.first)

    def see_view(self, view: str) -> None:
        """Another view."""
        sight = self.replay.sight
        self.replay.see(type(sight)(view, sight.gain))

    def move_edge(self, by: int) -> None:
        """The edge of comparing, by keys."""
        self.dial.marks.move_edge(self.dial.marks.edge + by * EDGE_KEY_STEP)

    # --- values

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        changed = events_folder(settings) != self.library.folder
        self._settings = settings
        self.library.folder = events_folder(settings)
        self.desk.set_unit(settings.screen.length_unit)
        if changed and self.isVisible():
            self.library.look_again()

    def show_status(self, status: SessionStatus) -> None:
        """A new status of the session: the list follows what the recorder keeps."""
        before, now = self._store, status.store
        self._store = now
        same = (before.events_kept, before.newest, before.converting) == (
            now.events_kept,
            now.newest,
            now.converting,
        )
        if not same and self.isVisible():
            self.library.look_again()

    def _measuring(self) -> Measuring | None:
        facts, player = self.replay.facts, self.replay.player
        if facts is None or player is None:
            return None
        return Measuring(facts, Stretch(player.first, player.last, player.index))

    # --- what comes in

    def _wake(self) -> None:
        if not self._timer.isActive():
            self._last_tick_s = self._clock()
            self._timer.start()

    def _tick(self) -> None:
        now = self._clock()
        elapsed, self._last_tick_s = now - self._last_tick_s, now
        self.replay.advance(min(elapsed, 0.25))
        self.replay.poll()
        self.library.poll()
        self.desk.poll()
        self.sheet.poll()
        busy = (
            self.replay.busy or self.library.shelf.busy or self.desk.working or self.sheet.working
        )
        if not busy:
            self._timer.stop()

    def _changed(self) -> None:
        """Something of the replay is different: show it."""
        replay = self.replay
        shown = replay.shown
        if shown is not None and shown is not self._shown:
            self._shown = shown
            self.dial.picture.show_reading(shown.reading)
            self.desk.frame_changed()
        beside = replay.beside
        self.dial.marks.show_beside(*(beside or (None,)))
        player = replay.player
        self.dial.set_face(self._face())
        self.dial.set_hand(None if player is None else player.position_s, replay.waiting)
        self._show_chip()
        self.moment.show_lines(moment_lines(replay))
        self.notices.show_lines(notice_lines(replay))
        self._refresh_pads()

    def _show_chip(self) -> None:
        replay, picture = self.replay, self.dial.picture
        if replay.path is None:
            picture.set_chip("No event is open")
        elif replay.facts is None:
            picture.set_chip("Cannot be opened" if replay.fault else "Opening", COLOURS.text)
        elif replay.fault:
            picture.set_chip("This frame cannot be read", COLOURS.ember)
        else:
            picture.set_chip("")

    def _face(self) -> RingFace:
        replay, facts, player = self.replay, self.replay.facts, self.replay.player
        if facts is None or player is None:
            return RingFace()
        held = replay.held
        return RingFace(
            scale=replay.scale,
            times_s=facts.times_s,
            lost_before=facts.lost_before,
            sparks_s=tuple(spot.time_s for spot in facts.spotted),
            stretch_s=(player.times_s[player.first], player.times_s[player.last]),
            envelope=replay.envelope,
            heard=replay.heard,
            legend=None if replay.shown is None else _legend(replay.shown.reading),
            kept_s=None if held is None or held.path != facts.path else held.time_s,
        )

    def _refresh_pads(self) -> None:
        state = pad_state(
            self.replay, self.library.can_undo, self._measure_open, self.notices.words()
        )
        if not self.pads or state == self._pads_shown:
            return
        self._pads_shown = state
        show_pads(self.pads, state, self._views)
        self._layout.place_pads(self._look, self._measure_open)

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for block in (self.moment, self.notices, self.events, self.panel, self.sheet):
            block.set_look(look)
        self.panel.plot_place.set_look(look)
        for pad in self.pads.values():
            pad.set_look(look)
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything."""
        self._layout.place_all(self._look, self._measure_open)

    # --- life

    def showEvent(self, event: QShowEvent | None) -> None:
        """The folder is looked into each time the page is opened."""
        self._changed()
        self.library.look_again()

    def hideEvent(self, event: QHideEvent | None) -> None:
        self.replay.stop()

    def dragEnterEvent(self, event: QDragEnterEvent | None) -> None:
        data = None if event is None else event.mimeData()
        if event is not None and data is not None and data.hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent | None) -> None:
        """A folder or file that is dropped here is opened."""
        data = None if event is None else event.mimeData()
        if data is not None and data.urls():
            self.library.open_elsewhere(Path(data.urls()[0].toLocalFile()))

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """End all threads; words about what is stuck."""
        self._timer.stop()
        words = []
        stops = (self.sheet.finish, self.desk.finish, self.replay.reader.stop)
        for stop in (*stops, self.library.shelf.stop):
            try:
                stop(timeout_s)
            except WorkerStuck as error:
                words.append(str(error))
        return tuple(words)


def _legend(reading: Reading) -> Legend:
    return Legend(legend_colours(reading.view), legend_words(reading))


def join_review(window: Window, bridge: Bridge) -> ReviewPage:
    """Add the page to the window."""
    page = ReviewPage(bridge.settings, window.views, window.keys)
    for action in page.own_actions():
        window.keys.add(action)
    page.make_pads()
    window.add_page("Review", page)
    page.host_sheet(window)
    page.said.connect(window.say)
    bridge.new_status.connect(page.show_status)

    def open_source(address: str) -> None:
        bridge.open(address)
        window.turn_to("Watch")

    page.recording_chosen.connect(open_source)
    return page
