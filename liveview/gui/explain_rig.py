"""The rig of the explaining drawing: its light from the lamp to the camera, past the blade.

Distances along the axis keep their proportions; across it everything is stretched so that it shows.
"""

from __future__ import annotations

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPolygonF

from liveview.gui import plan_ink as ink
from liveview.gui.explain_model import Air, Moment, RigNow
from liveview.gui.paint import pen
from liveview.gui.plan_sketch import Glass, Sketch, sketch
from liveview.gui.theme import COLOURS, Look, faded

IMAGE_SHARE = 0.17
"""Width of the lamp's image in the drawing, of the drawing's height."""


class _Paper:
    """Metres of a sketch to pixels, x and y each with a scale of its own."""

    def __init__(self, s: Sketch, box: QRectF, look: Look) -> None:
        self.look = look
        first_is_left = s.looks > 0
        left = box.left() + look.px(7.4 if first_is_left else 3.8)
        right = box.right() - look.px(3.0 if first_is_left else 7.4)
        self._x = (right - left) / (s.right - s.left)
        room = box.height() / 2
        glass = max(glass.diameter_m for glass in s.glasses) / 2
        needs = [(glass, 1.4), (abs(s.image[1]), 4.2), (abs(s.lamp[1]), 3.6)]
        self._y = min((room - look.px(over)) / high for high, over in needs if high > 0)
        self._left, self._least = left, s.left
        self._middle = box.center().y()

    def at(self, x: float, y: float) -> QPointF:
        """Pixels of a point in metres."""
        return QPointF(self._left + (x - self._least) * self._x, self._middle - y * self._y)

    def tall(self, metres: float) -> float:
        """A height in pixels."""
        return metres * self._y


def _sketch(rig: RigNow) -> Sketch:
    """The rig laid out with lamp, blade and camera far enough apart to be seen."""
    diameter = rig.rig.mirror_diameter_m
    gap = {"one mirror": 0.72, "two mirrors": 0.3, "lenses": 0.0}[rig.rig.kind] * diameter
    return sketch(rig.rig, 0.2 * rig.rig.blade_distance_m, rig.side, gap)


def paint_rig(p: QPainter, box: QRectF, look: Look, rig: RigNow, now: Moment) -> None:
    """Lamp, glass, air, blade and camera, and the light between them, in ``box``."""
    s = _sketch(rig)
    paper = _Paper(s, box, look)
    _cones(p, paper, s)
    wide = IMAGE_SHARE * box.height()
    for place in now.places:
        _bundle(p, paper, s, rig, now, place, wide)
    _parts(p, paper, s, look, now.air)
    image = paper.at(*s.image)
    tip = QPointF(image.x(), image.y() - s.blade_from * (0.5 - now.cut) * wide)
    p.save()
    p.setClipRect(box)
    ink.blade(p, look, tip, s.blade_from)
    p.restore()
    _names(p, paper, s, box, tip)


def _cones(p: QPainter, paper: _Paper, s: Sketch) -> None:
    """All the light, faint, from the lamp to the camera."""
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(faded(COLOURS.brass, 0.07))
    for outline in s.light:
        p.drawPolygon(QPolygonF([paper.at(*point) for point in outline]))


def _bundle(
    p: QPainter,
    paper: _Paper,
    s: Sketch,
    rig: RigNow,
    now: Moment,
    place: float,
    wide: float,
) -> None:
    """Light that reaches the lamp's image from one point of the mirror, cut by the blade."""
    last, up = s.glasses[-1], s.blade_from
    height = place * last.diameter_m / 2.0 * up
    start = paper.at(last.at[0], last.at[1] + height)
    _before(p, paper, s, height)
    image = paper.at(*s.image)
    end = paper.at(*s.camera)
    shift = now.air.shift_at(place)
    edge = 0.5 - now.cut

    def beside(q: float) -> QPointF:
        """A place in the lamp's image."""
        return QPointF(image.x(), image.y() - up * q * wide)

    low, high = -0.5 - shift, 0.5 - shift
    stop = min(max(edge, low), high)
    _sheaf(p, start, beside(low), beside(stop), faded(COLOURS.brass, 0.5))
    _sheaf(p, start, beside(stop), beside(high), faded(COLOURS.shade, 0.34))
    if stop > low:
        beyond = [_beyond(start, beside(q), end.x()) for q in (low, stop)]
        p.setBrush(faded(COLOURS.brass, 0.5))
        p.drawPolygon(QPolygonF([beside(low), beside(stop), beyond[1], beyond[0]]))
    if shift != 0.0:
        quiet = pen(faded(COLOURS.quiet, 0.6), paper.look.line(0.9))
        quiet.setDashPattern([3.0, 3.0])
        p.setPen(quiet)
        p.drawLine(start, image)


