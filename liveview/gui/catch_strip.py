"""The strip of signals on the Catch page: what was seen and heard, against the threshold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import itemgetter

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import pen, smooth, star, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import THIN
from liveview.model import Cause, Spotted, TriggerReading
from liveview.settings import Catch
from liveview.trigger.catcher import EASIER, crack_sigma

STRIP_S = 10.0
"""Seconds of signal on the strip."""

TOP_SIGMA = 100.0
FILL = 0.96
"""Share of a lane that its scale takes: room for the star at the top."""

SPARK_S = 0.1
"""So far from a spark's time its bar is looked for: a crack is heard later than it happens."""

SETTLED_S = 0.5
"""After this time a suspicion of light was confirmed or dropped, a spark's afterglow is over."""

CAPTION = "Signal and threshold, times the noise"
NO_STAR = "High bar, no star: flow or movement"
NOT_ARMED = "High bar, no star: was not armed"

BEND_SIGMA = 4.0
"""The strip's scale is even below this and squeezed above."""


def strength_to_share(sigma: float) -> float:
    """Height 0..1 of a strength on the strip."""
    return min(math.asinh(max(sigma, 0.0) / BEND_SIGMA) / math.asinh(TOP_SIGMA / BEND_SIGMA), 1.0)


def share_to_strength(share: float) -> float:
    """Inverse of :func:`strength_to_share`."""
    return BEND_SIGMA * math.sinh(min(max(share, 0.0), 1.0) * math.asinh(TOP_SIGMA / BEND_SIGMA))


