"""The explaining drawing painted: the rig with its rays, the lamp's image, the mirror.

Distances along the axis keep their proportions; across it everything is stretched so that it shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPainterPath, QPolygonF

from liveview.gui import plan_ink as ink
from liveview.gui.explain_model import Air, Moment, RigNow
from liveview.gui.paint import circle, pen, smooth
from liveview.gui.plan_sketch import Glass, Sketch, sketch
from liveview.gui.theme import COLOURS, FITTING, Look, Type, Weight, faded
from liveview.model import Side

SMALL_WIDTH, SMALL_HEIGHT = 320.0, 200.0
SMALL_TEXT = 10.5
"""Text in a corner of this size, pixels; it grows with the drawing."""

DISC_PIXELS = 96
IMAGE_SHARE = 0.17
"""Width of the lamp's image in the drawing, of the drawing's height."""

WIDE = 1.1


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts stand, pixels."""

    look: Look
    rig: QRectF
    blade: QRectF
    mirror: QRectF
    words: QRectF


def layout(box: QRectF) -> Layout:
    """Places for a drawing in ``box``."""
    wide = box.width() >= WIDE * box.height()
    fit = min(box.width() / SMALL_WIDTH, box.height() / SMALL_HEIGHT)
    if not wide:
        fit = min(box.width() / 240.0, box.height() / 260.0)
    look = Look(max(SMALL_TEXT * fit, 8.0))
    m = look.px(1.2)
    inner = box.adjusted(m, m, -m, -m)
    if wide:
        low = inner.height() * 0.41
        side = min(low - look.px(2.4), inner.width() * 0.22)
        top = QRectF(inner.left(), inner.top(), inner.width(), inner.height() - low)
        y = inner.bottom() - low
        blade = QRectF(inner.left(), y, side, low)
        disc = QRectF(blade.right() + look.px(2.4), y, side, low)
        left = disc.right() + look.px(2.2)
        words = QRectF(left, y, inner.right() - left, low)
        return Layout(look, top, blade, disc, words)
    tall = inner.height() * 0.42
    side = min(inner.width() * 0.45, inner.height() * 0.3)
    top = QRectF(inner.left(), inner.top(), inner.width(), tall)
    y = top.bottom()
    blade = QRectF(inner.left(), y, side, side + look.px(2.4))
    disc = QRectF(inner.right() - side, y, side, side + look.px(2.4))
    words = QRectF(inner.left(), disc.bottom() + look.px(1), inner.width(), 0)
    words.setBottom(inner.bottom())
    return Layout(look, top, blade, disc, words)


def paint(p: QPainter, box: QRectF, rig: RigNow, now: Moment, title: str, *, ground: bool) -> None:
    """Paint one moment into ``box``."""
    smooth(p)
    if ground:
        p.fillRect(box, COLOURS.ground)
    at = layout(box)
    _rig(p, at, rig, now)
    if now.curve:
        _curve(p, at, rig, now)
    else:
        _lamp_image(p, at, rig, now)
    _mirror(p, at, rig, now)
    _words(p, at, now, title)


def paint_words(p: QPainter, box: QRectF, words: str) -> None:
    """Only words: there is no rig to draw."""
    smooth(p)
    p.fillRect(box, COLOURS.ground)
    look = layout(box).look
    p.setFont(look.font())
    p.setPen(COLOURS.text)
    m = look.px(2)
    flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
    p.drawText(box.adjusted(m, m, -m, -m), int(flags), words)


# --- the rig


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


def _rig(p: QPainter, at: Layout, rig: RigNow, now: Moment) -> None:
    s = _sketch(rig)
    paper = _Paper(s, at.rig, at.look)
    _cones(p, paper, s)
    wide = IMAGE_SHARE * at.rig.height()
    for place in now.places:
        _bundle(p, paper, s, rig, now, place, wide)
    _parts(p, paper, s, at.look, now.air)
    image = paper.at(*s.image)
    tip = QPointF(image.x(), image.y() - s.blade_from * (0.5 - now.cut) * wide)
    p.save()
    p.setClipRect(at.rig)
    ink.blade(p, at.look, tip, s.blade_from)
    p.restore()
    _names(p, paper, s, at, tip)


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


