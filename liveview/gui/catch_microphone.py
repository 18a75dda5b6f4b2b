"""The microphone as a sheet over the Catch page: which one, and how sure its clock is."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PyQt6.QtCore import QRectF
from PyQt6.QtWidgets import QWidget

from liveview.gui.bridge import SourceOffer
from liveview.gui.catch_words import Clocks, clock_lines
from liveview.gui.device_search import DeviceSearch
from liveview.gui.lines import Line, Lines
from liveview.gui.marks import notice_mark
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.theme import COLOURS, Type
from liveview.gui.tuning import Row, TuningPanel
from liveview.gui.words import THIN, first_up
from liveview.model import SessionStatus
from liveview.settings import Settings

RATES_HZ = (None, 44100.0, 48000.0, 96000.0, 192000.0)
CHANNELS = (None, 1, 2, 3, 4)
LATE_S = (0.0, 0.001, 0.002, 0.005, 0.010, 0.020, 0.050, 0.100, 0.200)
UNSURE_S = (0.0, 0.0005, 0.001, 0.002, 0.005, 0.010, 0.020, 0.050, 0.100)


def sound_rows(names: Sequence[str], settings: Settings) -> tuple[Row, ...]:
    """The sheet's rows; the microphone in the settings is among them even if it is not there."""
    device = settings.sound.device
    known = dict.fromkeys(("", *names, device))
    return (
        Row("sound", "enabled", "Listen", (False, True), lambda on: "On" if on else "Off"),
        Row("sound", "device", "Microphone", tuple(known), lambda name: name or "The default one"),
        Row("sound", "rate_hz", "Rate", RATES_HZ, _rate),
        Row("sound", "channel", "Channel", CHANNELS, _channel),
        Row("sound", "delay_s", "Late by", LATE_S, _milliseconds),
        Row("sound", "error_s", "Unsure by", UNSURE_S, _milliseconds),
    )


def _rate(hz: float | None) -> str:
    return "Its own" if hz is None else f"{hz / 1e3:g}{THIN}kHz"


def _channel(number: int | None) -> str:
    return "Mean of two" if number is None else f"{number}"


def _milliseconds(value_s: float) -> str:
    return f"{value_s * 1e3:g}{THIN}ms"


class MicrophoneSheet(Overlay):
    """Asks for changes as the panel does: ``rows.wanted``.

    Parameters
    ----------
    look_for : callable
        Finds the microphones; may take seconds and runs in a thread.
    parent : QWidget
    """

    def __init__(self, look_for: Callable[[], Sequence[SourceOffer]], parent: QWidget) -> None:
        super().__init__("The microphone", parent)
        self.search = DeviceSearch("microphone", look_for, self)
        self.search.ended.connect(self._offer)
        self._settings = Settings()
        self._names: tuple[str, ...] = ()
        self.rows = TuningPanel("How it is heard", sound_rows((), self._settings), self)
        self.rows.show()
        self.facts = Lines(parent=self)
        self.again = Pad("Look again", tip="Look for microphones once more", parent=self)
        self.again.clicked.connect(self.look_again)

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (96.0, 40.5)

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self.rows.set_rows(sound_rows(self._names, settings))
        self.rows.set_settings(settings)

    def show_status(self, status: SessionStatus) -> None:
        """What is heard at present, and how sure the clocks are."""
        lines = []
        sound = status.sound
        if sound is None:
            lines.append(Line("Nothing is heard at present.", gap=0.0, mark=notice_mark))
        else:
            name = "simulated sound" if sound.simulated else sound.name
            now = f"Now: {name}, {sound.rate_hz / 1e3:g}{THIN}kHz"
            note = f" ({sound.note})" if sound.note and not sound.simulated else ""
            lines.append(Line(now + note + ".", gap=0.0))
            if sound.simulated:
                lines.append(Line("It belongs to the simulated rig; the rows are for real ones."))
            elif not sound.live:
                lines.append(Line("It belongs to the recording; the rows are for microphones."))
        lines += [
            Line(words, Type.SMALL, colour=COLOURS.quiet)
            for words in clock_lines(Clocks.of(status, self._settings))
        ]
        if self.search.words:
            lines.append(Line(self.search.words, Type.SMALL, gap=0.6))
        self.facts.show_lines(lines)

    def open(self) -> None:
        """Show it and look which microphones there are."""
        super().open()
        self.look_again()

    def look_again(self) -> None:
        """Look for microphones in a thread."""
        self.search.start()

    def _offer(self) -> None:
        self._names = tuple(offer.address for offer in self.search.found)
        self.set_settings(self._settings)

    def finish(self, timeout_s: float) -> None:
        """Wait for a search that is under way. Raises WorkerStuck."""
        self.search.finish(timeout_s)

    def words(self) -> str:
        """All it says."""
        return f"{self.rows.words()}\n{first_up(self.search.words)}"

    def lay_out(self) -> None:
        """See Overlay."""
        body, look = self.body_rect(), self.look
        for part in (self.rows, self.facts, self.again):
            part.set_look(look)
        high = look.px(self.rows.steps_high)
        width = body.width() * 0.56
        self.rows.setGeometry(QRectF(body.left(), body.top(), width, high).toRect())
        left = body.left() + width + look.px(3)
        facts = QRectF(left, body.top(), body.right() - left, body.height() - look.px(5))
        self.facts.setGeometry(facts.toRect())
        self.again.move(round(body.left()), round(body.top() + high + look.px(1.5)))