class SignalStrip(QWidget):
    """The last seconds of both detectors against the threshold: light upwards, sound downwards.

    A star marks a spark that was found; a bar above the threshold without one was a suspicion that
    what followed did not confirm. The threshold is drawn up and down with the mouse.
    """

    wanted = pyqtSignal(float)
    """A new threshold, units of noise."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._reading = TriggerReading()
        self._catch = Catch()
        self._has_sound = False
        self._sparks: tuple[Spotted, ...] = ()
        self._judged_from_s: float | None = None
        self._draft: float | None = None
        self.setAccessibleName("Signals of the detectors against the threshold")
        self.setToolTip(
            "Draw a threshold line up or down. A star is a spark; a high bar without one was "
            "something else: flow, movement, or a lamp switched. While the noise is learnt, "
            f"nothing is caught. For a crack {EASIER:g}{THIN}σ less is enough: there are far fewer "
            "moments of sound than pixels of light."
        )
        self.setMouseTracking(True)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def show_reading(
        self,
        reading: TriggerReading,
        catch: Catch,
        has_sound: bool,
        sparks: tuple[Spotted, ...] = (),
        judged: bool = True,
    ) -> None:
        """New signals, and the sparks found in them; ``judged`` while sparks are looked for."""
        if not judged:
            self._judged_from_s = None
        elif self._judged_from_s is None:
            self._judged_from_s = reading.now_s
        self._reading, self._catch, self._has_sound = reading, catch, has_sound
        self._sparks = sparks
        self.update()

    @property
    def sigma(self) -> float:
        """The threshold as shown."""
        return self._catch.sensitivity_sigma if self._draft is None else self._draft

    def _axis(self) -> tuple[float, float]:
        """Height of the zero line and of a full lane."""
        top = self._look.px(3.4)
        lane = (self.height() - top - self._look.px(0.5)) / 2
        return top + lane, lane

    def lane_sigma(self, up: bool) -> float:
        """The threshold of one of the lanes: a crack may be somewhat weaker than a flash."""
        return self.sigma if up else crack_sigma(self.sigma)

    def threshold_y(self, up: bool = True) -> float:
        """Where a threshold line lies."""
        zero, lane = self._axis()
        return zero - (FILL if up else -FILL) * lane * strength_to_share(self.lane_sigma(up))

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.quiet)
        p.drawText(QPointF(0, look.px(1.8)), self.caption())
        zero, _ = self._axis()
        p.setPen(pen(COLOURS.tick, look.line()))
        p.drawLine(QPointF(self._left, zero), QPointF(self.width(), zero))
        on = self._catch.on
        self._lane(p, True, on in ("flash", "either", "both"))
        self._lane(p, False, on in ("sound", "either", "both"))
        p.end()

    def caption(self) -> str:
        """What is drawn; where a high bar of light has no star, why nothing came of it."""
        now, since = self._reading.now_s, self._judged_from_s
        if now is None or self._catch.on not in ("flash", "either"):
            return CAPTION
        sparks = [spark.time_s for spark in self._sparks]
        high = [
            time_s
            for time_s, sigma in self._reading.flash
            if sigma > self.lane_sigma(True)
            and SETTLED_S <= now - time_s <= STRIP_S
            and all(abs(time_s - spark) > SETTLED_S for spark in sparks)
        ]
        if not high:
            return CAPTION
        return NO_STAR if since is not None and max(high) >= since else NOT_ARMED

    @property
    def _left(self) -> float:
        return self._look.px(6.4)

    def _lane(self, p: QPainter, up: bool, used: bool) -> None:
        look, (zero, lane) = self._look, self._axis()
        sign = -1.0 if up else 1.0
        small = look.font(Type.SMALL)
        box = QRectF(self._left, zero - lane if up else zero, self.width() - self._left, lane)
        p.fillRect(box, faded(COLOURS.raised, 0.8))
        self._ticks(p, sign, zero, lane)
        signal = self._reading.flash if up else self._reading.crack
        words = self._lane_words(up, used, bool(signal))
        self._bars(p, signal, zero, sign * lane, used)
        y = self.threshold_y(up)
        line = pen(COLOURS.brass if used else COLOURS.line, look.line(1.8))
        line.setDashPattern([4.0, 2.0])
        p.setPen(line)
        p.drawLine(QPointF(self._left, y), QPointF(self.width(), y))
        p.setFont(look.font(Type.SMALL, Weight.STRONG))
        p.setPen(COLOURS.text if used else COLOURS.quiet)
        middle = Qt.AlignmentFlag.AlignVCenter
        text = "Flash" if up else "Crack"
        high, wide = look.px(2.3), text_width(p.font(), text) + look.px(1.2)
        name = QRectF(box.left(), box.top() if up else box.bottom() - high, wide, high)
        p.fillRect(name, faded(COLOURS.ground, 0.8))
        p.drawText(name, int(Qt.AlignmentFlag.AlignCenter), text)
        p.setFont(small)
        self._scale(p, sign, zero, lane, used)
        if words:
            p.setPen(COLOURS.quiet)
            p.drawText(box.adjusted(look.px(1), 0, 0, 0), int(middle), words)

    def _lane_words(self, up: bool, used: bool, there: bool) -> str:
        if not used:
            return "not used"
        if there:
            return ""
        if up or self._has_sound:
            return "getting to know the noise"
        return "no sound"

    def _ticks(self, p: QPainter, sign: float, zero: float, lane: float) -> None:
        p.setPen(pen(faded(COLOURS.line, 0.8), self._look.line()))
        for sigma in (10.0, 30.0, TOP_SIGMA):
            y = zero + FILL * sign * lane * strength_to_share(sigma)
            p.drawLine(QPointF(self._left, y), QPointF(self.width(), y))

    def _scale(self, p: QPainter, sign: float, zero: float, lane: float, used: bool) -> None:
        """Figures of the scale; the threshold's own displaces those near it."""
        right = int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight)
        half, room = self._look.px(1.2), self._left - self._look.px(0.6)
        taken: list[float] = []
        own = (self.lane_sigma(sign < 0),) if used else ()
        for sigma in (*own, TOP_SIGMA, 10.0, 30.0):
            y = zero + FILL * sign * lane * strength_to_share(sigma)
            if all(abs(y - other) >= 1.6 * half for other in taken):
                mine = used and not taken
                p.setPen(COLOURS.text if mine else COLOURS.quiet)
                p.drawText(QRectF(0, y - half, room, 2 * half), right, f"{sigma:.3g}{THIN}σ")
                taken.append(y)

    def _bars(
        self,
        p: QPainter,
        signal: tuple[tuple[float, float], ...],
        zero: float,
        reach: float,
        used: bool,
    ) -> None:
        """One stroke a piece of time; a spark's thick and with a star at its tip."""
        now = self._reading.now_s
        if now is None:
            return
        sparks = spark_bars(signal, self._sparks, Cause.SOUND if reach > 0 else Cause.FLASH)
        room = self.width() - self._left
        for time_s, sigma in signal:
            age = now - time_s
            if not 0.0 <= age <= STRIP_S:
                continue
            x = self.width() - self._look.px(0.8) - age / STRIP_S * (room - self._look.px(1.6))
            tip = zero + FILL * reach * strength_to_share(sigma)
            spark = time_s in sparks
            colour = COLOURS.ember if spark else COLOURS.quiet if used else COLOURS.line
            p.setPen(pen(colour, self._look.line(2.4 if spark else 1.4)))
            p.drawLine(QPointF(x, zero), QPointF(x, tip))
            if spark:
                p.setPen(Qt.PenStyle.NoPen)
                p.setBrush(COLOURS.ember)
                p.drawPolygon(star(QPointF(x, tip), self._look.px(0.8)))

    # --- the threshold by mouse

    def _near(self, y: float) -> bool:
        reach = self._look.px(1.4)
        return any(abs(y - self.threshold_y(up)) <= reach for up in (True, False))

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and self._near(event.position().y()):
            self._draft = self._catch.sensitivity_sigma

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        y = event.position().y()
        near = self._draft is not None or self._near(y)
        self.setCursor(Qt.CursorShape.SizeVerCursor if near else Qt.CursorShape.ArrowCursor)
        if self._draft is not None:
            zero, lane = self._axis()
            drawn = share_to_strength(abs(y - zero) / (FILL * lane))
            self._draft = handy_sigma(drawn if y < zero else drawn + EASIER)
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        draft, self._draft = self._draft, None
        if draft is not None and draft != self._catch.sensitivity_sigma:
            self.wanted.emit(draft)


def handy_sigma(sigma: float) -> float:
    """A threshold as finely as a hand can set it, within what the settings allow."""
    step = 0.5 if sigma < 10 else 1.0 if sigma < 30 else 5.0
    return min(max(round(sigma / step) * step, 2.0), 100.0)


def spark_bars(
    signal: Sequence[tuple[float, float]], sparks: Sequence[Spotted], sense: Cause
) -> frozenset[float]:
    """Times of the bars that stand for sparks: the highest one near each that this sense found."""
    near = (
        [bar for bar in signal if abs(bar[0] - spark.time_s) <= SPARK_S]
        for spark in sparks
        if spark.cause in (sense, Cause.BOTH)
    )
    return frozenset(max(bars, key=itemgetter(1))[0] for bars in near if bars)
