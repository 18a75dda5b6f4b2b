"""Instruments of the Catch page: the badge that arms, the sound's level."""

from __future__ import annotations

import math

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QFontMetricsF, QKeyEvent, QPainter, QPaintEvent, QPolygonF
from PyQt6.QtWidgets import QAbstractButton, QWidget

from liveview.gui.catch_words import Arm, Heard, sound_title
from liveview.gui.marks import notice_mark
from liveview.gui.pad import keycap_width, paint_keycap
from liveview.gui.paint import arc, pen, smooth, star, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import THIN, first_up, percent
from liveview.model import ArmState

LOWEST_DB = -60.0


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
