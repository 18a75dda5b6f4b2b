"""A hand on the simulated rig: one drum at a time, turned by arrow keys, wheel or drag."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import (
    QKeyEvent,
    QLinearGradient,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QWheelEvent,
)
from PyQt6.QtWidgets import QWidget

from liveview.errors import BadRequest
from liveview.gui.paint import pen, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import THIN, exposure, signed
from liveview.model import RigHandle


@dataclass(frozen=True, slots=True)
class Knob:
    """How one value of the rig is turned.

    ``step`` is the fine step (a factor where ``ratio``), ``switch`` makes it on or off.
    """

    name: str
    title: str
    step: float = 1.0
    ratio: bool = False
    switch: bool = False


KNOBS = (
    Knob("blade_x_m", "Blade into the light", 10e-6),
    Knob("blade_z_m", "Blade along the axis", 0.5e-3),
    Knob("blade_angle_rad", "Blade's angle", math.radians(0.25)),
    Knob("blade_out", "Blade out", switch=True),
    Knob("lens_capped", "Lens capped", switch=True),
    Knob("exposure_s", "Exposure", 2 ** (1 / 6), ratio=True),
    Knob("gain", "Camera gain", 2 ** (1 / 6), ratio=True),
    Knob("lamp_brightness", "Lamp", 0.05),
    Knob("shake", "Shake of the bench", 0.1),
)
"""Knobs that have a form of their own, in this order; flows follow as switches."""


FLOW_TITLES = {"spark": "Sparks by themselves"}
"""Flows whose own name would say something else."""


def knobs_for(rig: RigHandle) -> tuple[Knob, ...]:
    """The knobs that this rig has."""
    there = rig.values()
    known = [knob for knob in KNOBS if knob.name in there]
    flows = [
        Knob(name, _flow_title(name), switch=True) for name in there if name.startswith("flow_")
    ]
    spark = [Knob("spark_now", "Fire one spark", switch=True)] if "spark_now" in there else []
    return (*known, *spark, *flows)


def _flow_title(name: str) -> str:
    flow = name.removeprefix("flow_")
    return FLOW_TITLES.get(flow, flow.replace("_", " ").capitalize())


def turned(knob: Knob, value: float, steps: float, limits: tuple[float, float]) -> float:
    """The value after so many fine steps, held within its limits.

    A turn never leaves a switch between its ends.
    """
    if knob.switch:
        return limits[1] if steps > 0 else limits[0]
    moved = value * knob.step**steps if knob.ratio else value + knob.step * steps
    return min(max(moved, limits[0]), limits[1])


def knob_words(knob: Knob, value: float) -> str:
    """The value with its unit."""
    if knob.switch:
        return "on" if value > 0.5 else "off"
    if knob.name.endswith("_m"):
        return f"{signed(value * 1e3, 2)}{THIN}mm"
    if knob.name.endswith("_rad"):
        return f"{signed(math.degrees(value), 2)}°"
    if knob.name.endswith("_s"):
        return exposure(value)
    if knob.name == "shake":
        return f"{value:.1f}{THIN}px"
    return f"{value:.2f}{THIN}×"


class HandPanel(QWidget):
    """Two lines: what is turned (up and down change it) and a drum scale with the value."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._rig: RigHandle | None = None
        self._knobs: tuple[Knob, ...] = ()
        self._index = 0
        self._grip: float | None = None
        self._words = ""
        self.setAccessibleName("A hand on the simulated rig")
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setCursor(Qt.CursorShape.SizeHorCursor)
        self.setToolTip("Up and down choose, left and right turn, Shift turns faster")
        self.hide()

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def hold(self, rig: RigHandle | None) -> None:
        """Take another rig, or none."""
        self._rig = rig
        self._knobs = () if rig is None else knobs_for(rig)
        self._index = 0
        if rig is None:
            self.hide()
        self.update()

    @property
    def has_rig(self) -> bool:
        """True with the simulated rig."""
        return bool(self._knobs)

    @property
    def knob(self) -> Knob | None:
        """What is being turned."""
        return self._knobs[self._index] if self._knobs else None

    def choose(self, by: int) -> None:
        """Turn to the next or an earlier knob."""
        if self._knobs:
            self._index = (self._index + by) % len(self._knobs)
            self._words = ""
            self.update()

    def turn(self, steps: float) -> None:
        """Turn the present knob by fine steps."""
        rig, knob = self._rig, self.knob
        if rig is None or knob is None:
            return
        value, limits = rig.values()[knob.name], rig.limits()[knob.name]
        try:
            rig.set(knob.name, turned(knob, value, steps, limits))
            self._words = ""
        except BadRequest as error:
            self._words = str(error)
        self.update()

    def refresh(self) -> None:
        """The value may have changed by itself (auto exposure)."""
        if self.isVisible():
            self.update()

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        knob, rig, look = self.knob, self._rig, self._look
        if knob is None or rig is None:
            return
        p = QPainter(self)
        smooth(p)
        box = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        p.setPen(pen(COLOURS.line, look.line()))
        p.setBrush(COLOURS.ground)
        p.drawRoundedRect(box, look.px(1.5), look.px(1.5))
        value = rig.values()[knob.name]
        self._paint_head(p, box, knob, value)
        scale = box.adjusted(look.px(2), look.px(7.6), -look.px(2), -look.px(4.4))
        if knob.switch:
            self._paint_switch(p, scale, value > 0.5)
        else:
            self._paint_drum(p, scale, knob, value)
        self._paint_foot(p, box, knob)
        p.end()

    def _paint_head(self, p: QPainter, box: QRectF, knob: Knob, value: float) -> None:
        look = self._look
        line = box.adjusted(look.px(2), look.px(0.9), -look.px(2), 0)
        line.setHeight(look.px(3))
        middle = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        p.setFont(look.font(Type.BODY, Weight.FIRM))
        p.setPen(COLOURS.quiet)
        p.drawText(line, middle, knob.title)
        p.setFont(look.font(Type.LEAD, Weight.STRONG))
        p.setPen(COLOURS.text)
        p.drawText(line.translated(0, look.px(3.1)), middle, knob_words(knob, value))

    def _paint_foot(self, p: QPainter, box: QRectF, knob: Knob) -> None:
        look = self._look
        line = box.adjusted(look.px(2), 0, -look.px(2), -look.px(0.8))
        line.setTop(line.bottom() - look.px(3.2))
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.ember if self._words else COLOURS.quiet)
        verb = "\u2190 off   on \u2192" if knob.switch else "\u2190 turn \u2192"
        words = (
            self._words
            or f"{verb}    \u2191 choose \u2193    {self._index + 1} of {len(self._knobs)}"
        )
        p.drawText(line, int(Qt.AlignmentFlag.AlignCenter), words)

    def _paint_switch(self, p: QPainter, box: QRectF, on: bool) -> None:
        look = self._look
        radius = box.height() / 2
        track = QRectF(box.center().x() - radius * 2, box.top(), radius * 4, box.height())
        p.setPen(pen(COLOURS.tick, look.line(1.4)))
        p.setBrush(COLOURS.brass_dim if on else COLOURS.raised)
        p.drawRoundedRect(track, radius, radius)
        x = track.right() - radius if on else track.left() + radius
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.brass if on else COLOURS.tick)
        p.drawEllipse(QPointF(x, track.center().y()), radius * 0.72, radius * 0.72)

    def _paint_drum(self, p: QPainter, box: QRectF, knob: Knob, value: float) -> None:
        """A scale on a drum: it runs below a fixed index and foreshortens at the sides."""
        look = self._look
        shade = QLinearGradient(box.topLeft(), box.topRight())
        for at, colour in ((0.0, COLOURS.ground), (0.5, COLOURS.line), (1.0, COLOURS.ground)):
            shade.setColorAt(at, colour)
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(shade)
        p.drawRoundedRect(box, look.px(0.6), look.px(0.6))
        at = math.log(value) / math.log(knob.step) if knob.ratio else value / knob.step
        first = math.floor(at)
        for mark in range(first - 24, first + 26):
            turn = (mark - at) * math.pi / 44
            if abs(turn) >= math.pi / 2:
                continue
            x = box.center().x() + box.width() / 2 * math.sin(turn)
            long = mark % 10 == 0
            tall = box.height() * (0.62 if long else 0.44 if mark % 5 == 0 else 0.28)
            p.setPen(pen(faded(COLOURS.text, 0.25 + 0.65 * math.cos(turn)), look.line(1.2)))
            p.drawLine(QPointF(x, box.bottom()), QPointF(x, box.bottom() - tall))
        p.setPen(pen(COLOURS.brass, look.line(2.2)))
        x = box.center().x()
        p.drawLine(QPointF(x, box.top() - look.px(0.3)), QPointF(x, box.bottom()))

    # --- turning

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None:
            self._grip = event.position().x()

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None or self._grip is None:
            return
        moved = event.position().x() - self._grip
        steps = int(-moved / self._look.px(0.9))
        if steps:
            self.turn(steps)
            self._grip = event.position().x()

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        self._grip = None

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None:
            self.turn(event.angleDelta().y() / 120)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        super().keyPressEvent(event)
