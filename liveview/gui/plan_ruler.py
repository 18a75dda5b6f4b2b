"""What will be seen: a ruler of angles with the rig's noise and range, and flows that have a name.

One logarithmic ruler of arcseconds runs across the panel. The stretch from what an eye accepts to
where the range ends is bright: a flow whose sign lies in it is seen whole at this cut.
"""

from __future__ import annotations

import math

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QMouseEvent, QPainter
from PyQt6.QtWidgets import QWidget

from liveview.gui import plan_ink as ink
from liveview.gui.paint import pen, polygon, text_width
from liveview.gui.plan_insets import HEAD_STEPS, FieldMaker, Inset
from liveview.gui.theme import COLOURS, Type, Weight, faded
from liveview.optics.deflection import SEEN_BY_EYE
from liveview.optics.plan import Plan
from liveview.optics.visibility import Verdict, Visibility, verdict_words, whole_words
from liveview.units import number_text, rad_to_arcsec

LEAST, MOST = 0.05, 500.0
"""Ends of the ruler, arcseconds."""

NAME_STEPS = 25.5
FIGURE_STEPS = 8.5
ROW_STEPS = 2.55
SCALE_STEPS = 3.4


SNR_WORDS, FRAMES_WORDS = "open picture over its noise", "frames averaged"


TIP = "Press the flow that is expected  (Tab, \u2191 \u2193)"


def reason_words(seen: Visibility) -> str:
    """What its sign means, for the tool tip."""
    if seen.verdict is Verdict.PERHAPS and seen.below_diffraction:
        return (
            f"{seen.flow.name}: perhaps. It bends light enough to be seen, but by less than "
            "diffraction spreads light from something of its size: no figure can be promised."
        )
    return f"{seen.flow.name}: {verdict_words(seen)}"


