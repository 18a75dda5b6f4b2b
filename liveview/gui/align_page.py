"""The Align page: from a heap of parts to a half-cut, evenly dark, sharp, well-exposed picture.

The picture is the plain one. On the left the blade and the calibration, below it the focus; on the
right the steps of the set-up with what to do next, below them the raw levels.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Mapping
from typing import Protocol, runtime_checkable

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QHideEvent, QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QWidget

from liveview.bench.exercise import Exercise
from liveview.engine.aids import AidsReading, SteadyUncut, Target
from liveview.engine.guide import Step
from liveview.engine.tone import Tone
from liveview.errors import SoundUnavailable
from liveview.gui.align_bits import Inset, LevelsPlot, PictureMarks
from liveview.gui.align_lines import (
    blade_lines,
    card_lines,
    exposure_lines,
    focus_lines,
    step_lines,
)
from liveview.gui.align_words import instruction, is_reached, verdict_words, walk_words
from liveview.gui.around import SIDE_STEPS, free_width, put
from liveview.gui.bridge import Bridge
from liveview.gui.calibration_pads import show_calibration
from liveview.gui.chores import Chores
from liveview.gui.dial import shadow_of
from liveview.gui.dialwidget import DialWidget
from liveview.gui.far_view import FarView
from liveview.gui.keys import Action, KeyMap
from liveview.gui.lines import Lines
from liveview.gui.marks import choice_mark
from liveview.gui.pad import Pad
from liveview.gui.panels import ABOVE_BOTTOM
from liveview.gui.ring import FaceValues, HandValues
from liveview.gui.theme import Look
from liveview.gui.words import THIN, warnings
from liveview.model import CalibrationKind, Reading, SessionStatus
from liveview.settings import Settings

HANDS_S = 0.05
"""Hands and marks change this often at most; the number changes with every picture."""

PLOT_S = 0.15
"""So do plots, steps and pads."""

FOCUS_SHARE = 0.2
"""Side of a marked patch as a share of the disc's diameter."""

SMOOTHINGS_S = (0.0, 0.15, 0.5)
"""Time constants of the blade reading to choose from."""

ON_REAL_RIGS = (Step.LAMP_IMAGE, Step.FOCUS)
"""Steps that the simulated rig leaves out: it has no card, and its lens cannot be turned."""

RIGHT = Qt.AlignmentFlag.AlignRight


@runtime_checkable
class Misalignable(Protocol):
    """A rig in which mistakes can be hidden: the simulated one."""

    def exercise(self, seed: int) -> Exercise:
        """Misalign it."""

    def values(self) -> Mapping[str, float]:
        """Knobs as they are."""


