"""The flash-and-click check as a sheet: what to do, what was seen and heard, what came out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PyQt6.QtCore import QPointF, QRectF, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QFontMetricsF, QKeyEvent, QPainter
from PyQt6.QtWidgets import QLineEdit, QWidget

from liveview.engine.clockcheck import ENOUGH, ClockCheck, ClockReading
from liveview.errors import LiveviewError
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.paint import pen
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import MINUS, THIN, count, seconds
from liveview.optics.sound import sound_delay
from liveview.units import parse_quantity

if TYPE_CHECKING:
    from liveview.engine.session import Session

LOOK_MS = 150
DISTANCE_ERROR = 0.05
"""Share of the distance that it is believed to be wrong by,"""
LEAST_ERROR_M = 0.01
"""and at least so much."""
STEPS = (
    "Put the flash where the camera sees it: a spark before the mirror, or something that flashes "
    "and clicks at once. Measure how far it is from the microphone.",
    "Set it off, wait two seconds, and again. The trigger need not be armed.",
    "When several agree, Enter keeps the camera's delay.",
)
CAUTION = "Sparks: keep clear of high voltage, protect eyes and ears; mind the local rules."


class ClockSheet(Overlay):
    """Runs a check while it is open. ``found`` carries the new ``delay_s``."""

    found = pyqtSignal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__("Is the camera late?", parent)
        self._session: Session | None = None
        self._check: ClockCheck | None = None
        self._words = ""
        self._checked = ""
        self._reading = ClockReading()
        self._distance = QLineEdit("0.5 m", self)
        self._distance.setAccessibleName("Distance from the flash to the microphone")
        self._distance.editingFinished.connect(self._take_distance)
        self._keep = Pad(
            "Keep it", "Enter", tip="Take what was found into the settings", parent=self
        )
        self._keep.clicked.connect(self.keep)
        self._spark = Pad("Set off a spark", tip="A spark of the simulated rig", parent=self)
        self._spark.clicked.connect(self.set_off)
        self._anew = Pad("Begin anew", tip="Forget the flashes heard so far", parent=self)
        self._anew.clicked.connect(self._restart)
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self._refresh)

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (104.0, 56.0)

    @property
    def reading(self) -> ClockReading:
        """How the check stands."""
        return self._reading

    @property
    def distance_field(self) -> QLineEdit:
        """Where the distance is typed."""
        return self._distance

    def open_for(self, session: Session) -> None:
        """Show it and begin."""
        self._session = session
        self._distance.setText(f"{session.settings.catch.mic_distance_m:g} m")
        self._spark.setVisible(session.rig is not None)
        self.open()
        self._restart()

    def _take_distance(self) -> None:
        """Begin anew for another distance; Enter in the field with the same one changes nothing."""
        if self._distance.text() != self._checked:
            self._restart()

    def _restart(self) -> None:
        session = self._session
        if session is None or not self.isVisible():
            return
        self._words = ""
        self._reading = ClockReading()
        self._stop_check()
        if self._words:
            self.update()
            return
        self._checked = self._distance.text()
        try:
            distance_m = parse_quantity(self._distance.text(), "m", "distance")
        except LiveviewError as error:
            self._words = str(error)
            self.update()
            return
        if not 0 <= distance_m <= 100:
            self._words = "The distance is between 0 and 100 m."
            self.update()
            return
        error_m = max(DISTANCE_ERROR * distance_m, LEAST_ERROR_M)
        air_k = session.settings.rig.temperature_k
        self._check = session.check_clock(
            sound_delay(distance_m, air_k), sound_delay(error_m, air_k)
        )
        self._timer.start()
        self.update()

    def close_sheet(self) -> None:
        """Put it away; the check ends."""
        self._stop_check()
        super().close_sheet()

    def _stop_check(self) -> None:
        self._timer.stop()
        check, self._check = self._check, None
        if check is not None:
            try:
                check.stop()
            except LiveviewError as error:
                self._words = str(error)

    def set_off(self) -> None:
        """A spark of the simulated rig."""
        if self._session is None or self._session.rig is None:
            return
        try:
            self._session.rig.set("spark_now", 1.0)
        except LiveviewError as error:
            self._words = str(error)
            self.update()

    def keep(self) -> None:
        """Take the delay over into the camera's settings."""
        session, delay = self._session, self._reading.delay
        if session is None or delay is None:
            return
        before_s = session.settings.camera.delay_s
        self.close_sheet()
        self.found.emit({"delay_s": round(before_s + delay.delay_s, 6)})

    def _refresh(self) -> None:
        if self._check is not None and self._check.reading != self._reading:
            self._reading = self._check.reading
            self.setAccessibleDescription(self.words())
            self.lay_out()
            self.update()

    # --- words

    def words(self) -> str:
        """All it says of the check."""
        head, note = self.result()
        return f"{head}\n{note}"

    def result(self) -> tuple[str, str]:
        """The result (or what is waited for), and a line about it."""
        reading = self._reading
        if self._words or reading.failed:
            return ("Not checked", self._words or reading.failed)
        if not reading.hears:
            return ("No sound comes in", "M on the Catch page chooses a microphone.")
        if not reading.ready:
            return ("Learning the quiet", "Keep still for a moment.")
        counts = (
            f"{count(reading.seen, 'flash', 'flashes')} seen, "
            f"{count(reading.heard, 'sound', 'sounds')} heard"
        )
        delay = reading.delay
        if delay is None:
            apart = min(reading.seen, reading.heard) >= ENOUGH
            note = "they do not agree yet" if apart else "three must agree"
            return ("Set off a flash", f"{counts}; {note}")
        late = "late" if delay.delay_s >= 0 else "early"
        head = f"{seconds(abs(delay.delay_s))} {late}, ± {seconds(delay.error_s)}"
        if abs(delay.delay_s) < 2 * delay.error_s:
            head = f"Not late: {MINUS if delay.delay_s < 0 else ''}{seconds(abs(delay.delay_s))}"
            head += f" ± {seconds(delay.error_s)}"
        more = "" if reading.enough else f"; {ENOUGH - delay.pairs} more would be better"
        note = f"{delay.pairs} of {counts} agree, each within {seconds(delay.scatter_s)}{more}"
        return (head, note)

    # --- painting

    def lay_out(self) -> None:
        """See Overlay."""
        body, look = self.body_rect(), self.look
        self._distance.setFont(look.font(Type.LEAD))
        top = body.top() + look.px(19.5)
        self._distance.setGeometry(
            QRectF(body.left() + look.px(36), top, look.px(16), look.px(4.4)).toRect()
        )
        x = body.left()
        self._keep.setEnabled(self._reading.delay is not None)
        for pad in (self._keep, self._anew, self._spark):
            pad.set_look(look)
            pad.move(round(x), round(body.bottom() - look.px(3.8)))
            x += pad.width() + look.px(2.5)

    def paint_sheet(self, p: QPainter) -> None:
        """Steps, distance, pulses and the result."""
        body, look = self.body_rect(), self.look
        y = body.top()
        font = look.font()
        wrap = int(Qt.TextFlag.TextWordWrap)
        for number, step in enumerate(STEPS, 1):
            p.setFont(look.font(Type.BODY, Weight.STRONG))
            p.setPen(COLOURS.brass)
            p.drawText(QPointF(body.left(), y + look.px(2)), str(number))
            box = QRectF(body.left() + look.px(3), y, body.width() - look.px(3), look.px(20))
            p.setFont(font)
            p.setPen(COLOURS.text)
            p.drawText(box, wrap, step)
            y += QFontMetricsF(font).boundingRect(box, wrap, step).height() + look.px(1.2)
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.ember)
        p.drawText(QRectF(body.left() + look.px(3), y, body.width(), look.px(3)), wrap, CAUTION)
        middle = int(Qt.AlignmentFlag.AlignVCenter)
        line = QRectF(body.left(), body.top() + look.px(19.5), look.px(37), look.px(4.4))
        p.setFont(font)
        p.setPen(COLOURS.quiet)
        p.drawText(line, middle, "From the flash to the microphone")
        self._paint_result(p, body.top() + look.px(26.5))

    def _paint_result(self, p: QPainter, y: float) -> None:
        body, look = self.body_rect(), self.look
        head, note = self.result()
        delay = self._reading.delay
        pairs = 0 if delay is None else delay.pairs
        side = look.px(1.6)
        for k in range(max(ENOUGH, min(pairs, 12))):
            p.setPen(pen(COLOURS.brass if k < pairs else COLOURS.tick, look.line(1.4)))
            p.setBrush(COLOURS.brass if k < pairs else Qt.BrushStyle.NoBrush)
            centre = QPointF(body.left() + look.px(1) + k * look.px(3), y + side)
            p.drawEllipse(centre, side / 2, side / 2)
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setFont(look.font(Type.HEAD, Weight.FIRM))
        p.setPen(COLOURS.text)
        box = QRectF(body.left(), y + look.px(3), body.width(), look.px(5))
        p.drawText(box, int(Qt.AlignmentFlag.AlignVCenter), head.replace(" ms", f"{THIN}ms"))
        p.setFont(look.font())
        p.setPen(COLOURS.quiet)
        p.drawText(
            QRectF(body.left(), y + look.px(8), body.width(), look.px(5.5)),
            int(Qt.TextFlag.TextWordWrap),
            note,
        )

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Enter keeps the result."""
        if event is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.keep()
            return
        super().keyPressEvent(event)
