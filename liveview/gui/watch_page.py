"""The Watch page: the disc in the middle, its readings around it, the trigger in the corner."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtGui import QResizeEvent, QShowEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.around import SIDE_STEPS, chord, free_width, put
from liveview.gui.calibration_pads import show_calibration
from liveview.gui.chores import Chores
from liveview.gui.dial import shadow_of
from liveview.gui.dialwidget import DialWidget
from liveview.gui.history import History
from liveview.gui.keys import KeyMap
from liveview.gui.legend import legend_colours, legend_words
from liveview.gui.lines import Lines
from liveview.gui.marks import (
    choice_mark,
    gain_mark,
)
from liveview.gui.pad import Pad
from liveview.gui.panels import BELOW_MIDDLE
from liveview.gui.ring import FaceValues, HandValues, MemoryValues
from liveview.gui.theme import Look
from liveview.gui.watch_lines import (
    MOST_NOTICES,
    blade_lines,
    catch_lines,
    notice_lines,
    verdict_lines,
)
from liveview.gui.words import with_unit
from liveview.model import (
    ArmState,
    CalibrationKind,
    Reading,
    SessionStatus,
)
from liveview.settings import Settings

if TYPE_CHECKING:
    from liveview.gui.histogram import HistogramPlot

HANDS_S = 0.06
"""The hands change this often at most."""

WORDS_S = 0.12
"""Figures and words change this often at most."""

PLOT_S = 0.2
"""The histogram and the memory ring change this often at most."""

STEADY_S = 4.0
"""Span of the steadiness mark."""

RIGHT = Qt.AlignmentFlag.AlignRight
LEFT = Qt.AlignmentFlag.AlignLeft


class WatchPage(QWidget):
    """Everything that is read while watching.

    Parameters
    ----------
    keys : KeyMap
        What the pads do.
    views : tuple of str
        The views there are.
    """

    KEY_GROUPS = ("Pages", "Window", "Look", "Calibrate", "Panels", "Catch")

    def __init__(
        self,
        keys: KeyMap,
        views: tuple[str, ...],
        *,
        clock: Callable[[], float] = time.perf_counter,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._keys = keys
        self._clock = clock
        self._look = Look()
        self._settings = Settings()
        self._reading: Reading | None = None
        self._status = SessionStatus()
        self._own_words: tuple[str, ...] = ()
        self._covered = 0.0
        self._uncut = History(STEADY_S)
        self._light = History(8.0, most=120)
        self.dial = DialWidget(self)
        self.blade = Lines(LEFT, parent=self)
        self.notices = Lines(LEFT, from_bottom=True, parent=self)
        self.catch = Lines(RIGHT, parent=self)
        self.verdict = Lines(RIGHT, parent=self)
        self.pads = self._make_pads(views)
        self.histogram: HistogramPlot | None = None
        self._chores = self._make_chores()
        QTimer.singleShot(0, self._refresh_pads)

    def _make_chores(self) -> Chores:
        chores = Chores(self._clock)
        chores.add("hands", HANDS_S, self._refresh_hands)
        chores.add("words", WORDS_S, self._refresh_words)
        chores.add("plot", PLOT_S, self._refresh_plot)
        chores.add("memory", PLOT_S, self._refresh_memory)
        chores.add("pads", WORDS_S, self._refresh_pads)
        chores.add("catch", WORDS_S, self._refresh_catch)
        chores.add("notices", WORDS_S, self._refresh_notices)
        return chores

    @property
    def picture(self) -> object:
        """The picture widget."""
        return self.dial.picture

    def _make_pads(self, views: tuple[str, ...]) -> dict[str, Pad]:
        pads = {}
        for kind in CalibrationKind:
            pads[f"take {kind.value}"] = self._pad(f"take {kind.value}", kind.value, mirrored=True)
        for name in ("arm", "trigger"):
            pads[name] = self._pad(name, "", mirrored=True)
        for view in views:
            pads[f"view {view}"] = self._pad(f"view {view}", view)
        pads["gain"] = self._pad("gain", "gain")
        return pads

    def _pad(self, action: str, title: str, *, mirrored: bool = False) -> Pad:
        what = self._keys[action]
        shown = (title or what.title).capitalize()
        pad = Pad(shown, what.key, mirrored=mirrored, tip=what.title, parent=self)
        pad.clicked.connect(what.run)
        return pad

    # --- values

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self._refresh_pads()
        self._refresh_face()

    def show_reading(self, reading: Reading) -> None:
        """A new picture with its readings."""
        self._reading = reading
        self.dial.picture.show_reading(reading)
        self._remember(reading)
        if self.isVisible():
            self._chores.want("hands", "words", "notices", "plot", "memory")
            self._chores.with_picture()

    def show_status(self, status: SessionStatus, own_words: tuple[str, ...]) -> None:
        """A new status of the session."""
        self._status = status
        self._own_words = own_words
        span = status.ring_capacity_seconds
        if span is not None and span > 0 and abs(span / self._light.span_s - 1) > 0.05:
            self._light = History(span, most=120)
        if self.isVisible():
            self._chores.want("pads", "catch", "notices")
            self._chores.without_picture()

    def clear(self) -> None:
        """Another source: nothing is known yet."""
        self._reading = None
        self._uncut.clear()
        self._light.clear()
        self.dial.picture.clear()
        self.dial.set_hands(HandValues())
        self.dial.set_memory(MemoryValues())
        self.blade.show_lines(())
        self.verdict.show_lines(())

    def _remember(self, reading: Reading) -> None:
        now = reading.stamp.time_s
        value = reading.blade.uncut if reading.blade.uncut is not None else reading.blade.relative
        if value is not None:
            self._uncut.add(now, value)
        if reading.lamp_gain is not None:
            self._light.add(now, reading.lamp_gain - 1.0)

    def add_histogram(self) -> None:
        """Build the plot; done after the first picture because its library takes long to load."""
        from liveview.gui.histogram import HistogramPlot

        if self.histogram is None:
            self.histogram = HistogramPlot(self)
            self.histogram.set_look(self._look)
            self.lay_out()
            self.histogram.show()
            self._refresh_plot()

    # --- refresh

    def _refresh_face(self) -> None:
        reading, blade = self._reading, self._settings.blade
        calibrated = reading is not None and reading.blade.uncut is not None
        colours = None if reading is None else legend_colours(reading.view)
        self.dial.set_face(
            FaceValues(blade.target_uncut, blade.target_band, self._reached(), calibrated, colours)
        )

    def _reached(self) -> bool:
        """The uncut fraction is within its target."""
        target = self._settings.blade
        uncut = None if self._reading is None else self._reading.blade.uncut
        return uncut is not None and abs(uncut - target.target_uncut) <= target.target_band

    def _refresh_hands(self) -> None:
        reading = self._reading
        if reading is None:
            return
        self._refresh_face()
        blade = reading.blade
        now = reading.stamp.time_s
        value = blade.uncut if blade.uncut is not None else blade.relative
        clipped = (False, False)
        if reading.histogram is not None:
            h = reading.histogram
            clipped = (h.clipped_dark > 0.005, h.clipped_bright > 0.005)
        self.dial.set_hands(
            HandValues(
                uncut=value,
                relative=blade.uncut is None,
                steady=self._uncut.range(now, STEADY_S),
                shadow=shadow_of(blade),
                side=self._settings.blade.side,
                legend=legend_words(reading),
                clipped=clipped,
            )
        )

    def _refresh_memory(self) -> None:
        reading, status = self._reading, self._status
        span = status.ring_capacity_seconds or 0.0
        if reading is None or not span:
            return
        now = reading.stamp.time_s
        pre = self._settings.catch.pre_trigger_s if status.arm is not ArmState.OFF else 0.0
        self.dial.set_memory(
            MemoryValues(
                filled=status.ring_seconds / span,
                pre=pre / span,
                sparks=tuple((now - spotted.time_s) / span for spotted in status.recent),
                trace=self._light.trace(now),
                catching=status.arm is ArmState.CATCHING,
            )
        )

    def _refresh_words(self) -> None:
        reading = self._reading
        if reading is None:
            return
        self.blade.show_lines(blade_lines(reading.blade, self._settings.blade, self._reached()))
        self.verdict.show_lines(verdict_lines(reading))

    def _refresh_plot(self) -> None:
        found = None if self._reading is None else self._reading.histogram
        if self.histogram is not None and found is not None:
            self.histogram.show_histogram(found)

    def _refresh_notices(self) -> None:
        words = () if self._reading is None else self._reading.words
        # Below an open panel there is less room: the most urgent ones, whole.
        for most in range(MOST_NOTICES, -1, -1):
            lines = notice_lines(self._status, (*self._own_words,), words, most)
            self.notices.show_lines(lines)
            if self.notices.fits:
                break

    def _refresh_catch(self) -> None:
        self.catch.show_lines(catch_lines(self._status, self._settings.catch))
        self._place_catch_pads()

    def _refresh_pads(self) -> None:
        status, enhance = self._status, self._settings.enhance
        show_calibration(self.pads, status)
        off = status.arm is ArmState.OFF
        self.pads["arm"].set_state(title="Arm" if off else "Disarm", on=not off)
        self.pads["trigger"].set_state(title="Keep now")
        for name, pad in self.pads.items():
            if name.startswith("view "):
                on = name == f"view {enhance.view}"
                pad.set_state(mark=choice_mark(on), on=on)
        fixed = enhance.gain_contrast is not None
        self.pads["gain"].set_state(
            mark=gain_mark(fixed), note=self._gain_note(), title="Gain", on=fixed
        )
        self._place_pads()

    def _gain_note(self) -> str:
        fixed = self._settings.enhance.gain_contrast is not None
        words = "fixed" if fixed else "automatic"
        reading = self._reading
        if reading is not None and reading.scale is not None:
            words += f", ±{with_unit(reading.scale, reading.unit)}"
        return words

    # --- layout

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for block in (self.blade, self.notices, self.catch, self.verdict):
            block.set_look(look)
        for pad in self.pads.values():
            pad.set_look(look)
        if self.histogram is not None:
            self.histogram.set_look(look)
        self.lay_out()

    def showEvent(self, event: QShowEvent | None) -> None:
        """What came while another page was open is caught up with."""
        self._chores.all()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.lay_out()

    def keep_below(self, low: float) -> None:
        """A panel covers the page's left down to this height, pixels; 0: there is none."""
        if low != self._covered:
            self._covered = low
            self.lay_out()
            self._refresh_notices()

    def free_width(self, top: float, bottom: float) -> float:
        """Room between the window's edge and the instrument over a stretch of height, pixels."""
        return free_width(self, self.dial.width(), self._look, top, bottom)

    def lay_out(self) -> None:
        """Place everything."""
        look, width, height = self._look, self.width(), self.height()
        side = round(min(height - look.px(1.5), width - 2 * look.px(SIDE_STEPS)))
        self.dial.fit(side, look)
        self.dial.move((width - side) // 2, (height - side) // 2)
        margin = look.px(2)
        top, bottom = look.px(10), look.px(38)
        room = self.free_width(top, bottom)
        put(self.blade, margin, top, room, bottom - top)
        put(self.catch, width - margin - room, top, room, look.px(21))
        low = height - look.px(36)
        room = self.free_width(low, height)
        # No wider than the panel that may lie over them.
        narrow = self.free_width(min(low, height / 2 + look.px(BELOW_MIDDLE)), height)
        under = max(low, self._covered + look.px(0.5)) if self._covered else low
        put(self.notices, margin, under, narrow - look.px(1.0), height - under - look.px(1.5))
        put(self.verdict, width - margin - room, height - look.px(35), room, look.px(9.5))
        if self.histogram is not None:
            tall = look.px(24)
            put(self.histogram, width - margin - room, height - tall - look.px(1), room, tall)
        self._place_pads()

    def _place_pads(self) -> None:
        look, middle = self._look, self.height() / 2
        left = [f"take {kind.value}" for kind in CalibrationKind]
        for k, name in enumerate(left):
            self._beside(self.pads[name], middle + (k - 1) * look.px(5.6), left=True)
        self._place_catch_pads()

    def _place_view_pads(self) -> None:
        """Beside the disc's middle, or lower and closer where the trigger has much to say."""
        look = self._look
        names = [name for name in self.pads if name.startswith("view ")] + ["gain"]
        gap, pitch = look.px(1.0), look.px(4.3)
        first = self.height() / 2 - look.px(2.2) - (len(names) - 1) / 2 * pitch
        above = self.pads["arm"].geometry().bottom() + look.px(0.4)
        first = max(first, above + self.pads[names[0]].height() / 2)
        last = self.verdict.y() - look.px(0.4) - self.pads["gain"].height() / 2
        steps = max(len(names) - 1, 1)
        pitch = min(pitch, (last - gap - first) / steps)
        for k, name in enumerate(names):
            below = first + k * pitch + (gap if name == "gain" else 0.0)
            self._beside(self.pads[name], below, left=False)

    def _place_catch_pads(self) -> None:
        """Below the words of the trigger, however many there are; the views below them."""
        x = float(self.width()) - self._look.px(1.5)
        y = self.catch.y() + self.catch.painted_height + self._look.px(1.2)
        for name in ("trigger", "arm"):
            pad = self.pads[name]
            x -= pad.width()
            pad.move(round(x), round(y))
            x -= self._look.px(1.0)
        self._place_view_pads()

    def _beside(self, pad: Pad, y: float, *, left: bool) -> None:
        """Put a pad next to the instrument's edge at a height."""
        reach = chord(self, self.dial.width(), y) + self._look.px(0.8)
        x = self.width() / 2 - reach - pad.width() if left else self.width() / 2 + reach
        pad.move(round(x), round(y - pad.height() / 2))