def _names(p: QPainter, paper: _Paper, s: Sketch, at: Layout, tip: QPointF) -> None:
    """Lamp, blade and camera by name."""
    look = at.look
    lamp, camera = paper.at(*s.lamp), paper.at(*s.camera)
    under = 1 if s.blade_from > 0 else -1
    below = QPointF(lamp.x() + look.px(0.6), lamp.y() + look.px(2.6) * under)
    ink.small_text(p, look, below, "lamp", align=0.5)
    # Between two mirrors the camera's inner side is full of light.
    over = -1 if len(s.glasses) == 2 and s.glasses[0].hollow else 1
    beside = QPointF(camera.x() - s.looks * look.px(3.2), camera.y() + look.px(3.0) * under * over)
    ink.small_text(p, look, beside, "camera", align=0.5)
    y = tip.y() - s.blade_from * look.px(3.4)
    y = min(max(y, at.rig.top() + look.px(1.0)), at.rig.bottom() - look.px(1.0))
    beside = QPointF(tip.x() + s.looks * look.px(1.2), y)
    ink.small_text(p, look, beside, "blade", align=0.0 if s.looks > 0 else 1.0)


# --- the lamp's image


def _square(box: QRectF, look: Look) -> QRectF:
    """The square for a round picture under its label."""
    side = min(box.width(), box.height() - look.px(2.4))
    return QRectF(box.center().x() - side / 2, box.top() + look.px(2.4), side, side)


def _label(p: QPainter, look: Look, box: QRectF, text: str) -> None:
    at = QPointF(box.center().x(), box.top() + look.px(1.1))
    ink.small_text(p, look, at, text, align=0.5)


def _lamp_image(p: QPainter, at: Layout, rig: RigNow, now: Moment) -> None:
    """The plane of the blade: the lamp's image where it is, half behind the blade."""
    look, field = at.look, _square(at.blade, at.look)
    _label(p, look, at.blade, "at the blade")
    wide = field.width() * 0.38
    p.save()
    frame = QPainterPath()
    frame.addEllipse(field)
    p.fillPath(frame, COLOURS.raised)
    p.setClipPath(frame)
    p.translate(field.center())
    p.rotate(_TURN[rig.side])
    # From here on +x is the direction n, towards the side of the blade.
    for place in now.places:
        shift = now.air.shift_at(place)
        _spot(
            p, rig, QPointF(-shift * wide, 0.0), wide, faded(COLOURS.brass, 0.85 / len(now.places))
        )
    if any(abs(now.air.shift_at(place)) > 0.01 for place in now.places):
        p.setPen(pen(faded(COLOURS.text, 0.8), look.line(1.0)))
        _spot(p, rig, QPointF(), wide, None)
    edge = (0.5 - now.cut) * wide
    p.setPen(Qt.PenStyle.NoPen)
    p.fillRect(QRectF(edge, -field.height(), 2 * field.width(), 2 * field.height()), _STEEL)
    p.setPen(pen(COLOURS.text, look.line(1.6)))
    p.drawLine(QPointF(edge, -field.height()), QPointF(edge, field.height()))
    p.restore()
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.tick, look.line(1.2)))
    p.drawEllipse(field)


_TURN = {Side.RIGHT: 0.0, Side.BOTTOM: 90.0, Side.LEFT: 180.0, Side.TOP: 270.0}
"""Degrees clockwise that turn the x axis towards the side of the blade."""

_STEEL = faded(QColor("#4d5965"), 0.84)


def _spot(p: QPainter, rig: RigNow, at: QPointF, wide: float, colour: QColor | None) -> None:
    """The lamp's image: a disc, or a slit twice as long as it is wide."""
    if colour is None:
        p.setBrush(Qt.BrushStyle.NoBrush)
    else:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(colour)
    if rig.shape == "round":
        p.drawEllipse(at, wide / 2, wide / 2)
    else:
        p.drawRect(QRectF(at.x() - wide / 2, at.y() - 0.95 * wide, wide, 1.9 * wide))


CURVE_FROM, CURVE_TO = -0.75, 1.35


