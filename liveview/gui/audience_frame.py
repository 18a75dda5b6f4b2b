"""The picture on the audience's screen, put together pixel by pixel and judged before it is sent.

Everything the audience can see goes into one array: the disc, words, drawing, spotlight, fades.
That array passes the flash guard; what comes out is what is painted, one to one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QColor, QImage, QPainter

from liveview.gui.audience_scene import Places, Scene, Spotlight, Words, places
from liveview.gui.audience_words import paint_simulated, paint_title, paint_words
from liveview.gui.theme import COLOURS
from liveview.gui.view import RIM_PX
from liveview.imaging.cv import cv2
from liveview.imaging.flash_guard import FlashGuard, Guarded
from liveview.model import Bytes, Disc

SMALLER = 0.6
"""Pictures shown smaller than this are averaged instead of interpolated."""

RGB32 = QImage.Format.Format_RGB32


@dataclass(frozen=True, slots=True)
class Seen:
    """The picture: as enhanced, and the same frame plainly where the wipe needs it."""

    picture: Bytes
    disc: Disc | None
    plain: Bytes | None = None


def image_of(pixels: Bytes) -> QImage:
    """A Qt image over the array's own memory: keep the array for as long as the image."""
    height, width = pixels.shape[:2]
    return QImage(cast(bytes, pixels.data), width, height, pixels.strides[0], RGB32)


