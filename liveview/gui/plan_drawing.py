"""The rig drawn to scale, with its numbers standing on the dimension lines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui import plan_ink as ink
from liveview.gui.paint import pen, smooth, text_width
from liveview.gui.plan_fields import ValueField
from liveview.gui.plan_sketch import Point, Sketch, sketch
from liveview.gui.theme import COLOURS, Look, Type, faded
from liveview.optics.plan import Plan
from liveview.units import METRES_PER_UNIT, number_text

GAP_STEPS = {"one mirror": 7.0, "two mirrors": 4.6, "lenses": 0.0}
"""How far apart lamp and blade are drawn."""

BESIDE_STEPS = {"one mirror": (26.0, 22.0), "two mirrors": (17.0, 22.0), "lenses": (19.0, 25.0)}
"""Room left and right of the rig for what is written there."""

BEHIND = "behind the blade"

LINES_STEPS = 6.6
"""Height of the lines about the camera, of text at scale 1."""

ABOVE_STEPS = {"one mirror": 6.6, "two mirrors": 8.4, "lenses": 6.6}
BELOW_STEPS = {"one mirror": 9.6, "two mirrors": 12.0, "lenses": 9.6}
"""Room for dimension lines over and under the rig; that of two mirrors has its scale below."""


@dataclass(frozen=True, slots=True)
class Handle:
    """Something that can be dragged along the axis: which setting it is, where it stands, and
    from where (metres) and in which direction its distance counts."""

    key: str
    at: QPointF
    origin_m: float
    way: int


@dataclass(frozen=True, slots=True)
class Span:
    """A dimension line along the axis. ``row`` counts from the rig outwards, negative above."""

    key: str
    label: str
    start_m: float
    end_m: float
    from_start: Point
    from_end: Point
    row: int


class RigDrawing(QWidget):
    """The rig from above or from the side.

    Parameters
    ----------
    field : callable
        Gives the field of a key; the drawing places it.
    """

    dragged = pyqtSignal(str, float)
    """A part was moved: its key and distance in metres."""

    def __init__(self, field: Callable[[str, QWidget], ValueField], parent: QWidget) -> None:
        super().__init__(parent)
        self._look = Look()
        self._plan: Plan | None = None
        self._sketch: Sketch | None = None
        self._stale = False
        self._scale = 1.0
        self._origin = QPointF()
        self._drag: Handle | None = None
        self._fields = {key: field(key, self) for key in _KEYS}
        self.setMouseTracking(True)
        self.setAccessibleName("Drawing of the rig")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for key, one in self._fields.items():
            one.set_look(look, Type.LEAD if key in _LARGE else Type.BODY)
        self._arrange()

    def show_plan(self, plan: Plan) -> None:
        """Draw this rig."""
        self._plan, self._stale = plan, False
        self._arrange()

    def show_stale(self) -> None:
        """What is wanted cannot be built: the last rig that could, faint."""
        self._stale = True
        self.update()

    @property
    def scale(self) -> float:
        """Pixels per metre."""
        return self._scale

    @property
    def sketched(self) -> Sketch | None:
        """What is drawn, in metres."""
        return self._sketch

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self._arrange()

    # --- where things are

    def _arrange(self) -> None:
        plan = self._plan
        if plan is None or self.width() < 10:
            return
        look, settings = self._look, plan.settings
        behind, side = settings.camera.distance_from_blade_m, settings.blade.side
        flat = sketch(plan.rig, behind, side, 0.0)
        gap = look.px(GAP_STEPS[plan.rig.kind])
        gaps = {"one mirror": 1.0, "two mirrors": 2.0, "lenses": 0.0}[plan.rig.kind] * gap
        beside = BESIDE_STEPS[plan.rig.kind]
        left, right = (look.px(steps) * look.text_scale for steps in beside)
        room_x = self.width() - left - right
        above = look.px(max(ABOVE_STEPS[plan.rig.kind], LINES_STEPS * look.text_scale))
        over_under = above + look.px(BELOW_STEPS[plan.rig.kind])
        room_y = self.height() - over_under - gaps
        tallest = max(glass.diameter_m for glass in flat.glasses)
        if self._drag is not None:
            self._keep_scale(plan)
            return
        self._scale = min(room_x / (flat.right - flat.left), room_y / tallest)
        self._sketch = sketch(plan.rig, behind, side, gap / self._scale)
        middle = (flat.left + flat.right) / 2.0
        free = self.height() - over_under
        self._origin = QPointF(left + room_x / 2 - middle * self._scale, above + free / 2)
        self._place_fields()
        self.update()

    def _keep_scale(self, plan: Plan) -> None:
        """While a part is dragged the paper does not move under it."""
        settings = plan.settings
        gap = self._look.px(GAP_STEPS[plan.rig.kind]) / self._scale
        behind = settings.camera.distance_from_blade_m
        self._sketch = sketch(plan.rig, behind, settings.blade.side, gap)
        self._place_fields()
        self.update()

    def _at(self, point: Point) -> QPointF:
        return QPointF(
            self._origin.x() + point[0] * self._scale, self._origin.y() - point[1] * self._scale
        )

    def _spans(self) -> list[Span]:
        plan, s = self._plan, self._sketch
        if plan is None or s is None:
            return []
        first, second = s.glasses[0].at, s.glasses[-1].at
        kind = "lens" if plan.rig.kind == "lenses" else "mirror"
        one = len(s.glasses) == 1
        lamp_row = 2 if plan.rig.kind == "lenses" else -1 if s.lamp[1] > 0 else 1
        blade_row = 2 if plan.rig.kind == "lenses" else -1 if s.blade[1] > 0 else 1
        if one:
            lamp_row, blade_row = 2 * lamp_row, 2 * blade_row
        if lamp_row == -2:
            lamp_row = -1
        if blade_row == -2:
            blade_row = -1
        return [
            Span(
                "rig.lamp_distance_m",
                f"lamp to {kind}" if one else f"lamp to first {kind}",
                s.lamp[0],
                first[0],
                s.lamp,
                first,
                lamp_row,
            ),
            Span(
                "blade.distance_m",
                f"blade to {kind}" if one else f"blade to second {kind}",
                s.blade[0],
                second[0],
                s.blade,
                second,
                blade_row,
            ),
            Span(
                "rig.object_distance_m",
                "object",
                s.object[0],
                second[0],
                s.object,
                second,
                2 if plan.rig.kind == "two mirrors" else 1,
            ),
        ]

    def _row_y(self, row: int) -> float:
        look = self._look
        s = self._sketch
        reach = 0.0 if s is None else s.half_height * self._scale
        if row < 0:
            return self._origin.y() - reach - look.px(1.2 + 3.6 * -row)
        return self._origin.y() + reach + look.px(0.6 + 3.6 * row)

    def _place_fields(self) -> None:
        for span in self._spans():
            field = self._fields[span.key]
            y = self._row_y(span.row)
            start, end = sorted((self._at((span.start_m, 0)).x(), self._at((span.end_m, 0)).x()))
            if self._fits(span):
                field.put(self._text_middle(span, (start + end) / 2, field), y)
            else:
                field.put_left(start - self._look.px(1.0) - field.width(), y)
        self._place_glass_fields()
        self._place_camera_fields()
        self._place_lamp_field()

    def _text_middle(self, span: Span, middle: float, field: ValueField) -> float:
        """Middle of the field where field and label together are centred on the line."""
        label = text_width(self._look.font(Type.SMALL), span.label) + self._look.px(0.8)
        return middle - label / 2

    def _fits(self, span: Span) -> bool:
        length = abs(span.end_m - span.start_m) * self._scale
        label = text_width(self._look.font(Type.SMALL), span.label)
        return length > self._fields[span.key].width() + label + self._look.px(5)

    def _place_glass_fields(self) -> None:
        s, look = self._sketch, self._look
        if s is None:
            return
        last = s.glasses[-1]
        at, half = self._at(last.at), last.diameter_m / 2 * self._scale
        lens = last.hollow == 0
        x = at.x() + look.px(5.2)
        if lens:
            top = self._at(last.at).y() - half - look.px(2.2)
            self._fields["rig.mirror_diameter_m"].put_left(at.x() + look.px(2.6), top)
            self._fields["rig.focal_length_m"].put_left(at.x() + look.px(16.0), top)
        else:
            self._fields["rig.mirror_diameter_m"].put_left(x, at.y() - look.px(2.1))
            self._fields["rig.focal_length_m"].put_left(x + look.px(1.6), at.y() + look.px(2.1))
        first = self._fields["rig.first_focal_length_m"]
        first.setVisible(len(s.glasses) == 2)
        if len(s.glasses) == 2:
            other = self._at(s.glasses[0].at)
            if lens:
                first.put_left(other.x() + look.px(3.6), other.y() - half - look.px(2.2))
            else:
                first.put_left(other.x() - look.px(3.0) - first.width(), other.y())

    def _camera_block(self) -> tuple[QPointF, float]:
        """Left end of the first line about the camera, and the step to the next line."""
        s, look = self._sketch, self._look
        if s is None:
            return QPointF(), 0.0
        front = self._at(s.camera)
        x = front.x() + look.px(1.0)
        if s.looks > 0:  # its words end before the blade, however large
            words = text_width(look.font(Type.SMALL), BEHIND) + look.px(2.0)
            wide = self._fields["camera.distance_from_blade_m"].width() + words
            x = min(front.x() - look.px(22.4), self._at(s.blade).x() - wide)
        up = s.blade_from if len(s.glasses) == 1 or s.glasses[0].hollow else 1
        first = front.y() - look.px(7.1) if up > 0 else front.y() + look.px(3.9)
        return QPointF(x, first), look.px(3.25)

    def _place_camera_fields(self) -> None:
        at, line = self._camera_block()
        look = self._look
        lens, stop = self._fields["camera.lens_focal_length_m"], self._fields["camera.f_number"]
        behind = self._fields["camera.distance_from_blade_m"]
        x = at.x() + text_width(look.font(Type.SMALL), "camera ") + look.px(0.4)
        lens.put_left(x, at.y())
        x += lens.width() + text_width(look.font(Type.SMALL), " f/") + look.px(0.6)
        stop.put_left(x, at.y())
        behind.put_left(at.x(), at.y() + line)

    def _place_lamp_field(self) -> None:
        s, look = self._sketch, self._look
        if s is None:
            return
        field, lamp = self._fields["lamp.width_m"], self._at(s.lamp)
        away = self._lamp_away(s)
        label = text_width(look.font(Type.SMALL), self._lamp_label()) + look.px(0.6)
        if away < 0:
            field.put_left(lamp.x() - look.px(4.0) - field.width(), lamp.y())
        else:
            field.put_left(lamp.x() + look.px(4.0) + label, lamp.y())

    def _lamp_away(self, s: Sketch) -> int:
        """Side on which the lamp's housing lies."""
        return 1 if s.lamp[0] > s.glasses[0].at[0] else -1

    def _lamp_label(self) -> str:
        return "slit" if self._plan is None else self._plan.settings.lamp.shape

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        if self._plan is not None and self._sketch is not None:
            p.setOpacity(0.3 if self._stale else 1.0)
            self._paint_axis(p, self._sketch)
            for outline in self._sketch.light:
                ink.light(p, self._look, [self._at(point) for point in outline])
            self._paint_parts(p, self._plan, self._sketch)
            for span in self._spans():
                self._paint_span(p, span)
            self._paint_words(p, self._plan, self._sketch)
        p.end()

    def _paint_axis(self, p: QPainter, s: Sketch) -> None:
        dashed = pen(COLOURS.line, self._look.line(1.0))
        dashed.setDashPattern([8.0, 4.0, 1.5, 4.0])
        p.setPen(dashed)
        first, last = self._at(s.glasses[0].at), self._at(s.glasses[-1].at)
        left = self._at((s.left, 0.0)) if len(s.glasses) == 1 else first
        if s.looks < 0:
            left, last = self._at((s.left, 0.0)), self._at((s.right, 0.0))
        p.drawLine(left, last)

    def _paint_parts(self, p: QPainter, plan: Plan, s: Sketch) -> None:
        look, scale = self._look, self._scale
        foot, half = self._at(s.object), plan.rig.object_field_m / 2 * scale
        if plan.rig.object_distance_m == 0.0:
            foot = QPointF(foot.x() - look.px(2.6), foot.y())
        ink.plume(p, look, QPointF(foot.x(), foot.y() + half), foot.y() - half * 0.8)
        for glass in s.glasses:
            at, tall = self._at(glass.at), glass.diameter_m / 2 * scale
            if glass.hollow:
                ink.mirror(p, look, at, tall, glass.hollow, 2 * glass.focal_length_m * scale)
            else:
                ink.lens(p, look, at, tall)
        ink.lamp(p, look, self._at(s.lamp), self._lamp_away(s))
        ink.camera(p, look, self._at(s.camera), s.looks)
        off = any(c.setting == "blade.distance" for c in plan.cautions)
        self._paint_image(p, s, off)
        ink.blade(p, look, self._at(s.blade), s.blade_from, wrong=off)

    def _paint_image(self, p: QPainter, s: Sketch, off: bool) -> None:
        """The lamp's image: a bright point, ringed where the blade misses it."""
        at = self._at(s.image)
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.text)
        p.drawEllipse(at, self._look.px(0.4), self._look.px(0.4))
        if off:
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.setPen(pen(COLOURS.ember, self._look.line(1.4)))
            p.drawEllipse(at, self._look.px(1.3), self._look.px(1.3))

    def _paint_span(self, p: QPainter, span: Span) -> None:
        look, y = self._look, self._row_y(span.row)
        start, end = (
            QPointF(self._at((span.start_m, 0)).x(), y),
            QPointF(self._at((span.end_m, 0)).x(), y),
        )
        for from_point, place in ((span.from_start, start), (span.from_end, end)):
            reach = look.px(0.8 if span.row > 0 else -0.8)
            begin = self._at(from_point)
            ink.extension(p, look, QPointF(place.x(), begin.y()), QPointF(place.x(), y + reach))
        ink.dimension(p, look, start, end)
        field = self._fields[span.key]
        label = QPointF(field.geometry().right() + look.px(0.8), y)
        if not self._fits(span):
            left = min(start.x(), end.x())
            label = QPointF(field.x() - look.px(0.6), y)
            ink.small_text(p, look, label, span.label, align=1.0)
            p.setPen(pen(COLOURS.tick, look.line(1.0)))
            p.drawLine(QPointF(field.geometry().right(), y), QPointF(left, y))
            return
        width = text_width(look.font(Type.SMALL), span.label)
        p.fillRect(
            QRectF(label.x() - look.px(0.8), y - look.px(1.2), width + look.px(1.6), look.px(2.4)),
            COLOURS.ground,
        )
        ink.small_text(p, look, label, span.label)

    def _paint_words(self, p: QPainter, plan: Plan, s: Sketch) -> None:
        look = self._look
        self._paint_glass_words(p, s)
        at, line = self._camera_block()
        ink.small_text(p, look, at, "camera")
        stop = self._fields["camera.f_number"]
        ink.small_text(p, look, QPointF(stop.x() - look.px(0.2), at.y()), "f/", align=1.0)
        behind = self._fields["camera.distance_from_blade_m"]
        x = behind.geometry().right() + look.px(0.6)
        ink.small_text(p, look, QPointF(x, at.y() + line), BEHIND)
        field, lamp = self._fields["lamp.width_m"], self._at(s.lamp)
        ink.small_text(
            p, look, QPointF(field.x() - look.px(0.4), lamp.y()), self._lamp_label(), align=1.0
        )
        self._paint_scale(p, plan, s)

    def _paint_glass_words(self, p: QPainter, s: Sketch) -> None:
        look = self._look
        diameter, focal = (
            self._fields["rig.mirror_diameter_m"],
            self._fields["rig.focal_length_m"],
        )
        first = self._fields["rig.first_focal_length_m"]
        last = s.glasses[-1]
        at, half = self._at(last.at), last.diameter_m / 2 * self._scale
        if last.hollow:
            x = at.x() + look.px(3.6)
            for y in (-half, half):
                ink.extension(
                    p, look, QPointF(at.x(), at.y() + y), QPointF(x + look.px(0.8), at.y() + y)
                )
            ink.dimension(p, look, QPointF(x, at.y() - half), QPointF(x, at.y() + half))
        else:
            self._say_before(p, diameter, "\u2300")
        self._say_before(p, focal, "f")
        if first.isVisibleTo(self):
            self._say_before(p, first, "f")

    def _say_before(self, p: QPainter, field: ValueField, text: str) -> None:
        at = QPointF(field.x() - self._look.px(0.4), field.y() + field.height() / 2)
        ink.small_text(p, self._look, at, text, align=1.0, size=Type.BODY)

    def _paint_scale(self, p: QPainter, plan: Plan, s: Sketch) -> None:
        """A bar of a round length, and from where the rig is seen."""
        look = self._look
        unit = plan.settings.screen.length_unit
        size = METRES_PER_UNIT[unit]
        wanted = look.px(14.0) / self._scale / size
        decade = 10.0 ** len(str(int(wanted))) / 10.0 if wanted >= 1.0 else 0.1
        length = max(k * decade for k in (1.0, 2.0, 5.0) if k * decade <= max(wanted, decade))
        right, y = self.width() - look.px(2.4), look.px(2.0)
        if plan.rig.kind == "two mirrors":  # its lamp is up there
            y = self.height() - look.px(1.0)
        left = right - length * size * self._scale
        p.setPen(pen(COLOURS.tick, look.line(1.4)))
        p.drawLine(QPointF(left, y), QPointF(right, y))
        for x in (left, right):
            p.drawLine(QPointF(x, y - look.px(0.6)), QPointF(x, y))
        view = "seen from above" if s.from_above else "seen from the side"
        words = f"{view}; distances and {'lenses' if s.looks < 0 else 'mirrors'} to scale"
        words += f"   {number_text(length)} {unit}"
        ink.small_text(
            p,
            look,
            QPointF(left - look.px(1.0), y - look.px(0.3)),
            words,
            align=1.0,
            colour=faded(COLOURS.quiet, 0.9),
        )

    # --- dragging

    def handles(self) -> list[Handle]:
        """What can be taken hold of."""
        s = self._sketch
        if s is None:
            return []
        first, second = s.glasses[0].at[0], s.glasses[-1].at[0]
        return [
            Handle("rig.object_distance_m", self._at(s.object), second, -1),
            Handle("blade.distance_m", self._at(s.blade), second, 1 if s.looks < 0 else -1),
            Handle("rig.lamp_distance_m", self._at(s.lamp), first, self._lamp_away(s)),
        ]

    def _under(self, place: QPointF) -> Handle | None:
        reach = self._look.px(2.4)
        for handle in self.handles():
            off = place - handle.at
            if abs(off.x()) <= reach and abs(off.y()) <= 2 * reach:
                return handle
        return None

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None:
            self._drag = self._under(event.position())
            self.setFocus()

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        if self._drag is None:
            over = self._under(event.position()) is not None
            shape = Qt.CursorShape.SizeHorCursor if over else Qt.CursorShape.ArrowCursor
            self.setCursor(shape)
            self.setToolTip("Draw it along, or write its distance" if over else "")
            return
        x = (event.position().x() - self._origin.x()) / self._scale
        distance = max((x - self._drag.origin_m) * self._drag.way, 0.0)
        self.dragged.emit(self._drag.key, float(f"{distance:.3g}"))

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        if self._drag is not None:
            self._drag = None
            self._arrange()


_LARGE = {"rig.mirror_diameter_m", "rig.focal_length_m"}
_KEYS = (
    "rig.lamp_distance_m",
    "rig.first_focal_length_m",
    "rig.object_distance_m",
    "rig.mirror_diameter_m",
    "rig.focal_length_m",
    "blade.distance_m",
    "lamp.width_m",
    "camera.lens_focal_length_m",
    "camera.f_number",
    "camera.distance_from_blade_m",
)