def _curve(p: QPainter, at: Layout, rig: RigNow, now: Moment) -> None:
    """Brightness against the blade's place, with both bent rays on it."""
    look, field = at.look, _square(at.blade, at.look)
    _label(p, look, at.blade, "blade in \u2192")
    p.setPen(pen(COLOURS.tick, look.line(1.0)))
    p.drawPolyline(QPolygonF([field.topLeft(), field.bottomLeft(), field.bottomRight()]))
    inside = field.adjusted(field.width() * 0.12, field.height() * 0.1, -field.width() * 0.08, 0)

    def point(position: float) -> QPointF:
        """Blade at this share of the image's width: what passes."""
        light = float(rig.brightness(position, np.asarray(0.0)))
        share = (position - CURVE_FROM) / (CURVE_TO - CURVE_FROM)
        return QPointF(
            inside.left() + share * inside.width(), inside.bottom() - light * inside.height()
        )

    p.setPen(pen(COLOURS.quiet, look.line(1.6)))
    p.setBrush(Qt.BrushStyle.NoBrush)
    places = np.linspace(CURVE_FROM, CURVE_TO, 81)
    p.drawPolyline(QPolygonF([point(float(x)) for x in places]))
    position = now.cut
    shifts = [now.air.shift_at(place) for place in now.places]
    reach = sorted(position - shift for shift in shifts)
    p.setPen(pen(COLOURS.brass, look.line(3.0)))
    steps = np.linspace(reach[0], reach[-1], 24)
    p.drawPolyline(QPolygonF([point(float(x)) for x in steps]))
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(COLOURS.text)
    p.drawEllipse(point(position), look.px(0.55), look.px(0.55))
    here = point(rig.cut)
    p.setPen(pen(COLOURS.brass, look.line(1.2)))
    p.drawLine(QPointF(here.x(), field.bottom()), QPointF(here.x(), field.bottom() - look.px(1.2)))


# --- the mirror


def _mirror(p: QPainter, at: Layout, rig: RigNow, now: Moment) -> None:
    """The mirror as the camera sees it, with the traced points marked."""
    look, field = at.look, _square(at.mirror, at.look)
    _label(p, look, at.mirror, "in the picture")
    p.save()
    frame = QPainterPath()
    frame.addEllipse(field)
    p.setClipPath(frame)
    p.drawImage(field, mirror_picture(rig, now))
    p.restore()
    p.setBrush(Qt.BrushStyle.NoBrush)
    p.setPen(pen(COLOURS.tick, look.line(1.2)))
    p.drawEllipse(field)
    nx, ny = rig.side.normal
    radius = field.width() / 2
    for place in now.places:
        if now.air == Air() or abs(place) > 0.97:
            continue
        spot = field.center() + QPointF(nx * place * radius, ny * place * radius)
        p.setPen(pen(faded(COLOURS.ground, 0.9), look.line(2.6)))
        p.drawEllipse(circle(spot, look.px(0.75)))
        p.setPen(pen(COLOURS.brass, look.line(1.3)))
        p.drawEllipse(circle(spot, look.px(0.75)))


def mirror_picture(rig: RigNow, now: Moment, pixels: int = DISC_PIXELS) -> QImage:
    """The mirror's brightness, computed point by point; linear light coded for a screen (sRGB)."""
    line = (np.arange(pixels) + 0.5) / pixels * 2.0 - 1.0
    x, y = np.meshgrid(line, line)
    radius = np.hypot(x, y)
    nx, ny = rig.side.normal
    along = np.divide(x * nx + y * ny, radius, out=np.zeros_like(radius), where=radius > 0)
    light = rig.brightness(now.cut, -now.air.outward(radius) * along)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    bone = np.array([COLOURS.text.blue(), COLOURS.text.green(), COLOURS.text.red(), 255])
    shown = np.empty((pixels, pixels, 4), np.uint8)
    shown[..., :3] = np.rint(code[..., None] * bone[:3])
    shown[..., 3] = 255
    whole = QImage(shown.tobytes(), pixels, pixels, 4 * pixels, QImage.Format.Format_RGB32)
    return whole.copy()


# --- words


def _words(p: QPainter, at: Layout, now: Moment, title: str) -> None:
    """Title, words, figure; smaller where they would not fit."""
    look, box = at.look, at.words
    for size in FITTING:
        smaller = Look(look.text_px * size)
        tall = _lines(p, smaller, box, now, title, draw=False)
        if tall <= box.height():
            break
    p.setOpacity(now.presence)
    _lines(p, smaller, box, now, title, draw=True)
    p.setOpacity(1.0)


def _lines(p: QPainter, look: Look, box: QRectF, now: Moment, title: str, *, draw: bool) -> float:
    """Height of the words; drawn when asked."""
    y = 0.0
    wrap = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
    lines = (
        (title, look.font(Type.BODY, Weight.STRONG), COLOURS.brass),
        (now.words, look.font(), COLOURS.text),
        (now.figure, look.font(Type.SMALL), COLOURS.quiet),
    )
    for text, font, colour in lines:
        if not text:
            continue
        p.setFont(font)
        p.setPen(colour)
        room = QRectF(box.left(), box.top() + y, box.width(), 10.0 * box.height())
        y += p.boundingRect(room, wrap, text).height()
        if draw:
            p.drawText(room, wrap, text)
        y += look.px(0.6)
    return y
