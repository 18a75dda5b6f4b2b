"""Instruments of the Catch page: the badge that arms, the strip of signals, the sound's level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import itemgetter

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QFontMetricsF, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPolygonF
from PyQt6.QtWidgets import QAbstractButton, QWidget

from liveview.gui.catch_words import Arm, Heard, sound_title
from liveview.gui.marks import notice_mark
from liveview.gui.pad import keycap_width, paint_keycap
from liveview.gui.paint import arc, pen, smooth, star, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import THIN, first_up, percent
from liveview.model import ArmState, Cause, Spotted, TriggerReading
from liveview.settings import Catch
from liveview.trigger.catcher import EASIER, crack_sigma

LOWEST_DB = -60.0

STRIP_S = 10.0
"""Seconds of signal on the strip."""

TOP_SIGMA = 100.0
FILL = 0.96
"""Share of a lane that its scale takes: room for the star at the top."""

SPARK_S = 0.1
"""So far from a spark's time its bar is looked for: a crack is heard later than it happens."""

BEND_SIGMA = 4.0
"""The strip's scale is even below this and squeezed above."""


class ArmBadge(QAbstractButton):
    """The state of the trigger, large: a ring, a filling ring, a bull's eye or a star."""

    def __init__(self, key: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._key = key
        self._look = Look()
        self._arm = Arm(ArmState.OFF, "Off", "")
        self.setToolTip(f"Arm or disarm the trigger  ({key})")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def show_arm(self, arm: Arm) -> None:
        """The state."""
        if arm != self._arm:
            self._arm = arm
            self.setAccessibleName(self.words())
            self.update()

    def words(self) -> str:
        """All it says."""
        return f"{self._arm.word}{self._figure()}\n{self._arm.line}"

    def _figure(self) -> str:
        if self._arm.left_s is not None:
            left = self._arm.left_s
            return f" {left:.1f}{THIN}s" if left < 9.95 else f" {left:.0f}{THIN}s"
        return f" {percent(self._arm.share, 0)}" if self._arm.state is ArmState.LEARNING else ""

    def sizeHint(self) -> QSize:
        """As high as the sign."""
        return QSize(round(self._look.px(36)), round(self._look.px(11)))

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Enter presses it; the space bar arms nothing by mistake."""
        if event is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        elif event is not None:
            event.ignore()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look, side = self._look, self._look.px(9.0)
        if self.hasFocus() or self.underMouse():
            p.setPen(pen(COLOURS.brass, 1.5) if self.hasFocus() else Qt.PenStyle.NoPen)
            p.setBrush(faded(COLOURS.raised, 0.9))
            p.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), look.px(1), look.px(1))
        self._paint_sign(p, QRectF(look.px(0.6), look.px(0.6), side, side))
        x = side + look.px(2.4)
        font = look.font(Type.TITLE, Weight.STRONG)
        p.setFont(font)
        on = self._arm.state is not ArmState.OFF
        p.setPen(COLOURS.text if on else COLOURS.quiet)
        metrics = QFontMetricsF(font)
        base = look.px(0.2) + metrics.ascent()
        p.drawText(QPointF(x, base), self._arm.word)
        cap = x + text_width(font, self._arm.word) + look.px(1.5)
        p.setFont(look.font(Type.HEAD, Weight.FIRM))
        p.drawText(QPointF(cap, base), self._figure().strip())
        cap += text_width(p.font(), self._figure()) + look.px(1.0 if self._figure() else 0.0)
        if cap + keycap_width(self._key, look) < self.width():
            paint_keycap(p, cap, base - look.px(1.6), self._key, look)
        p.setFont(look.font(Type.BODY))
        p.setPen(COLOURS.text if on else COLOURS.quiet)
        box = QRectF(x, look.px(0.4) + metrics.height(), self.width() - x, look.px(5.5))
        p.drawText(box, int(Qt.TextFlag.TextWordWrap), self._arm.line)
        p.end()

    def _paint_sign(self, p: QPainter, box: QRectF) -> None:
        look, state = self._look, self._arm.state
        centre, radius = box.center(), box.width() / 2
        ring, width = radius * 0.86, look.line(6.0)
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.brass if state is ArmState.ARMED else COLOURS.line, width))
        p.drawEllipse(centre, ring, ring)
        if state is ArmState.LEARNING:
            p.setPen(pen(COLOURS.brass, width))
            arc(p, centre, ring, 0.0, 360.0 * self._arm.share)
        elif state is ArmState.CATCHING:
            p.setPen(pen(COLOURS.ember, width))
            arc(p, centre, ring, 0.0, 360.0 * self._arm.share)
        p.setPen(Qt.PenStyle.NoPen)
        if state is ArmState.ARMED:
            p.setBrush(COLOURS.brass)
            p.drawEllipse(centre, radius * 0.42, radius * 0.42)
        elif state is ArmState.CATCHING:
            p.setBrush(COLOURS.ember)
            p.drawPolygon(star(centre, radius * 0.62))


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
        self._draft: float | None = None
        self.setAccessibleName("Signals of the detectors against the threshold")
        self.setToolTip(
            "Draw a threshold line up or down. A star is a spark; a high bar without one was "
            "something else: movement, or a lamp switched."
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
    ) -> None:
        """New signals, and the sparks found in them."""
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
        p.drawText(QPointF(0, look.px(1.8)), "Signal and threshold, times the noise")
        zero, _ = self._axis()
        p.setPen(pen(COLOURS.tick, look.line()))
        p.drawLine(QPointF(self._left, zero), QPointF(self.width(), zero))
        on = self._catch.on
        self._lane(p, True, on in ("flash", "either", "both"))
        self._lane(p, False, on in ("sound", "either", "both"))
        p.end()

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


def calm_mark(p: QPainter, box: QRectF, look: Look) -> None:
    """The sign of a standing caution: a triangle that does not shout."""
    p.setPen(pen(COLOURS.quiet, look.line(1.4)))
    p.setBrush(Qt.BrushStyle.NoBrush)
    x, top, half = box.center().x(), box.top() + box.height() * 0.14, box.width() * 0.42
    bottom = box.bottom() - box.height() * 0.16
    p.drawPolygon(
        QPolygonF([QPointF(x, top), QPointF(x + half, bottom), QPointF(x - half, bottom)])
    )


class LevelMeter(QWidget):
    """Peak of the sound in decibels of full scale, the loudest of the last seconds, clipping."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._heard = Heard()
        self._name = ""
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def show_heard(self, heard: Heard, name: str) -> None:
        """A new level; ``name`` is the microphone's."""
        if (heard, name) != (self._heard, self._name):
            self._heard, self._name = heard, name
            self.setAccessibleName(self.words())
            self.update()

    def words(self) -> str:
        """All it says."""
        title = sound_title(self._name)
        return f"{title}\n{first_up(self._heard.words)}"

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look, heard = self._look, self._heard
        p.setFont(look.font(Type.BODY, Weight.FIRM))
        p.setPen(COLOURS.text if heard.now is not None else COLOURS.quiet)
        title, words = self.words().split("\n", 1)
        metrics = p.fontMetrics()
        elided = metrics.elidedText(title, Qt.TextElideMode.ElideRight, self.width())
        p.drawText(QPointF(0, metrics.ascent()), elided)
        bar = QRectF(0, look.px(2.9), self.width() - look.px(2.6), look.px(1.5))
        p.fillRect(bar, faded(COLOURS.line, 0.7))
        if heard.now is not None:
            self._paint_bar(p, bar, heard)
        self._paint_clip(p, bar, heard.clipped)
        self._paint_words(p, words, heard.worry)
        p.end()

    @staticmethod
    def _x(bar: QRectF, level: float) -> float:
        decibels = LOWEST_DB if level <= 0 else max(20 * math.log10(level), LOWEST_DB)
        return bar.left() + bar.width() * min(1 - decibels / LOWEST_DB, 1.0)

    def _paint_bar(self, p: QPainter, bar: QRectF, heard: Heard) -> None:
        look = self._look
        assert heard.now is not None
        filled = QRectF(bar)
        filled.setRight(self._x(bar, heard.now))
        p.fillRect(filled, COLOURS.brass)
        held = self._x(bar, heard.held)
        p.fillRect(
            QRectF(held - look.line(1.5), bar.top(), look.line(3), bar.height()), COLOURS.text
        )
        p.setPen(pen(COLOURS.ground, look.line()))
        for decibels in (-48, -36, -24, -12):
            x = bar.left() + bar.width() * (1 - decibels / LOWEST_DB)
            p.drawLine(QPointF(x, bar.top()), QPointF(x, bar.bottom()))

    def _paint_clip(self, p: QPainter, bar: QRectF, clipped: bool) -> None:
        """A lamp behind the bar's end: hollow while all is well, full when the top was reached."""
        size, x, y = self._look.px(0.75), bar.right() + self._look.px(1.5), bar.center().y()
        p.setPen(pen(COLOURS.ember if clipped else COLOURS.tick, self._look.line(1.3)))
        p.setBrush(COLOURS.ember if clipped else Qt.BrushStyle.NoBrush)
        p.drawPolygon(
            QPolygonF(
                [QPointF(x - size, y + size), QPointF(x, y - size), QPointF(x + size, y + size)]
            )
        )

    def _paint_words(self, p: QPainter, words: str, worry: bool) -> None:
        look = self._look
        inset, top = 0.0, look.px(4.9)
        if worry:
            notice_mark(p, QRectF(0, top + look.px(0.1), look.px(2), look.px(2)), look)
            inset = look.px(2.8)
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.text if worry else COLOURS.quiet)
        box = QRectF(inset, top, self.width() - inset, self.height() - top)
        p.drawText(box, int(Qt.TextFlag.TextWordWrap), words)