def _canvas(width: int, height: int) -> tuple[QImage, Bytes]:
    """An image to be painted on, and its pixels."""
    image = QImage(width, height, RGB32)
    bits = image.bits()
    assert bits is not None
    bits.setsize(image.sizeInBytes())
    memory = cast(memoryview, bits)  # a pointer with a size serves as a buffer
    pixels = np.frombuffer(memory, np.uint8).reshape(height, image.bytesPerLine() // 4, 4)
    return image, pixels[:, :width]


class AudienceFrame:
    """Composes frames of one size.

    Two buffers take turns: the one that was sent stays as it is while the next is made.
    """

    def __init__(self) -> None:
        self.guard = FlashGuard(lent=True)
        self.guarded = True
        """False: pictures are only judged, not softened."""
        self.over_limit = 0.0
        """With the guard off: flashing share of a field in the last picture."""
        self._size = (0, 0)
        self._buffers: list[Bytes] = []
        self._made_for: list[object] = [None, None]
        self._canvas = QImage()
        self._base: Bytes = np.empty((0, 0, 4), np.uint8)
        self._base_for: object = None
        self._patch_canvas, self._patch = _canvas(1, 1)
        self._second_canvas, self._second = _canvas(1, 1)
        self._disc_mask: Bytes = np.empty((0, 0), np.uint8)
        self._light = _Beam()
        self._sent: Bytes | None = None
        self.places = places(1280, 720)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, pixels."""
        return self._size

    @property
    def sent(self) -> Bytes | None:
        """The newest frame sent, uint8 (rows, columns, 4)."""
        return self._sent

    def fit(self, width: int, height: int) -> None:
        """Make frames of this size from now on."""
        if (width, height) != self._size:
            self._size = (width, height)
            self._buffers = [np.zeros((height, width, 4), np.uint8) for _ in range(2)]
            self._canvas, self._base = _canvas(width, height)
            self._made_for = [None, None]
            self._base_for = None

    def compose(self, seen: Seen | None, scene: Scene, time_s: float) -> Guarded:
        """The next frame, made and judged.

        Parameters
        ----------
        seen : Seen or None
            None while there has been no picture.
        scene : Scene
            Everything else.
        time_s : float
            Now, seconds, never running back.
        """
        turn = 1 if self._sent is self._buffers[0] else 0
        frame = self._buffers[turn]
        if scene.light <= 0.0:
            frame[:] = 0
            self._made_for[turn] = None
        else:
            self._compose_lit(frame, turn, seen, scene)
        return self._send(frame, time_s)

    def _compose_lit(self, frame: Bytes, turn: int, seen: Seen | None, scene: Scene) -> None:
        made_for = self._still(seen, scene)
        if self._made_for[turn] != made_for:
            np.copyto(frame, self._base)
            self._made_for[turn] = made_for
        if seen is not None:
            if seen.disc is None:
                self._whole(frame, seen, scene)
            else:
                self._disc(frame, seen, seen.disc, scene)
        if scene.drawing is not None:
            _paste(frame, scene.drawing, self.places.drawing)
        if scene.light < 1.0:
            cv2.convertScaleAbs(frame, frame, scene.light)
            self._made_for[turn] = None

    def _send(self, frame: Bytes, time_s: float) -> Guarded:
        if self.guarded:
            result = self.guard.admit(frame, time_s)
        else:
            self.over_limit = self.guard.watch(frame, time_s)
            result = Guarded(frame, 1.0)
        self._sent = result.picture
        return result

    # --- what stands still

    def _still(self, seen: Seen | None, scene: Scene) -> object:
        """Paint the ground with the words, if they are others; says what it was made for."""
        has_disc = seen is not None and seen.disc is not None
        key = (scene.words, scene.column, scene.room_for_drawing, seen is None, has_disc)
        if key != self._base_for:
            at = places(*self._size, column=scene.column, drawing=scene.room_for_drawing)
            if at != self.places or self._patch.shape[0] != at.disc:
                self._lay_out(at)
            self._paint_base(scene.words, seen is None)
            self._base_for = key
        return key

    def _lay_out(self, at: Places) -> None:
        self.places = at
        self._patch_canvas, self._patch = _canvas(at.disc, at.disc)
        self._second_canvas, self._second = _canvas(at.disc, at.disc)
        self._disc_mask = np.zeros((at.disc, at.disc), np.uint8)
        half = at.disc / 2
        _circle(self._disc_mask, half, half, half - 1, (255,), -1)

    def _paint_base(self, words: Words, no_picture: bool) -> None:
        self._canvas.fill(COLOURS.ground)
        p = QPainter(self._canvas)
        paint_words(p, self.places, words)
        if no_picture:
            paint_title(p, self.places, words)
        if words.simulated:
            paint_simulated(p, self.places)
        p.end()

    # --- the picture

    def _disc(self, frame: Bytes, seen: Seen, disc: Disc, scene: Scene) -> None:
        at, side = self.places, self.places.disc
        edge = round(scene.edge * side) if seen.plain is not None else 0
        if edge < side:
            _enlarge(seen.picture, disc, self._patch_canvas, self._patch)
        if edge > 0 and seen.plain is not None:
            _enlarge(seen.plain, disc, self._second_canvas, self._second)
            np.copyto(self._patch[:, :edge], self._second[:, :edge])
        if scene.spotlight.depth > 0.0:
            mask = self._light.mask(side, scene.spotlight)
            cv2.multiply(self._patch, mask, self._patch, 1 / 255)
        if 0 < edge < side:
            wide = max(1, round(0.25 * at.unit))
            self._patch[:, max(0, edge - wide) : edge + wide, :3] = _bgr(COLOURS.brass)
        x, y = at.disc_x, at.disc_y
        cv2.copyTo(self._patch, self._disc_mask, frame[y : y + side, x : x + side])
        half = side / 2
        _circle(
            frame, x + half, y + half, half - 0.5, _bgr(COLOURS.line), max(2, round(at.unit / 4))
        )

    def _whole(self, frame: Bytes, seen: Seen, scene: Scene) -> None:
        """The disc is not known: all of the picture in the room there is."""
        picture = seen.plain if scene.edge >= 0.5 and seen.plain is not None else seen.picture
        room = self.places.field
        height, width = picture.shape[:2]
        scale = min(room.width() / width, room.height() / height)
        box = QRectF(0, 0, width * scale, height * scale)
        box.moveCenter(room.center())
        _paste(frame, picture, box)


class _Beam:
    """The spotlight's mask, made anew when it moves."""

    def __init__(self) -> None:
        self._mask: Bytes = np.empty((0, 0, 4), np.uint8)
        self._made_for: object = None

    def mask(self, side: int, light: Spotlight) -> Bytes:
        """Factors of 0..255, uint8 (side, side, 4): full in the beam, darker around it."""
        key = (side, light)
        if key != self._made_for:
            self._made_for = key
            small = max(side // 4, 8)
            dim = round(255 * (1.0 - 0.78 * min(max(light.depth, 0.0), 1.0)))
            mask = np.full((small, small), dim, np.uint8)
            half = small / 2
            x, y = half * (1 + light.x), half * (1 + light.y)
            _circle(mask, x, y, light.size * half, (255,), -1)
            soft = cv2.GaussianBlur(mask, (0, 0), max(small * 0.012, 0.6))
            large = cv2.resize(soft, (side, side), interpolation=cv2.INTER_LINEAR)
            self._mask = np.asarray(cv2.cvtColor(large, cv2.COLOR_GRAY2BGRA), np.uint8)
            self._mask[:, :, 3] = 255
        return self._mask


def _enlarge(picture: Bytes, disc: Disc, canvas: QImage, out: Bytes) -> None:
    """The disc's square of a picture, as large as the canvas; black where the picture ends.

    ``out`` are the canvas's pixels. Qt interpolates eight times as fast as OpenCV does.
    """
    side = out.shape[0]
    radius = max(disc.radius - RIM_PX, 1.0)
    left, top = disc.cx + 0.5 - radius, disc.cy + 0.5 - radius
    square = QRectF(left, top, 2 * radius, 2 * radius)
    scale = side / (2 * radius)
    inside = QRectF(0, 0, picture.shape[1], picture.shape[0]).intersected(square)
    target = QRectF(
        (inside.left() - left) * scale,
        (inside.top() - top) * scale,
        inside.width() * scale,
        inside.height() * scale,
    )
    if inside != square:
        out[:] = 0
    if inside.isEmpty():
        return
    if scale < SMALLER:
        picture, inside = _averaged(picture, inside, target)
    p = QPainter(canvas)
    p.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    p.drawImage(target, image_of(picture), inside)
    p.end()


def _averaged(picture: Bytes, part: QRectF, target: QRectF) -> tuple[Bytes, QRectF]:
    """A part of a picture about as small as it is shown; and where in that the part is."""
    x0, y0 = math.floor(part.left()), math.floor(part.top())
    x1, y1 = math.ceil(part.right()), math.ceil(part.bottom())
    wide = max(1, round((x1 - x0) * target.width() / part.width()))
    tall = max(1, round((y1 - y0) * target.height() / part.height()))
    small = cv2.resize(picture[y0:y1, x0:x1], (wide, tall), interpolation=cv2.INTER_AREA)
    across, down = wide / (x1 - x0), tall / (y1 - y0)
    at = QRectF(
        (part.left() - x0) * across,
        (part.top() - y0) * down,
        part.width() * across,
        part.height() * down,
    )
    return np.asarray(small, np.uint8), at


def _paste(frame: Bytes, picture: Bytes, box: QRectF) -> None:
    """A picture into a box of the frame."""
    x, y = max(round(box.left()), 0), max(round(box.top()), 0)
    wide = min(round(box.width()), frame.shape[1] - x)
    tall = min(round(box.height()), frame.shape[0] - y)
    if wide < 1 or tall < 1:
        return
    part = frame[y : y + tall, x : x + wide]
    if picture.shape[:2] == (tall, wide):
        np.copyto(part, picture)
    else:
        how = cv2.INTER_AREA if tall < SMALLER * picture.shape[0] else cv2.INTER_LINEAR
        cv2.resize(picture, (wide, tall), part, 0, 0, how)


_SHIFT = 4


def _circle(
    out: NDArray[np.uint8],
    x: float,
    y: float,
    radius: float,
    colour: tuple[int, ...],
    thickness: int,
) -> None:
    """A smooth circle; ``x`` and ``y`` in the corner-based coordinates of pixels' edges."""
    centre = (round((x - 0.5) * (1 << _SHIFT)), round((y - 0.5) * (1 << _SHIFT)))
    cv2.circle(out, centre, round(radius * (1 << _SHIFT)), colour, thickness, cv2.LINE_AA, _SHIFT)


def _bgr(colour: QColor) -> tuple[int, int, int]:
    return colour.blue(), colour.green(), colour.red()
