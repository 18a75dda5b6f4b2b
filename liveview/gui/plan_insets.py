"""What is too small for the rig's drawing: the lamp's image at the blade, the camera's picture."""

from __future__ import annotations

import math
from collections.abc import Callable

from PyQt6.QtCore import QEvent, QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import (
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPolygonF,
    QResizeEvent,
)
from PyQt6.QtWidgets import QWidget

from liveview.gui import plan_ink as ink
from liveview.gui.paint import circle, pen, smooth, text_width
from liveview.gui.plan_fields import ValueField
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.model import Side
from liveview.optics.plan import Plan
from liveview.units import length_text, number_text

FieldMaker = Callable[[str, QWidget], ValueField]

OWN_KEYS = (
    *(Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down),
    *(Qt.Key.Key_Return, Qt.Key.Key_Enter),
)

HEAD_STEPS = 4.0
"""Height of an inset's heading."""


class Inset(QWidget):
    """A panel of the Plan page: heading, drawing, fields."""

    keys: tuple[str, ...] = ()
    title = ""

    def __init__(self, field: FieldMaker, parent: QWidget) -> None:
        super().__init__(parent)
        self.look = Look()
        self.plan: Plan | None = None
        self.stale = False
        self.fields = {key: field(key, self) for key in self.keys}
        self.setAccessibleName(self.title)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self.look = look
        for one in self.fields.values():
            one.set_look(look)
        self.arrange()

    def show_plan(self, plan: Plan) -> None:
        """Draw this rig."""
        self.plan, self.stale = plan, False
        self.arrange()
        self.update()

    def show_stale(self) -> None:
        """What is wanted cannot be built."""
        self.stale = True
        self.update()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.arrange()

    def event(self, event: QEvent | None) -> bool:
        """Arrow keys and Enter are the panel's own while it has the focus, not the page's."""
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.ShortcutOverride
            and event.key() in OWN_KEYS
            and event.modifiers() == Qt.KeyboardModifier.NoModifier
        ):
            event.accept()
            return True
        return super().event(event)

    def arrange(self) -> None:
        """Place the fields."""

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        middle = QPointF(0, self.look.px(HEAD_STEPS / 2))
        ink.small_text(
            p, self.look, middle, self.heading(), colour=COLOURS.brass, size=Type.BODY,
            weight=Weight.STRONG,
        )  # fmt: skip
        if self.hasFocus():
            font = self.look.font(Type.BODY, Weight.STRONG)
            below = self.look.px(HEAD_STEPS / 2 + 1.4)
            p.setPen(pen(COLOURS.brass, self.look.line(2.0)))
            p.drawLine(QPointF(0, below), QPointF(text_width(font, self.heading()), below))
        if self.plan is not None:
            p.setOpacity(0.3 if self.stale else 1.0)
            self.paint_plan(p, self.plan)
        p.end()

    def heading(self) -> str:
        """The words above."""
        return self.title

    def paint_plan(self, p: QPainter, plan: Plan) -> None:
        """Draw what the panel is for."""

    def label(self, p: QPainter, field: ValueField, before: str = "", after: str = "") -> None:
        """Words before and after a field."""
        box, gap = field.geometry(), self.look.px(0.5)
        y = box.y() + box.height() / 2
        if before:
            ink.small_text(p, self.look, QPointF(box.left() - gap, y), before, align=1.0)
        if after:
            ink.small_text(p, self.look, QPointF(box.right() + gap, y), after)


_TURNS = {Side.RIGHT: 0.0, Side.BOTTOM: 90.0, Side.LEFT: 180.0, Side.TOP: 270.0}
"""Degrees by which a blade from the right is turned."""

RADIUS_STEPS = 11.5
IMAGE_STEPS = 11.0
"""Width of the lamp's image as drawn."""


