"""The rig drawn to scale, with its numbers standing on the dimension lines."""

from __future__ import annotations

from collections.abc import Callable

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui import plan_ink as ink
from liveview.gui.paint import pen, smooth, text_width
from liveview.gui.plan_fields import ValueField
from liveview.gui.plan_paper import (
    Handle,
    Paper,
    Span,
    fitting,
    handles,
    lamp_away,
    same_scale,
    spans,
)
from liveview.gui.plan_sketch import Sketch
from liveview.gui.theme import COLOURS, Look, Type, faded
from liveview.optics.plan import Plan
from liveview.units import METRES_PER_UNIT, number_text

BEHIND = "behind the blade"


class RigDrawing(QWidget):
    """The rig from above or from the side.

    Parameters
    ----------
    field : callable
        Gives the field of a key; the drawing places it.
    """

    dragged = pyqtSignal(str, float)
    """A part was moved: its key and distance in metres."""
    let_go = pyqtSignal()
    """The drag is over."""

    def __init__(self, field: Callable[[str, QWidget], ValueField], parent: QWidget) -> None:
        super().__init__(parent)
        self._look = Look()
        self._plan: Plan | None = None
        self._paper: Paper | None = None
        self._stale = False
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
        """Pixels per metre; 1.0 before anything is drawn."""
        return 1.0 if self._paper is None else self._paper.scale

    @property
    def sketched(self) -> Sketch | None:
        """What is drawn, in metres."""
        return None if self._paper is None else self._paper.sketch

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self._arrange()

    # --- where things are

    def _arrange(self) -> None:
        plan = self._plan
        if plan is None or self.width() < 10:
            return
        if self._drag is not None and self._paper is not None:
            self._paper = same_scale(self._paper, plan, self._look)
        else:
            self._paper = fitting(plan, self._look, self.width(), self.height())
        self._place_fields(plan, self._paper)
        self.update()

    def _place_fields(self, plan: Plan, paper: Paper) -> None:
        for span in spans(plan, paper.sketch):
            field = self._fields[span.key]
            y = paper.row_y(span.row, self._look)
            start, end = sorted((paper.at(span.start).x(), paper.at(span.end).x()))
            if self._fits(span, paper):
                field.put(self._text_middle(span, (start + end) / 2, field), y)
            else:
                field.put_left(start - self._look.px(1.0) - field.width(), y)
        self._place_glass_fields(paper)
        self._place_camera_fields(paper)
        self._place_lamp_field(plan, paper)

    def _text_middle(self, span: Span, middle: float, field: ValueField) -> float:
        """Middle of the field where field and label together are centred on the line."""
        label = text_width(self._look.font(Type.SMALL), span.label) + self._look.px(0.8)
        return middle - label / 2

    def _fits(self, span: Span, paper: Paper) -> bool:
        length = span.length_m * paper.scale
        label = text_width(self._look.font(Type.SMALL), span.label)
        return length > self._fields[span.key].width() + label + self._look.px(5)

    def _place_glass_fields(self, paper: Paper) -> None:
        s, look = paper.sketch, self._look
        last = s.glasses[-1]
        at, half = paper.at(last.at), last.diameter_m / 2 * paper.scale
        lens = last.hollow == 0
        x = at.x() + look.px(5.2)
        if lens:
            top = paper.at(last.at).y() - half - look.px(2.2)
            self._fields["rig.mirror_diameter_m"].put_left(at.x() + look.px(2.6), top)
            self._fields["rig.focal_length_m"].put_left(at.x() + look.px(16.0), top)
        else:
            self._fields["rig.mirror_diameter_m"].put_left(x, at.y() - look.px(2.1))
            self._fields["rig.focal_length_m"].put_left(x + look.px(1.6), at.y() + look.px(2.1))
        first = self._fields["rig.first_focal_length_m"]
        first.setVisible(len(s.glasses) == 2)
        if len(s.glasses) == 2:
            other = paper.at(s.glasses[0].at)
            if lens:
                first.put_left(other.x() + look.px(3.6), other.y() - half - look.px(2.2))
            else:
                first.put_left(other.x() - look.px(3.0) - first.width(), other.y())

    def _camera_block(self, paper: Paper) -> tuple[QPointF, float]:
        """Left end of the first line about the camera, and the step to the next line."""
        s, look = paper.sketch, self._look
        front = paper.at(s.camera)
        x = front.x() + look.px(1.0)
        if s.looks > 0:  # its words end before the blade, however large
            words = text_width(look.font(Type.SMALL), BEHIND) + look.px(2.0)
            wide = self._fields["camera.distance_from_blade_m"].width() + words
            x = min(front.x() - look.px(22.4), paper.at(s.blade).x() - wide)
        up = s.blade_from if len(s.glasses) == 1 or s.glasses[0].hollow else 1
        first = front.y() - look.px(7.1) if up > 0 else front.y() + look.px(3.9)
        return QPointF(x, first), look.px(3.25)

    def _place_camera_fields(self, paper: Paper) -> None:
        at, line = self._camera_block(paper)
        look = self._look
        lens, stop = self._fields["camera.lens_focal_length_m"], self._fields["camera.f_number"]
        behind = self._fields["camera.distance_from_blade_m"]
        x = at.x() + text_width(look.font(Type.SMALL), "camera ") + look.px(0.4)
        lens.put_left(x, at.y())
        x += lens.width() + text_width(look.font(Type.SMALL), " f/") + look.px(0.6)
        stop.put_left(x, at.y())
        behind.put_left(at.x(), at.y() + line)

    def _place_lamp_field(self, plan: Plan, paper: Paper) -> None:
        look, field = self._look, self._fields["lamp.width_m"]
        lamp = paper.at(paper.sketch.lamp)
        label = text_width(look.font(Type.SMALL), plan.settings.lamp.shape) + look.px(0.6)
        if lamp_away(paper.sketch) < 0:
            field.put_left(lamp.x() - look.px(4.0) - field.width(), lamp.y())
        else:
            field.put_left(lamp.x() + look.px(4.0) + label, lamp.y())

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        plan, paper = self._plan, self._paper
        if plan is not None and paper is not None:
            p.setOpacity(0.3 if self._stale else 1.0)
            self._paint_axis(p, paper)
            for outline in paper.sketch.light:
                ink.light(p, self._look, [paper.at(point) for point in outline])
            self._paint_parts(p, plan, paper)
            for span in spans(plan, paper.sketch):
                self._paint_span(p, span, paper)
            self._paint_words(p, plan, paper)
        p.end()

    def _paint_axis(self, p: QPainter, paper: Paper) -> None:
        s = paper.sketch
        dashed = pen(COLOURS.line, self._look.line(1.0))
        dashed.setDashPattern([8.0, 4.0, 1.5, 4.0])
        p.setPen(dashed)
        first, last = paper.at(s.glasses[0].at), paper.at(s.glasses[-1].at)
        left = paper.at((s.left, 0.0)) if len(s.glasses) == 1 else first
        if s.looks < 0:
            left, last = paper.at((s.left, 0.0)), paper.at((s.right, 0.0))
        p.drawLine(left, last)

    def _paint_parts(self, p: QPainter, plan: Plan, paper: Paper) -> None:
        s, look, scale = paper.sketch, self._look, paper.scale
        foot, half = paper.at(s.object), plan.rig.object_field_m / 2 * scale
        if plan.rig.object_distance_m == 0.0:
            foot = QPointF(foot.x() - look.px(2.6), foot.y())
        ink.plume(p, look, QPointF(foot.x(), foot.y() + half), foot.y() - half * 0.8)
        for glass in s.glasses:
            at, tall = paper.at(glass.at), glass.diameter_m / 2 * scale
            if glass.hollow:
                ink.mirror(p, look, at, tall, glass.hollow, 2 * glass.focal_length_m * scale)
            else:
                ink.lens(p, look, at, tall)
        ink.lamp(p, look, paper.at(s.lamp), lamp_away(s))
        ink.camera(p, look, paper.at(s.camera), s.looks)
        off = any(c.setting == "blade.distance" for c in plan.cautions)
        self._paint_image(p, paper.at(s.image), off)
        ink.blade(p, look, paper.at(s.blade), s.blade_from, wrong=off)

    def _paint_image(self, p: QPainter, at: QPointF, off: bool) -> None:
        """The lamp's image: a bright point, ringed where the blade misses it."""
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.text)
        p.drawEllipse(at, self._look.px(0.4), self._look.px(0.4))
        if off:
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.setPen(pen(COLOURS.ember, self._look.line(1.4)))
            p.drawEllipse(at, self._look.px(1.3), self._look.px(1.3))

    def _paint_span(self, p: QPainter, span: Span, paper: Paper) -> None:
        look, y = self._look, paper.row_y(span.row, self._look)
        start, end = (QPointF(paper.at(point).x(), y) for point in (span.start, span.end))
        reach = look.px(0.8 if span.row > 0 else -0.8)
        for point in (span.start, span.end):
            begin = paper.at(point)
            ink.extension(p, look, begin, QPointF(begin.x(), y + reach))
        ink.dimension(p, look, start, end)
        field = self._fields[span.key]
        label = QPointF(field.geometry().right() + look.px(0.8), y)
        if not self._fits(span, paper):
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

    def _paint_words(self, p: QPainter, plan: Plan, paper: Paper) -> None:
        look = self._look
        self._paint_glass_words(p, paper)
        at, line = self._camera_block(paper)
        ink.small_text(p, look, at, "camera")
        stop = self._fields["camera.f_number"]
        ink.small_text(p, look, QPointF(stop.x() - look.px(0.2), at.y()), "f/", align=1.0)
        behind = self._fields["camera.distance_from_blade_m"]
        x = behind.geometry().right() + look.px(0.6)
        ink.small_text(p, look, QPointF(x, at.y() + line), BEHIND)
        field, lamp = self._fields["lamp.width_m"], paper.at(paper.sketch.lamp)
        before = QPointF(field.x() - look.px(0.4), lamp.y())
        ink.small_text(p, look, before, plan.settings.lamp.shape, align=1.0)
        self._paint_scale(p, plan, paper)

    def _paint_glass_words(self, p: QPainter, paper: Paper) -> None:
        s, look = paper.sketch, self._look
        diameter, focal = (
            self._fields["rig.mirror_diameter_m"],
            self._fields["rig.focal_length_m"],
        )
        first = self._fields["rig.first_focal_length_m"]
        last = s.glasses[-1]
        at, half = paper.at(last.at), last.diameter_m / 2 * paper.scale
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

    def _paint_scale(self, p: QPainter, plan: Plan, paper: Paper) -> None:
        """A bar of a round length, and from where the rig is seen."""
        s, look = paper.sketch, self._look
        unit = plan.settings.screen.length_unit
        size = METRES_PER_UNIT[unit]
        wanted = look.px(14.0) / paper.scale / size
        decade = 10.0 ** len(str(int(wanted))) / 10.0 if wanted >= 1.0 else 0.1
        length = max(k * decade for k in (1.0, 2.0, 5.0) if k * decade <= max(wanted, decade))
        right, y = self.width() - look.px(2.4), look.px(2.0)
        if plan.rig.kind == "two mirrors":  # its lamp is up there
            y = self.height() - look.px(1.0)
        left = right - length * size * paper.scale
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
        return [] if self._paper is None else handles(self._paper)

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
        if self._drag is None or self._paper is None:
            over = self._under(event.position()) is not None
            shape = Qt.CursorShape.SizeHorCursor if over else Qt.CursorShape.ArrowCursor
            self.setCursor(shape)
            self.setToolTip("Draw it along, or write its distance" if over else "")
            return
        x = (event.position().x() - self._paper.x) / self._paper.scale
        distance = max((x - self._drag.origin_m) * self._drag.way, 0.0)
        self.dragged.emit(self._drag.key, float(f"{distance:.3g}"))

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        if self._drag is not None:
            self._drag = None
            self._arrange()
            self.let_go.emit()


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
