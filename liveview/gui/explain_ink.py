"""The explaining drawing painted: the lamp's image, the mirror, the words, and where all stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPainterPath, QPolygonF

from liveview.gui import plan_ink as ink
from liveview.gui.explain_model import Air, Moment, RigNow
from liveview.gui.explain_rig import paint_rig
from liveview.gui.paint import circle, pen, smooth
from liveview.gui.theme import COLOURS, FITTING, Look, Type, Weight, faded
from liveview.imaging.transfer import Transfer
from liveview.model import Side

SMALL_WIDTH, SMALL_HEIGHT = 320.0, 200.0
SMALL_TEXT = 10.5
"""Text in a corner of this size, pixels; it grows with the drawing."""

FAR_WIDTH, FAR_HEIGHT = 11.0, 15.5
"""Of a drawing for a room, in heights of its text."""
FAR_TEXT = 1.7
"""There the words are so many times as large as the drawing's other measures ask for."""

LABEL = 2.4
"""Height of the label over a picture, steps."""

DISC_PIXELS = 96
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


def far_layout(box: QRectF) -> Layout:
    """Places for a drawing that is read across a room: few large words below the pictures."""
    text = min(box.width() / FAR_WIDTH, box.height() / FAR_HEIGHT)
    look = Look(text, FAR_TEXT)
    m = look.px(0.8)
    inner = box.adjusted(m, m, -m, -m)
    tall, side = inner.height() * 0.28, min(inner.height() * 0.22, inner.width() * 0.4)
    top = QRectF(inner.left(), inner.top(), inner.width(), tall)
    y, gap = top.bottom() + look.px(0.6), min(look.px(6), inner.width() / 4 - side / 2)
    middle = inner.center().x()
    high = side + look.px(LABEL * FAR_TEXT)
    blade = QRectF(middle - gap - side, y, side, high)
    disc = QRectF(middle + gap, y, side, high)
    words = QRectF(inner.left(), blade.bottom() + look.px(0.8), inner.width(), 0)
    words.setBottom(inner.bottom())
    return Layout(look, top, blade, disc, words)


def paint(
    p: QPainter, box: QRectF, rig: RigNow, now: Moment, title: str, *, far: bool = False
) -> None:
    """Paint one moment into ``box``; ``far`` for those who read it across a room."""
    smooth(p)
    p.fillRect(box, COLOURS.ground)
    at = far_layout(box) if far else layout(box)
    paint_rig(p, at.rig, at.look, rig, now)
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


# --- the lamp's image


def _square(box: QRectF, look: Look) -> QRectF:
    """The square for a round picture under its label."""
    label = look.px(LABEL * look.text_scale)
    side = min(box.width(), box.height() - label)
    return QRectF(box.center().x() - side / 2, box.top() + label, side, side)


def _label(p: QPainter, look: Look, box: QRectF, text: str) -> None:
    at = QPointF(box.center().x(), box.top() + look.px(1.1 * look.text_scale))
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
    code = Transfer.named("srgb").encode(light)
    bone = np.array([COLOURS.text.blue(), COLOURS.text.green(), COLOURS.text.red(), 255])
    shown = np.empty((pixels, pixels, 4), np.uint8)
    shown[..., :3] = np.rint(code[..., None] * bone[:3])
    shown[..., 3] = 255
    whole = QImage(shown.tobytes(), pixels, pixels, 4 * pixels, QImage.Format.Format_RGB32)
    return whole.copy()


# --- words


def _words(p: QPainter, at: Layout, now: Moment, title: str) -> None:
    """Title, words, figure; smaller where they would not fit."""
    text_px, _ = words_size(p, at, now, title)
    p.setOpacity(now.presence)
    _lines(p, at.look.smaller(text_px / at.look.text_px), at.words, now, title, draw=True)
    p.setOpacity(1.0)


def words_size(p: QPainter, at: Layout, now: Moment, title: str) -> tuple[float, float]:
    """Size of the text in which the words fit their place, and how high they are, pixels."""
    for size in FITTING:
        smaller = at.look.smaller(size)
        tall = _lines(p, smaller, at.words, now, title, draw=False)
        if tall <= at.words.height():
            break
    return smaller.text_px, tall


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