class BladeInset(Inset):
    """The lamp's image and the blade in it, as the camera's lens would see them.

    The blade's side is chosen by pressing there, or with the arrow keys.
    """

    keys = ("lamp.image_width_m", "blade.target_uncut")
    title = "Lamp image at the blade"

    side_chosen = pyqtSignal(object)
    shape_pressed = pyqtSignal()

    def __init__(self, field: FieldMaker, parent: QWidget) -> None:
        super().__init__(field, parent)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setToolTip(
            "Press an arrow: the blade's side; the middle: slit or round  (Tab, arrows)"
        )

    def centre(self) -> QPointF:
        """Middle of the magnified circle."""
        return QPointF(
            self.look.px(RADIUS_STEPS + 2.6), self.look.px(HEAD_STEPS + RADIUS_STEPS + 2.6)
        )

    def arrange(self) -> None:
        """See Inset."""
        look, centre = self.look, self.centre()
        x = centre.x() + look.px(RADIUS_STEPS + 4.0)
        y = centre.y() - look.px(7.6)
        self.fields["blade.target_uncut"].put_left(x, y)
        self.fields["lamp.image_width_m"].put_left(x, y + look.px(5.2))

    def paint_plan(self, p: QPainter, plan: Plan) -> None:
        """See Inset."""
        look, centre = self.look, self.centre()
        radius, width = look.px(RADIUS_STEPS), look.px(IMAGE_STEPS)
        side = plan.settings.blade.side
        window = QPainterPath()
        window.addEllipse(centre, radius, radius)
        p.save()
        p.setClipPath(window)
        p.fillRect(circle(centre, radius), faded(COLOURS.raised, 0.8))
        p.translate(centre)
        p.rotate(_TURNS[side])
        self._paint_image(p, plan, width, radius)
        p.restore()
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.line, look.line(1.6)))
        p.drawEllipse(centre, radius, radius)
        for one in Side:
            self._paint_side(p, one, one is side)
        self._paint_notes(p, plan)

    def _paint_image(self, p: QPainter, plan: Plan, width: float, radius: float) -> None:
        """With the blade coming from the right."""
        look, rig = self.look, plan.rig
        lamp = QPainterPath()
        if plan.settings.lamp.shape == "round":
            lamp.addEllipse(QPointF(0, 0), width / 2, width / 2)
        else:
            lamp.addRect(QRectF(-width / 2, -radius * 1.2, width, radius * 2.4))
        edge = width / 2 - self._cut(plan) * width
        p.fillPath(lamp, faded(COLOURS.text, 0.22))
        p.save()
        p.setClipRect(QRectF(-radius, -radius, radius + edge, 2 * radius), _INTERSECT)
        p.fillPath(lamp, COLOURS.text)
        p.restore()
        p.fillRect(QRectF(edge, -radius, 2 * radius, 2 * radius), faded(COLOURS.shade, 0.55))
        p.setPen(pen(COLOURS.shade, look.line(2.0)))
        p.drawLine(QPointF(edge, -radius), QPointF(edge, radius))
        shift = rig.arm_sum_m * plan.expected.flow.angle_rad / rig.image_width_m * width
        self._paint_shift(p, edge, min(shift, radius * 1.9))

    def _cut(self, plan: Plan) -> float:
        """Share of the image's width that is covered."""
        value = plan.figure("blade_position").value
        return 0.5 if value is None else value / plan.rig.image_width_m

    def _paint_shift(self, p: QPainter, edge: float, shift: float) -> None:
        """How far the expected flow moves the image, to either side of the edge."""
        look = self.look
        y = look.px(RADIUS_STEPS * 0.62)
        p.setPen(pen(COLOURS.brass, look.line(2.2)))
        p.drawLine(QPointF(edge - shift, y), QPointF(edge + shift, y))
        for x in (edge - shift, edge + shift):
            p.drawLine(QPointF(x, y - look.px(0.7)), QPointF(x, y + look.px(0.7)))

    def _side_at(self, side: Side) -> QPointF:
        x, y = side.normal
        reach = self.look.px(RADIUS_STEPS + 1.5)
        return self.centre() + QPointF(x * reach, y * reach)

    def _paint_side(self, p: QPainter, side: Side, chosen: bool) -> None:
        """A wedge that points inwards from each side."""
        look, at = self.look, self._side_at(side)
        x, y = side.normal
        size = look.px(0.95 if chosen else 0.6)
        tip = at - QPointF(x, y) * size
        foot = at + QPointF(x, y) * size
        across = QPointF(-y, x) * size
        p.setBrush(COLOURS.shade if chosen else Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.shade if chosen else COLOURS.tick, look.line(1.2)))
        p.drawPolygon(QPolygonF([tip, foot + across, foot - across]))

    def _paint_notes(self, p: QPainter, plan: Plan) -> None:
        look, unit = self.look, plan.settings.screen.length_unit
        self.label(p, self.fields["blade.target_uncut"], after="uncut")
        image = self.fields["lamp.image_width_m"]
        self.label(p, image, after="wide")
        x = image.x() + look.px(0.2)
        travel = plan.figure("travel_per_percent").value or 0.0
        axial = plan.figure("axial_tolerance").value or 0.0
        shift = plan.rig.arm_sum_m * plan.expected.flow.angle_rad
        rows = (
            (f"{number_text(travel * 1e6, 2)} \u00b5m", "travel for 1 %"),
            (f"\u00b1 {length_text(axial, unit, 2)}", "along the axis"),
            (f"\u00b1 {number_text(shift * 1e6, 2)} \u00b5m", "moved by flow"),
        )
        for (y, below), (figure, words) in zip(self.note_rows(), rows, strict=True):
            ink.small_text(p, look, QPointF(x, y), figure, colour=COLOURS.text, size=Type.BODY)
            ink.small_text(p, look, QPointF(x, below), words)

    def note_rows(self) -> list[tuple[float, float]]:
        """Middles of the three figures and of the words below each, pixels."""
        look, image = self.look, self.fields["lamp.image_width_m"]
        top = image.y() + image.height() / 2 + max(look.px(5.0), 2.0 * look.text_px)
        below, row = max(look.px(2.1), 1.1 * look.text_px), max(look.px(4.9), 2.35 * look.text_px)
        return [(top + k * row, top + k * row + below) for k in range(3)]

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """An arrow key brings the blade in from that side; Enter changes the lamp's shape."""
        if event is None:
            return
        if event.key() in _ARROWS:
            self.side_chosen.emit(_ARROWS[Qt.Key(event.key())])
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.shape_pressed.emit()
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        off = event.position() - self.centre()
        distance = math.hypot(off.x(), off.y())
        if distance < self.look.px(RADIUS_STEPS * 0.55):
            self.shape_pressed.emit()
        elif distance < self.look.px(RADIUS_STEPS + 3.5):
            self.side_chosen.emit(_nearest_side(off))