class Ruler(Inset):
    """The ruler of angles; a press on a row, or the up and down keys, choose the expected flow."""

    keys = ("expect.open_snr", "enhance.average_frames")
    title = "What will be seen"

    flow_chosen = pyqtSignal(str)

    def __init__(self, field: FieldMaker, parent: QWidget) -> None:
        super().__init__(field, parent)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setMouseTracking(True)
        self.setToolTip(TIP)

    def heading(self) -> str:
        """With the uncut fraction it is for."""
        if self.plan is None:
            return self.title
        uncut = number_text(self.plan.settings.blade.target_uncut * 100.0, 3)
        return f"{self.title} with {uncut} % uncut"

    def _lane(self) -> QRectF:
        """The ruler's box: rows of flows below, its scale above."""
        look = self.look
        font = look.font(Type.SMALL, Weight.STRONG)
        flows = () if self.plan is None else self.plan.flows
        longest = max((text_width(font, seen.flow.name) for seen in flows), default=0.0)
        left = max(look.px(NAME_STEPS), longest + look.px(1.8))
        top = look.px(HEAD_STEPS + SCALE_STEPS)
        rows = 10 if self.plan is None else len(self.plan.flows)
        right = self.width() - look.px(FIGURE_STEPS)
        return QRectF(left, top, right - left, look.px(ROW_STEPS * rows))

    def x_of(self, arcsec: float) -> float:
        """Place of an angle on the ruler, kept on it."""
        lane = self._lane()
        share = math.log(max(arcsec, LEAST) / LEAST) / math.log(MOST / LEAST)
        return lane.left() + min(share, 1.0) * lane.width()

    def arrange(self) -> None:
        """See Inset."""
        look = self.look
        y = self._lane().bottom() + look.px(5.2)
        snr, frames = self.fields["expect.open_snr"], self.fields["enhance.average_frames"]
        font = look.font(Type.SMALL)
        snr.put_left(text_width(font, SNR_WORDS) + look.px(1.4), y)
        start = snr.x() + snr.width() + look.px(3.0)
        frames.put_left(start + text_width(font, FRAMES_WORDS), y)

    def paint_plan(self, p: QPainter, plan: Plan) -> None:
        """See Inset."""
        self._paint_bands(p, plan)
        self._paint_scale(p)
        for k, seen in enumerate(plan.flows):
            self._paint_flow(p, seen, k, seen is plan.expected)
        self._paint_legend(p)
        self.label(p, self.fields["expect.open_snr"], before=SNR_WORDS)
        words = whole_words(plan.expected)
        look, y = self.look, self._lane().bottom() + self.look.px(5.2)
        right = QPointF(self.width() - look.px(0.8), y)
        ink.small_text(p, look, right, words, colour=COLOURS.text, align=1.0)
        self.label(p, self.fields["enhance.average_frames"], before=FRAMES_WORDS)

    def ends(self, plan: Plan) -> tuple[float, float, float]:
        """Noise, what an eye accepts, and the nearer end of the range, arcseconds."""
        noise = rad_to_arcsec(plan.figure("noise_angle").value or 0.0)
        dark = abs(plan.figure("range_dark").value or 0.0)
        bright = plan.figure("range_bright").value or 0.0
        return noise, SEEN_BY_EYE * noise, rad_to_arcsec(min(dark, bright))

    def _paint_bands(self, p: QPainter, plan: Plan) -> None:
        lane, look = self._lane(), self.look
        noise, seen, end = self.ends(plan)
        marks = [lane.left(), self.x_of(noise), self.x_of(seen), self.x_of(end), lane.right()]
        p.setPen(Qt.PenStyle.NoPen)
        fills = (
            faded(COLOURS.raised, 0.55),
            faded(COLOURS.brass_dim, 0.25),
            faded(COLOURS.brass, 0.34),
            faded(COLOURS.raised, 0.55),
        )
        for fill, left, right in zip(fills, marks, marks[1:], strict=False):
            if right > left:
                p.fillRect(QRectF(left, lane.top(), right - left, lane.height()), fill)
        self._hatch(p, QRectF(marks[3], lane.top(), marks[4] - marks[3], lane.height()))
        for arcsec, words, align in (
            (noise, "noise", 1.0),
            (seen, "seen", 0.0),
            (end, "range", 0.0),
        ):
            x = self.x_of(arcsec)
            p.setPen(pen(COLOURS.brass, look.line(1.4)))
            p.drawLine(QPointF(x, lane.top()), QPointF(x, lane.bottom() + look.px(2.4)))
            text = f"{words} {number_text(arcsec, 2)}\u2033"
            aside = look.px(0.6) * (1.0 - 2.0 * align)
            below = QPointF(x + aside, lane.bottom() + look.px(1.6))
            ink.small_text(p, look, below, text, align=align)

    def _hatch(self, p: QPainter, box: QRectF) -> None:
        if box.width() <= 1:
            return
        p.save()
        p.setClipRect(box)
        p.setPen(pen(COLOURS.line, self.look.line(1.0)))
        step, x = self.look.px(1.1), box.left() - box.height()
        while x < box.right():
            p.drawLine(QPointF(x, box.bottom()), QPointF(x + box.height(), box.top()))
            x += step
        p.restore()

    def _paint_scale(self, p: QPainter) -> None:
        lane, look = self._lane(), self.look
        font = look.font(Type.SMALL)
        free = self.width() - look.px(1.6) - text_width(font, "contrast")
        for arcsec in (0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0):
            x = self.x_of(arcsec)
            p.setPen(pen(COLOURS.tick, look.line(1.0)))
            p.drawLine(QPointF(x, lane.top() - look.px(0.8)), QPointF(x, lane.top()))
            at = QPointF(x, lane.top() - look.px(1.9))
            words = f"{arcsec:g}\u2033"
            if x + text_width(font, words) / 2 < free:
                ink.small_text(p, look, at, words, align=0.5)
        right = QPointF(self.width() - look.px(0.8), lane.top() - look.px(1.9))
        ink.small_text(p, look, right, "contrast", align=1.0)
        left = QPointF(look.px(0.8), right.y())
        ink.small_text(p, look, left, "bends light by")

    def _paint_flow(self, p: QPainter, seen: Visibility, row: int, expected: bool) -> None:
        lane, look = self._lane(), self.look
        y = lane.top() + look.px(ROW_STEPS * (row + 0.5))
        colour = COLOURS.text if expected else COLOURS.quiet
        if expected:
            box = QRectF(0, y - look.px(ROW_STEPS / 2), self.width(), look.px(ROW_STEPS))
            p.setPen(pen(COLOURS.brass, look.line(1.2)))
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.drawRoundedRect(box.adjusted(1, 0, -1, 0), look.px(0.5), look.px(0.5))
        weight = Weight.STRONG if expected else Weight.PLAIN
        ink.small_text(
            p, look, QPointF(look.px(0.8), y), seen.flow.name, colour=colour, weight=weight
        )
        self._paint_sign(p, QPointF(self.x_of(rad_to_arcsec(seen.flow.angle_rad)), y), seen.verdict)
        contrast = f"{number_text(seen.contrast * 100.0, 2)} %"
        right = QPointF(self.width() - look.px(0.8), y)
        ink.small_text(p, look, right, contrast, colour=colour, align=1.0, weight=weight)

    def _paint_sign(self, p: QPainter, at: QPointF, verdict: Verdict) -> None:
        """Full disc: seen. Half: perhaps. Ring: not seen. Square: beyond the range."""
        look, r = self.look, self.look.px(0.75)
        p.setPen(pen(COLOURS.text, look.line(1.4)))
        p.setBrush(COLOURS.ground)
        if verdict is Verdict.BEYOND:
            p.setBrush(COLOURS.text)
            x, y, s = at.x(), at.y(), r * 0.85
            p.drawPolygon(polygon([(x - s, y - s), (x + s, y - s), (x + s, y + s), (x - s, y + s)]))
            return
        p.setBrush(COLOURS.text if verdict is Verdict.YES else COLOURS.ground)
        p.drawEllipse(at, r, r)
        if verdict is Verdict.PERHAPS:
            p.setBrush(COLOURS.text)
            p.drawPie(QRectF(at.x() - r, at.y() - r, 2 * r, 2 * r), -90 * 16, 180 * 16)

    def _paint_legend(self, p: QPainter) -> None:
        look = self.look
        x, y = look.px(1.2), self._lane().bottom() + look.px(8.6)
        for verdict, words in (
            (Verdict.YES, "seen"),
            (Verdict.PERHAPS, "perhaps: faint, or diffraction"),
            (Verdict.NO, "lost in the noise"),
            (Verdict.BEYOND, "beyond the range"),
        ):
            self._paint_sign(p, QPointF(x, y), verdict)
            x += look.px(1.6) + ink.small_text(
                p, look, QPointF(x + look.px(1.4), y), words, size=Type.SMALL
            )
            x += look.px(2.2)

    def flow_at(self, y: float) -> Visibility | None:
        """The flow whose row is at this height."""
        flows = () if self.plan is None else self.plan.flows
        row = math.floor((y - self._lane().top()) / self.look.px(ROW_STEPS))
        return flows[row] if 0 <= row < len(flows) else None

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        seen = None if event is None else self.flow_at(event.position().y())
        self.setToolTip(TIP if seen is None else f"{reason_words(seen)}\n{TIP}")

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        seen = None if event is None else self.flow_at(event.position().y())
        if seen is not None:
            self.flow_chosen.emit(seen.flow.name)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Up and down choose the flow before or after."""
        steps = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}
        if event is None or self.plan is None:
            return
        if event.key() not in steps:
            super().keyPressEvent(event)
            return
        flows = self.plan.flows
        row = flows.index(self.plan.expected) + steps[Qt.Key(event.key())]
        if 0 <= row < len(flows):
            self.flow_chosen.emit(flows[row].flow.name)