def _before(p: QPainter, paper: _Paper, s: Sketch, height: float) -> None:
    """The same light on its way from the lamp."""
    p.setPen(pen(faded(COLOURS.brass, 0.55), paper.look.line(1.1)))
    points = [paper.at(*s.lamp)]
    points += [paper.at(glass.at[0], glass.at[1] + height) for glass in s.glasses]
    p.drawPolyline(QPolygonF(points))


def _sheaf(p: QPainter, start: QPointF, one: QPointF, other: QPointF, colour: QColor) -> None:
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(colour)
    p.drawPolygon(QPolygonF([start, one, other]))


def _beyond(start: QPointF, via: QPointF, x: float) -> QPointF:
    """Where the ray is when it reaches ``x``."""
    along = (x - via.x()) / (via.x() - start.x())
    return via + (via - start) * along


def _parts(p: QPainter, paper: _Paper, s: Sketch, look: Look, air: Air) -> None:
    for glass in s.glasses:
        _glass(p, paper, look, glass)
    foot = paper.at(*s.object)
    reach = paper.tall(s.glasses[-1].diameter_m / 2)
    if s.object[0] == s.glasses[-1].at[0]:
        foot -= QPointF(look.px(2.2) * s.looks, 0)
    _air(p, look, foot, reach, air)
    ink.lamp(p, look, paper.at(*s.lamp), 1 if s.lamp[0] > s.glasses[0].at[0] else -1)
    ink.camera(p, look, paper.at(*s.camera), s.looks)


def _glass(p: QPainter, paper: _Paper, look: Look, glass: Glass) -> None:
    at, half = paper.at(*glass.at), paper.tall(glass.diameter_m / 2)
    if glass.hollow:
        ink.mirror(p, look, at, half, glass.hollow, 4.0 * half)
    else:
        ink.lens(p, look, at, half)


def _air(p: QPainter, look: Look, middle: QPointF, reach: float, air: Air) -> None:
    """The disturbance in front of the mirror: a puff, a shell."""
    p.setBrush(Qt.BrushStyle.NoBrush)
    if air.puff > 0.0:
        tall = reach * air.puff_radius
        p.setPen(Qt.PenStyle.NoPen)
        for k in (1.6, 1.1, 0.6):
            p.setBrush(faded(COLOURS.ember, min(0.5 * air.puff, 0.2)))
            p.drawEllipse(middle, min(tall * k, look.px(1.8)), tall * k)
    if air.front > 0.0:
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(faded(COLOURS.text, min(2.4 * air.front, 0.9)), look.line(1.6)))
        tall = reach * min(air.front_radius, 1.0)
        p.drawEllipse(middle, min(tall, look.px(1.8)), tall)


def _names(p: QPainter, paper: _Paper, s: Sketch, box: QRectF, tip: QPointF) -> None:
    """Lamp, blade and camera by name."""
    look = paper.look
    lamp, camera = paper.at(*s.lamp), paper.at(*s.camera)
    under = 1 if s.blade_from > 0 else -1
    below = QPointF(lamp.x() + look.px(0.6), lamp.y() + look.px(2.6) * under)
    ink.small_text(p, look, below, "lamp", align=0.5)
    # Between two mirrors the camera's inner side is full of light.
    over = -1 if len(s.glasses) == 2 and s.glasses[0].hollow else 1
    beside = QPointF(camera.x() - s.looks * look.px(3.2), camera.y() + look.px(3.0) * under * over)
    ink.small_text(p, look, beside, "camera", align=0.5)
    y = tip.y() - s.blade_from * look.px(3.4)
    y = min(max(y, box.top() + look.px(1.0)), box.bottom() - look.px(1.0))
    beside = QPointF(tip.x() + s.looks * look.px(1.2), y)
    ink.small_text(p, look, beside, "blade", align=0.0 if s.looks > 0 else 1.0)