_ARROWS = {
    Qt.Key.Key_Left: Side.LEFT,
    Qt.Key.Key_Right: Side.RIGHT,
    Qt.Key.Key_Up: Side.TOP,
    Qt.Key.Key_Down: Side.BOTTOM,
}

_INTERSECT = Qt.ClipOperation.IntersectClip


def _nearest_side(off: QPointF) -> Side:
    return max(Side, key=lambda side: side.normal[0] * off.x() + side.normal[1] * off.y())


SENSOR_STEPS = (31.0, 20.0)


class CameraInset(Inset):
    """The picture as the camera will take it: sensor, disc, and the part that comes through."""

    keys = (
        "camera.sensor_width_m",
        "camera.sensor_height_m",
        "camera.width",
        "camera.height",
        "camera.exposure_s",
        "expect.speed_m_s",
    )
    title = "Camera picture"

    def _sensor(self) -> QRectF:
        look, left, top = self.look, self.look.px(0.2), self.look.px(HEAD_STEPS + 0.6)
        room_x, room_y = look.px(SENSOR_STEPS[0]), look.px(SENSOR_STEPS[1])
        if self.plan is None:
            return QRectF(left, top, room_x, room_y)
        cam = self.plan.settings.camera
        scale = min(room_x / cam.sensor_width_m, room_y / cam.sensor_height_m)
        return QRectF(left, top, cam.sensor_width_m * scale, cam.sensor_height_m * scale)

    def arrange(self) -> None:
        """See Inset."""
        look, box = self.look, self._sensor()
        fields = self.fields
        row = box.bottom() + look.px(2.0)
        fields["camera.sensor_width_m"].put(box.center().x(), row)
        fields["camera.sensor_height_m"].put_left(box.right() + look.px(2.6), box.center().y())
        row = self._first_row()
        fields["camera.width"].put_left(0, row)
        across = fields["camera.width"].width() + text_width(look.font(Type.SMALL), "\u00d7")
        fields["camera.height"].put_left(across + look.px(1.2), row)
        words = text_width(look.font(Type.SMALL), "exposure") + look.px(0.8)
        fields["camera.exposure_s"].put_left(words, row + look.px(3.2))
        words = text_width(look.font(Type.SMALL), "at")
        x = fields["camera.exposure_s"].geometry().right() + look.px(1.4) + words
        fields["expect.speed_m_s"].put_left(x, row + look.px(3.2))

    def _first_row(self) -> float:
        return self.look.px(HEAD_STEPS + SENSOR_STEPS[1] + 5.6)

    def paint_plan(self, p: QPainter, plan: Plan) -> None:
        """See Inset."""
        look, box = self.look, self._sensor()
        p.setPen(pen(COLOURS.tick, look.line(1.2)))
        p.setBrush(faded(COLOURS.raised, 0.9))
        p.drawRect(box)
        if plan.view is None:
            ink.small_text(
                p, look, box.center(), "no sharp picture", colour=COLOURS.ember, align=0.5
            )
        else:
            self._paint_disc(p, plan, box)
        y = self.fields["camera.sensor_width_m"].geometry().center().y()
        self._measure_line(p, QPointF(box.left(), y), QPointF(box.right(), y))
        x = box.right() + look.px(1.6)
        ink.dimension(p, look, QPointF(x, box.top()), QPointF(x, box.bottom()))
        self._paint_notes(p, plan)

    def _measure_line(self, p: QPainter, start: QPointF, end: QPointF) -> None:
        ink.dimension(p, self.look, start, end)

    def _paint_disc(self, p: QPainter, plan: Plan, box: QRectF) -> None:
        view, look = plan.view, self.look
        if view is None:
            return
        per_metre = box.width() / view.field_m[0]
        radius = plan.rig.mirror_diameter_m / 2 * per_metre
        clear = min(view.clear_diameter_m / 2 * per_metre, radius)
        p.save()
        p.setClipRect(box.adjusted(1, 1, -1, -1))
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(faded(COLOURS.text, 0.18))
        p.drawEllipse(box.center(), radius, radius)
        p.setBrush(faded(COLOURS.text, 0.55))
        p.drawEllipse(box.center(), clear, clear)
        p.restore()
        p.setBrush(Qt.BrushStyle.NoBrush)
        beyond = radius > min(box.width(), box.height()) / 2
        p.setPen(pen(COLOURS.ember if beyond else COLOURS.text, look.line(1.4)))
        p.save()
        p.setClipRect(box.adjusted(-look.px(1), -look.px(1), look.px(1), look.px(1)))
        p.drawEllipse(box.center(), radius, radius)
        p.restore()
        words = f"{number_text(view.disc_pixels, 3)} px"
        ink.small_text(
            p, look, box.center(), words, colour=COLOURS.ground, align=0.5, size=Type.BODY,
            weight=Weight.STRONG,
        )  # fmt: skip

    def _paint_notes(self, p: QPainter, plan: Plan) -> None:
        look, unit = self.look, plan.settings.screen.length_unit
        self.label(p, self.fields["camera.width"], after="\u00d7")
        pixel = plan.figure("object_pixel").value if plan.view is not None else None
        words = "px"
        if pixel is not None:
            words = f"px, {length_text(pixel, unit, 2)} at the object"
        self.label(p, self.fields["camera.height"], after=words)
        self.label(p, self.fields["camera.exposure_s"], before="exposure", after="at")
        smear = plan.figure("smear").value if plan.view is not None else None
        words = ""
        if smear is not None and pixel is not None:
            words = f"smears over {number_text(smear / pixel, 2)} px"
        self.label(p, self.fields["expect.speed_m_s"], after=words)
        y = self._first_row() + look.px(6.2)
        depth = plan.figure("depth").value if plan.view is not None else None
        if depth is not None:
            ink.small_text(
                p, look, QPointF(look.px(0.2), y),
                f"sharp to a pixel over \u00b1 {length_text(depth, unit, 2)}",
            )  # fmt: skip
