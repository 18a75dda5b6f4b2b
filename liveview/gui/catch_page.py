"""The Catch page: the trigger armed, what it measures, what the memory holds, what was caught.

The picture is the one of the view in force. On the left the trigger, from its state down to the
detectors' signals; on the right the events, and below them the store.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QHideEvent, QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview.errors import LiveviewError, WorkerStuck
from liveview.gui.bridge import Bridge
from liveview.gui.catch_bits import ArmBadge, LevelMeter, calm_mark
from liveview.gui.catch_cards import CaughtCards
from liveview.gui.catch_dial import CatchDial
from liveview.gui.catch_layout import CatchLayout
from liveview.gui.catch_lines import path_lines, ring_values, store_lines
from liveview.gui.catch_list import EventList
from liveview.gui.catch_microphone import MicrophoneSheet
from liveview.gui.catch_sheet import CautionSheet
from liveview.gui.catch_strip import SignalStrip
from liveview.gui.catch_words import CAUTION, arm_of, heard, longest_pre_s
from liveview.gui.controls import Controls
from liveview.gui.keys import Action, KeyMap
from liveview.gui.lines import Line, Lines
from liveview.gui.pad import Pad
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.tuning import CATCH, TuningPanel
from liveview.gui.window import Window
from liveview.gui.words import count, first_up, seconds
from liveview.model import ArmState, Reading, SessionStatus
from liveview.review.shelf import EventCard
from liveview.settings import Settings

LOOK_AGAIN_S = 2.0
"""How often the folder of events is looked into when nothing is known to have changed."""

RIGHT = Qt.AlignmentFlag.AlignRight


class CatchPage(QWidget):
    """Everything that is read and set while sparks are caught.

    Parameters
    ----------
    bridge : Bridge
        Readings, status and the session.
    keys : KeyMap
        What the pads do; the page's own actions are ``own_actions``.
    controls : Controls
        Changes settings for the whole window.
    """

    KEY_GROUPS = ("Pages", "Window", "Catch", "Caught")

    review_asked = pyqtSignal(str)
    """Path of an event that is to be opened in Review."""

    def __init__(
        self,
        bridge: Bridge,
        keys: KeyMap,
        controls: Controls,
        *,
        clock: Callable[[], float] = time.perf_counter,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._bridge = bridge
        self._keys = keys
        self._controls = controls
        self._clock = clock
        self._look = Look()
        self._settings = bridge.settings
        self._status = SessionStatus()
        self._cards: CaughtCards | None = None
        self._looked: tuple[object, ...] = ()
        self._look_at_s = 0.0
        self.dial = CatchDial(self)
        self.badge = ArmBadge(keys["arm"].key, self)
        self.rows = TuningPanel("What is caught", CATCH, self)
        self.rows.show()
        self.path = Lines(parent=self)
        self.meter = LevelMeter(self)
        self.strip = SignalStrip(self)
        self.heading = Lines(RIGHT, parent=self)
        self.events = EventList(self)
        self.store = Lines(RIGHT, from_bottom=True, parent=self)
        self.caution = Lines(parent=self)
        self.sheet = CautionSheet(self)
        self.microphone = MicrophoneSheet(bridge.supplies.look_for_microphones, self)
        self.pads: dict[str, Pad] = {}
        self._layout = CatchLayout(self)
        self._connect()

    def _connect(self) -> None:
        self._bridge.new_reading.connect(self._on_reading)
        self._bridge.new_status.connect(self._on_status)
        self._bridge.source_changed.connect(self._on_source)
        self.badge.clicked.connect(self._keys["arm"].run)
        self.rows.wanted.connect(self._want)
        self.microphone.rows.wanted.connect(self._want)
        self.dial.wanted.connect(partial(self._want, "catch"))
        self.dial.turned.connect(self._turn_named)
        self.dial.refused.connect(self._say_limit)
        self.strip.wanted.connect(partial(self._want, "catch", "sensitivity_sigma"))
        self.events.opened.connect(self.open_in_review)

    def own_actions(self) -> tuple[Action, ...]:
        """What can be done here, for the window's key map."""
        group = "Caught"
        return (
            Action(
                "caught row above", ("Up",), "The setting above", group, partial(self._choose, -1)
            ),
            Action(
                "caught row below", ("Down",), "The setting below", group, partial(self._choose, 1)
            ),
            Action("caught row less", ("Left",), "Less of it", group, partial(self._turn, -1)),
            Action("caught row more", ("Right",), "More of it", group, partial(self._turn, 1)),
            Action(
                "caught newer", ("PgUp",), "A newer event", group, partial(self.events.choose, -1)
            ),
            Action(
                "caught older", ("PgDown",), "An older event", group, partial(self.events.choose, 1)
            ),
            Action("caught review", ("L",), "Look at it in Review", group, self.review_ready),
            Action("caught bin", ("Del",), "Put the event into the bin", group, self.bin_chosen),
            Action("caught put back", ("U", "Ctrl+Z"), "Put it back", group, self.put_back),
            Action("caught spark", ("Y",), "A spark of the simulated rig", group, self.spark),
            Action("caught cautions", ("K",), "Cautions for sparks", group, self.toggle_cautions),
            Action(
                "caught quiet", ("Q",), "Learn the quiet (again)", group, self._controls.learn_quiet
            ),
            Action("caught microphone", ("M",), "The microphone", group, self.toggle_microphone),
            Action("caught folder", ("O",), "Another folder for events", group, self.ask_folder),
        )

    def make_pads(self) -> None:
        """Build the pads, once the actions are in the window's key map."""
        titles = {
            "trigger": "Keep now",
            "quiet": "Learn the quiet",
            "spark": "Spark",
            "microphone": "Microphone",
            "folder": "Folder",
            "review": "Review",
            "bin": "Bin",
            "put back": "Put back",
            "cautions": "Cautions",
        }
        for name, title in titles.items():
            what = self._keys[name if name == "trigger" else f"caught {name}"]
            pad = Pad(title, what.key, tip=what.title, parent=self)
            pad.clicked.connect(what.run)
            pad.set_look(self._look)
            self.pads[name] = pad
        self.sheet.raise_()
        self.microphone.raise_()
        self._refresh_pads()

    # --- what can be done

    def _want(self, section: str, name: str, value: object) -> None:
        """Change a setting; the memory's limit is kept and said."""
        if name == "pre_trigger_s" and isinstance(value, float):
            most = longest_pre_s(self._status.ring_capacity_seconds)
            if value > most:
                value = int(most * 10) / 10
                self._say_limit()
        self._controls.set(section, name, value)

    def _turn_named(self, name: str, steps: int) -> None:
        row = next(row for row in CATCH if row.name == name)
        self._want(row.section, name, row.turned(self._settings, steps))

    def _say_limit(self) -> None:
        most = longest_pre_s(self._status.ring_capacity_seconds)
        self._bridge.said.emit(f"The memory reaches back {seconds(most)} at this picture size.")

    def ask_folder(self) -> None:
        """Choose where events go; what waits in memory goes there, too."""
        if self._bridge.supplies.keep_events_in is None:
            self._bridge.said.emit("No events are kept here.")
            return
        folder = self._status.store.folder or str(Path.home())
        dialog = QFileDialog(self.window(), "Where events go", folder)
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.fileSelected.connect(lambda name: self.keep_in(Path(name)))
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()

    def keep_in(self, folder: Path) -> None:
        """Events go to this folder from now on, those that wait for a full disk first."""
        keep = self._bridge.supplies.keep_events_in
        if keep is None:
            return
        waiting = self._status.store.waiting_frames
        try:
            keep(folder)
        except LiveviewError as error:
            self._bridge.said.emit(first_up(str(error)))
            return
        self._controls.set("store", "folder", str(folder))
        too = ", and what waits in memory" if waiting else ""
        self._bridge.said.emit(f"Events go to {folder}{too}.")

    def open_in_review(self) -> None:
        """Ask for the chosen event to be opened in Review."""
        card = self.events.chosen
        if card is None:
            self._bridge.said.emit("There is no event to look at.")
        elif not self._can_review:
            self._bridge.said.emit(f"The event is in {card.path}")
        elif not self._written(card):
            self._bridge.said.emit(f"{card.name} is still being written: a moment.")
        else:
            self.review_asked.emit(str(card.path))

    def review_ready(self) -> None:
        """The chosen event in Review; while the newest is still being written, the one before."""
        card = self.events.chosen
        if card is not None and not self._written(card) and self.events.follows:
            ready = next((older for older in self.events.cards if self._written(older)), None)
            if ready is not None and self._can_review:
                self._bridge.said.emit("The newest is still being written: this is one before it.")
                self.review_asked.emit(str(ready.path))
                return
        self.open_in_review()

    def _written(self, card: EventCard) -> bool:
        """All of it is on the disk, compressed or not: Review reads both."""
        return card.converted or not (
            self._status.store.writing and card.path == self.events.cards[0].path
        )

    @property
    def _can_review(self) -> bool:
        """Somebody listens."""
        return self.receivers(self.review_asked) > 0

    def bin_chosen(self) -> None:
        """The chosen event into the bin."""
        card = self.events.chosen
        if card is None or self._cards is None:
            self._bridge.said.emit("There is no event to put into the bin.")
            return
        self._bridge.said.emit(self._cards.bin(card))
        self._show_cards()
        self._refresh()

    def put_back(self) -> None:
        """Undo the last bin."""
        if self._cards is None:
            self._bridge.said.emit("Nothing to put back.")
            return
        words, name = self._cards.put_back()
        self._bridge.said.emit(words)
        self._show_cards()
        self.events.choose_name(name)
        self._refresh()

    def spark(self) -> None:
        """One spark of the simulated rig."""
        rig = None if self._bridge.session is None else self._bridge.session.rig
        if rig is None or "spark_now" not in rig.values():
            self._bridge.said.emit("This is not the simulated rig: make a real spark.")
            return
        try:
            rig.set("spark_now", 1.0)
        except LiveviewError as error:
            self._bridge.said.emit(str(error))

    def _choose(self, by: int) -> None:
        """The setting above or below, on the sheet when it is open."""
        self._panel.choose(by)

    def _turn(self, steps: int) -> None:
        self._panel.turn(steps)

    @property
    def _panel(self) -> TuningPanel:
        return self.microphone.rows if self.microphone.isVisible() else self.rows

    def toggle_microphone(self) -> None:
        """The microphone's sheet, or back."""
        there = self.microphone.isVisible()
        self.close_own()
        if not there:
            self.microphone.show_status(self._status)
            self.microphone.open()

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """End a search for microphones; words about it when it does not answer."""
        try:
            self.microphone.finish(timeout_s)
        except WorkerStuck as error:
            return (str(error),)
        return ()

    def toggle_cautions(self) -> None:
        """The cautions in full, or back."""
        if not self.close_own():
            self.sheet.open()

    def close_own(self) -> bool:
        """Put the sheets away; False when there was none."""
        there = self.sheet.isVisible() or self.microphone.isVisible()
        self.sheet.close_sheet()
        self.microphone.close_sheet()
        if there:
            self.setFocus()
        return there

    # --- values

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self.rows.set_settings(settings)
        self.microphone.set_settings(settings)
        self._refresh()

    def showEvent(self, event: QShowEvent | None) -> None:
        self._looked = ()
        self._on_status(self._bridge.status)

    def hideEvent(self, event: QHideEvent | None) -> None:
        self.sheet.close_sheet()
        self.microphone.close_sheet()

    def _on_source(self, address: str) -> None:
        self.dial.picture.clear()

    def _on_reading(self, reading: Reading) -> None:
        if self.isVisible():
            self.dial.picture.show_reading(reading)

    def _on_status(self, status: SessionStatus) -> None:
        self._status = status
        if self.isVisible():
            self._follow_folder()
            self._refresh()

    def _follow_folder(self) -> None:
        """Keep the list of events as the folder is."""
        store = self._status.store
        if store.folder is None:
            return
        if self._cards is None or self._cards.folder != Path(store.folder):
            self._cards, self._looked = CaughtCards(Path(store.folder)), ()
        seen = (store.events_kept, store.converting, store.newest)
        now = self._clock()
        if seen != self._looked or now >= self._look_at_s:
            self._looked, self._look_at_s = seen, now + LOOK_AGAIN_S
            self._cards.refresh()
        self._cards.step()
        self._show_cards()
        self.events.load_posters()

    def _show_cards(self) -> None:
        if self._cards is not None:
            self.events.empty_words = first_up(self._cards.words) or "Nothing caught yet."
            self.events.show_cards(self._cards.cards)

    def _refresh(self) -> None:
        status, catch = self._status, self._settings.catch
        self.badge.show_arm(arm_of(status, catch))
        self.dial.show_values(ring_values(status, catch))
        self.path.show_lines(path_lines(status, self._settings))
        if self.microphone.isVisible():
            self.microphone.show_status(status)
        name = "" if status.sound is None else status.sound.name
        self.meter.show_heard(heard(status, self._settings), name)
        heard_at_all = status.sound is not None
        judged = status.arm in (ArmState.ARMED, ArmState.CATCHING)
        self.strip.show_reading(status.trigger, catch, heard_at_all, status.recent, judged)
        whole = len(self.events.cards)
        caught = count(whole, "event", "events") + " in the folder" if whole else "Events"
        self.heading.show_lines([Line(caught, Type.LEAD, Weight.STRONG, gap=0.0)])
        self.store.show_lines(store_lines(status, self._settings))
        self.caution.show_lines([Line(CAUTION, colour=COLOURS.text, gap=0.0, mark=calm_mark)])
        self._refresh_pads()

    def _refresh_pads(self) -> None:
        if not self.pads:
            return
        source, there = self._status.source, self.events.chosen is not None
        self.pads["spark"].setVisible(source is not None and source.simulated)
        self.pads["review"].setVisible(there and self._can_review)
        self.pads["bin"].setVisible(there)
        self.pads["folder"].setVisible(self._bridge.supplies.keep_events_in is not None)
        can_undo = self._cards is not None and self._cards.can_undo
        self.pads["put back"].setVisible(can_undo)
        self._layout.place_pads(self._look)

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        parts = (self.badge, self.rows, self.path, self.meter, self.strip, self.heading)
        for part in (*parts, self.events, self.store, self.caution):
            part.set_look(look)
        for pad in self.pads.values():
            pad.set_look(look)
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything."""
        self._layout.place_all(self._look)


def join_catch(window: Window, bridge: Bridge) -> CatchPage:
    """Add the Catch page to a window."""
    page = CatchPage(bridge, window.keys, window.controls)
    for action in page.own_actions():
        window.keys.add(action)
    page.make_pads()
    page.set_settings(bridge.settings)
    window.add_page("Catch", page)
    return page