class AlignPage(QWidget):
    """Everything that is read while setting up.

    Parameters
    ----------
    bridge : Bridge
        Readings, status and the session with its aids.
    keys : KeyMap
        What the pads do; the page adds its own actions in ``window``.
    """

    KEY_GROUPS = ("Pages", "Window", "Calibrate", "Align", "Panels")

    def __init__(
        self,
        bridge: Bridge,
        keys: KeyMap,
        *,
        clock: Callable[[], float] = time.perf_counter,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._bridge = bridge
        self._keys = keys
        self._clock = clock
        self._look = Look()
        self._settings = bridge.settings
        self._reading: Reading | None = None
        self._aids: AidsReading | None = None
        self._status = SessionStatus()
        self._smoothed: SteadyUncut | None = None
        self._target = Target.MIRROR
        self._smoothing = 1
        self._view_before: str | None = None
        self._exercise: Exercise | None = None
        self._verdict: str = ""
        self.tone = Tone()
        self.dial = DialWidget(self)
        self.marks = PictureMarks(self.dial.picture)
        self.marks.marked.connect(self._mark_patch)
        self.blade = Lines(parent=self)
        self.focus_lines = Lines(parent=self)
        self.inset = Inset(self)
        self.steps = Lines(RIGHT, parent=self)
        self.exposure = Lines(RIGHT, parent=self)
        self.levels = LevelsPlot(self)
        self.far = FarView(self)
        self.far.closed.connect(self._far_closed)
        self.pads: dict[str, Pad] = {}
        self._chores = self._make_chores()
        bridge.new_reading.connect(self._on_reading)
        bridge.new_status.connect(self._on_status)
        bridge.source_changed.connect(self._on_source)

    def own_actions(self) -> tuple[Action, ...]:
        """What can be done here, for the window's key map."""
        group = "Align"
        return (
            Action("card", ("K",), "Look at a card, or at the mirror", group, self.toggle_card),
            Action("far", ("V",), "Read it from the rig", group, self.toggle_far),
            Action("tone", ("N",), "Hear how far it is", group, self.toggle_tone),
            Action("smooth", ("J",), "Smoothing of the reading", group, self.next_smoothing),
            Action("best", ("X",), "Forget the best so far", group, self.forget_best),
            Action("exercise", ("Y",), "A hidden mistake, or its judgement", group, self.exercise),
            Action("rim", ("M",), "Judge focus on the mirror's rim", group, self.focus_on_rim),
        )

    def make_pads(self) -> None:
        """Build the pads; the window calls this once the actions are in its key map."""
        titles = {f"take {kind.value}": kind.value.capitalize() for kind in CalibrationKind}
        titles |= {"card": "Card", "far": "Far view", "tone": "Tone", "smooth": "Smoothing"}
        for name, title in titles.items():
            what = self._keys[name]
            mirrored = not name.startswith("take")
            pad = Pad(title, what.key, mirrored=mirrored, tip=what.title, parent=self)
            pad.clicked.connect(what.run)
            pad.set_look(self._look)
            self.pads[name] = pad
        self.far.raise_()
        self._refresh_pads()

    # --- what can be done

    def toggle_card(self) -> None:
        """The camera looks at a card that catches the lamp's image, or at the mirror."""
        self._target = Target.CARD if self._target is Target.MIRROR else Target.MIRROR
        self._order()
        self._refresh_pads()

    def toggle_far(self) -> None:
        """The reading over the whole window."""
        self.far.setVisible(not self.far.isVisible())
        self.far.raise_()
        self._refresh_pads()

    def close_own(self) -> bool:
        """Put the far view away; False when it was not there."""
        there = self.far.isVisible()
        self.far.hide()
        self._refresh_pads()
        return there

    def toggle_tone(self) -> None:
        """The reading for the ear, on or off."""
        if self.tone.playing:
            self.tone.stop()
        else:
            try:
                self.tone.start()
            except SoundUnavailable as error:
                self._bridge.said.emit(str(error))
        self._refresh_pads()

    def next_smoothing(self) -> None:
        """Another time constant of the blade reading."""
        self._smoothing = (self._smoothing + 1) % len(SMOOTHINGS_S)
        self._order()
        self._refresh_pads()

    def forget_best(self) -> None:
        """Forget the best sharpness and the smallest image."""
        if self._bridge.session is not None:
            self._bridge.session.aids.forget_best()

    def focus_on_rim(self) -> None:
        """Judge the sharpness on the mirror's rim again."""
        if self._bridge.session is not None:
            self._bridge.session.aids.focus_on(None)

    def exercise(self) -> None:
        """Hide mistakes in the simulated rig; the next time, tell how far off it is."""
        session = self._bridge.session
        rig = None if session is None else session.rig
        under_way, self._exercise = self._exercise, None
        if rig is None or not isinstance(rig, Misalignable):
            self._bridge.said.emit("Mistakes can only be hidden in the simulated rig.")
            return
        if under_way is not None:
            self._verdict = verdict_words(under_way.judge(rig.values()))
            return
        self._exercise = rig.exercise(secrets.randbelow(1_000_000))
        self._verdict = "Something is wrong with this rig. Put it right, then press Y again."
        self._bridge.said.emit("The rig has been misaligned. Take hold of it with H.")

    def _mark_patch(self, x: float, y: float) -> None:
        session, reading = self._bridge.session, self._reading
        if session is None or reading is None:
            return
        height, width = reading.picture.shape[:2]
        across = 2 * reading.disc.radius if reading.disc is not None else min(height, width)
        session.aids.focus_on((x, y, FOCUS_SHARE * across))

    def _order(self) -> None:
        """Tell the session's aids what is wanted; again after every change of source."""
        session = self._bridge.session
        if session is not None:
            session.aids.want(self.isVisible())
            session.aids.look_at(self._target)
            session.aids.smooth(SMOOTHINGS_S[self._smoothing])

    def _far_closed(self) -> None:
        self._refresh_pads()

    def showEvent(self, event: QShowEvent | None) -> None:
        """The plain picture is wanted here; the view chosen elsewhere comes back on leaving."""
        self._view_before = self._bridge.settings.enhance.view
        self._bridge.apply(self._bridge.settings.replaced("enhance", view="plain"))
        self._order()

    def hideEvent(self, event: QHideEvent | None) -> None:
        if self._view_before is not None:
            settings = self._bridge.settings.replaced("enhance", view=self._view_before)
            self._bridge.apply(settings)
            self._view_before = None
        self.tone.stop()
        self.far.hide()
        if self._bridge.session is not None:
            self._bridge.session.aids.want(False)

    # --- values

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self._refresh()

    def _on_source(self, address: str) -> None:
        self._reading = self._aids = self._smoothed = self._exercise = None
        self._verdict = ""
        self.dial.picture.clear()
        self.marks.show_aids(None)
        self._order()

    def _on_reading(self, reading: Reading) -> None:
        if not self.isVisible():
            return
        self._reading = reading
        self.dial.picture.show_reading(reading)
        aids = None if self._bridge.session is None else self._bridge.session.aids
        self._aids = None if aids is None else aids.newest()
        self._smoothed = None if aids is None else aids.newest_uncut()
        self._refresh_number()
        self._chores.want("dial", "marks", "focus", "levels", "steps")
        self._chores.with_picture()

    def _on_status(self, status: SessionStatus) -> None:
        self._status = status
        self.dial.picture.show_state(status.state)
        if self.isVisible():
            self._chores.want("pads", *(() if self._reading else ("steps",)))
            self._chores.without_picture()

    @property
    def _uncut(self) -> float | None:
        """The smoothed reading, else the plain one."""
        if self._smoothed is not None:
            return self._smoothed.value
        return None if self._reading is None else self._reading.blade.uncut

    @property
    def _simulated(self) -> bool:
        """The simulated rig, which has no card to hold into its beam."""
        session = self._bridge.session
        return session is not None and session.rig is not None

    @property
    def _dark(self) -> bool:
        return self._aids is not None and self._aids.dark

    @property
    def _steady(self) -> bool:
        return self._smoothed is not None and self._smoothed.steady

    def _make_chores(self) -> Chores:
        chores = Chores(self._clock)
        chores.add("dial", HANDS_S, self._refresh_dial)
        chores.add("marks", HANDS_S, lambda: self.marks.show_aids(self._aids))
        chores.add("focus", PLOT_S, self._refresh_focus)
        chores.add("levels", PLOT_S, self._refresh_levels)
        chores.add("steps", PLOT_S, self._refresh_steps)
        chores.add("pads", PLOT_S, self._refresh_pads)
        return chores

    def _refresh(self) -> None:
        self._refresh_number()
        self._chores.want("dial", "marks", "focus", "levels", "steps")
        self._chores.without_picture()

    def _refresh_number(self) -> None:
        """What the hands on the rig wait for: with every picture."""
        reading = self._reading
        if reading is None:
            return
        self.blade.show_lines(
            card_lines(self._aids, self._simulated)
            if self._target is Target.CARD
            else blade_lines(
                reading.blade, self._uncut, self._aids, self._settings, self._status.has
            )
        )
        self._refresh_far(reading)

    def _refresh_dial(self) -> None:
        reading = self._reading
        if reading is None:
            return
        target, uncut = self._settings.blade, self._uncut
        reached = uncut is not None and is_reached(uncut, self._settings)
        calibrated = uncut is not None
        self.dial.set_face(
            FaceValues(target.target_uncut, target.target_band, reached, calibrated, None)
        )
        spread = None
        if self._smoothed is not None and uncut is not None:
            spread = (uncut - self._smoothed.spread, uncut + self._smoothed.spread)
        self.dial.set_hands(
            HandValues(
                uncut=uncut if calibrated else reading.blade.relative,
                relative=not calibrated,
                steady=spread,
                shadow=shadow_of(reading.blade),
                side=target.side,
            )
        )

    def _refresh_focus(self) -> None:
        aids, card = self._aids, self._target is Target.CARD
        self.inset.setVisible(not card)
        self.focus_lines.setVisible(not card)
        if aids is None or card:
            return
        self.inset.show_patch(aids.focus_inset, None if aids.focus is None else aids.focus.share)
        self.focus_lines.show_lines(focus_lines(aids))

    def _refresh_levels(self) -> None:
        aids = self._aids
        transfer = self._settings.camera.transfer
        source = self._status.source
        if source is not None and source.transfer is not None:
            transfer = source.transfer
        self.levels.show_levels(None if aids is None else aids.levels, transfer)
        self.exposure.show_lines(exposure_lines(aids))

    def _refresh_steps(self) -> None:
        session, reading = self._bridge.session, self._reading
        if session is None or reading is None:
            self.steps.show_lines(step_lines((), "", warnings(self._status, ())[:2]))
            return
        states = session.guide.see(reading, self._aids, self._status.has, self._settings)
        if self._simulated:
            states = tuple(state for state in states if state.step not in ON_REAL_RIGS)
        worries = warnings(self._status, ())[:2]
        self.steps.show_lines(step_lines(states, self._verdict, worries, self._dark))

    def _refresh_far(self, reading: Reading) -> None:
        settings, uncut = self._settings, self._uncut
        target = (settings.blade.target_uncut, settings.blade.target_band)
        if self._target is Target.CARD and self._aids is not None:
            words = "No card here" if self._simulated else walk_words(self._aids)
        else:
            words = instruction(reading.blade, uncut, settings, self._status.has, self._dark)
        self.far.show_values(uncut, target, words, shadow_of(reading.blade), self._steady)
        inside = uncut is not None and abs(uncut - target[0]) <= target[1]
        self.tone.maker.aim(None if uncut is None else uncut - target[0], inside)

    def _refresh_pads(self) -> None:
        if not self.pads:
            return
        show_calibration(self.pads, self._status)
        card, tau = self._target is Target.CARD, SMOOTHINGS_S[self._smoothing]
        notes = {
            "card": (card, "find the lamp's image"),
            "far": (self.far.isVisible(), "read it from the rig"),
            "tone": (self.tone.playing, "pitch rises to the target"),
            "smooth": (tau > 0, f"{tau * 1e3:.0f}{THIN}ms late" if tau > 0 else "off"),
        }
        for name, (on, note) in notes.items():
            self.pads[name].set_state(mark=choice_mark(on), on=on, note=note)
        self._place_pads()

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for block in (self.blade, self.focus_lines, self.steps, self.exposure):
            block.set_look(look)
        for pad in self.pads.values():
            pad.set_look(look)
        self.inset.set_look(look)
        self.levels.set_look(look)
        self.lay_out()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def lay_out(self) -> None:
        """Place everything."""
        look, width, height = self._look, self.width(), self.height()
        side = round(min(height - look.px(1.5), width - 2 * look.px(SIDE_STEPS)))
        self.dial.fit(side, look)
        self.dial.move((width - side) // 2, (height - side) // 2)
        self.marks.set_look(look)
        self.far.setGeometry(0, 0, width, height)
        margin = look.px(2)
        top, bottom = look.px(10), height / 2
        room = self._free(top, bottom)
        put(self.blade, margin, top, room, bottom - top)
        put(self.steps, width - margin - room, top, room, bottom - top)
        low = height - look.px(24)
        room = self._free(low, height)
        # Below the panels that may lie over the page's left.
        inset, beside = look.px(15), look.px(15 + 2.4 + 2)
        top = height - look.px(ABOVE_BOTTOM - 0.5)
        put(self.inset, margin, top, inset + look.px(2.4), inset)
        wide = self._free(top, height) - margin - beside
        put(self.focus_lines, margin + beside, top, wide, inset)
        tall = look.px(11)
        x = width - margin - room
        put(self.exposure, x, low - look.px(3), room, look.px(13))
        put(self.levels, x, height - tall - look.px(1.5), room, tall)
        self._place_pads()

    def _free(self, top: float, bottom: float) -> float:
        return free_width(self, self.dial.width(), self._look, top, bottom)

    def _place_pads(self) -> None:
        look, middle, margin = self._look, self.height() / 2, self._look.px(2)
        if not self.pads:
            return
        for k, kind in enumerate(CalibrationKind):
            pad = self.pads[f"take {kind.value}"]
            pad.move(round(margin), round(middle + look.px(1.0) + k * look.px(5.4)))
        for k, name in enumerate(("card", "far", "tone", "smooth")):
            pad = self.pads[name]
            y = middle + look.px(0.4) + k * look.px(5.2)
            pad.move(round(self.width() - margin - pad.width()), round(y))
