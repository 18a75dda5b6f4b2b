"""The picture: painted plainly from a reading's pixels, round when the disc is known.

Mouse: drag inside the disc to move it, drag its rim to size it, double click to have it found.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

from PyQt6.QtCore import QEvent, QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import (
    QColor,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPixmap,
    QRegion,
    QResizeEvent,
)
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import pen, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.view import View, disc_view, whole_view
from liveview.model import Disc, Reading, SessionState

GLIDE = 0.4
"""Share of the way to a new view that one picture takes."""

GRAB_PX = 14.0
"""How near to the rim a press takes the rim."""

_NUDGES = {
    Qt.Key.Key_Left: (-1.0, 0.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0, 0.0),
    Qt.Key.Key_Down: (0.0, 1.0, 0.0),
    Qt.Key.Key_Plus: (0.0, 0.0, 1.0),
    Qt.Key.Key_Equal: (0.0, 0.0, 1.0),
    Qt.Key.Key_Minus: (0.0, 0.0, -1.0),
}
_LEAVE = {Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Escape}


STATE_CHIPS = {
    SessionState.STALLED: "No picture arrives",
    SessionState.ENDED: "The recording is over: S chooses another",
    SessionState.FAILED: "No picture: S chooses a source",
    SessionState.OPENING: "Opening",
}


class PictureWidget(QWidget):
    """Shows one picture at a time; a square whose circle is the instrument's disc."""

    painted = pyqtSignal(object)
    """The reading whose picture has just reached the screen's buffer for the first time."""
    disc_placed = pyqtSignal(object)
    """Disc placed by hand, or None: find it."""
    placing_changed = pyqtSignal(bool)

    _placing = False
    # Set on the class: Qt sends events before the constructor is through.

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.setMouseTracking(True)
        # Round and opaque: what lies beneath need not be painted again with every picture.
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName("Live picture of the mirror")
        self._look = Look()
        self._reading: Reading | None = None
        self._image: QImage | None = None
        self._fresh = False
        self._rim: QPixmap | None = None
        self._view: View | None = None
        self._whole = False
        self._draft: Disc | None = None
        self._drag: tuple[str, QPointF, Disc] | None = None
        self._outward = (0.0, 0.0)
        self._chip = ""
        self._chip_colour = COLOURS.text

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    @property
    def reading(self) -> Reading | None:
        """The reading on the screen."""
        return self._reading

    @property
    def placing(self) -> bool:
        """True while the disc is being placed by hand."""
        return self._placing

    @property
    def view(self) -> View | None:
        """The present mapping from picture to widget."""
        return self._view

    def show_reading(self, reading: Reading) -> None:
        """Take a new picture; it is painted with the next paint event."""
        height, width = reading.picture.shape[:2]
        if self._reading is not None and self._reading.picture.shape != reading.picture.shape:
            self._view = None
        self._reading = reading
        self._image = QImage(
            cast(bytes, reading.picture.data),  # any buffer will do, the stubs know bytes only
            width,
            height,
            reading.picture.strides[0],
            _RGB32,
        )
        self._fresh = True
        self._glide()
        self.update()

    def clear(self) -> None:
        """No picture: another source is being opened."""
        self._reading = self._image = self._view = self._draft = None
        self.update()

    def hold_copy(self) -> None:
        """Keep the present picture for as long as wanted (its buffer is used again soon)."""
        if self._reading is not None:
            self.show_reading(replace(self._reading, picture=self._reading.picture.copy()))

    def show_whole(self, on: bool) -> None:
        """All of the picture instead of the disc."""
        self._whole = on
        self._glide()
        self.update()

    @property
    def whole(self) -> bool:
        """True while all of the picture is shown."""
        return self._whole

    @property
    def chip(self) -> str:
        """Short words over the picture."""
        return self._chip

    def set_chip(self, words: str, colour: QColor = COLOURS.text) -> None:
        """Short words over the lower part of the picture; none when empty."""
        if (words, colour) != (self._chip, self._chip_colour):
            self._chip, self._chip_colour = words, colour
            self.update()

    def show_state(self, state: SessionState) -> None:
        """Say why no new picture comes; nothing while pictures come."""
        calm = state in (SessionState.OPENING, SessionState.ENDED)
        self.set_chip(STATE_CHIPS.get(state, ""), COLOURS.text if calm else COLOURS.ember)

    def start_placing(self, on: bool) -> None:
        """Place the disc by hand, with keys or the mouse."""
        if on == self._placing or (on and self._reading is None):
            return
        self._placing = on
        self._draft = self._start_disc() if on else None
        if on:
            self.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self._glide()
        self.placing_changed.emit(on)
        self.update()

    def disc(self) -> Disc | None:
        """The disc as shown: the one being placed, else the reading's."""
        if self._draft is not None:
            return self._draft
        return None if self._reading is None else self._reading.disc

    def _start_disc(self) -> Disc:
        assert self._reading is not None
        found = self._reading.disc
        height, width = self._reading.picture.shape[:2]
        if found is None:
            return Disc((width - 1) / 2, (height - 1) / 2, 0.4 * min(width, height), by_hand=True)
        return replace(found, by_hand=True)

    # --- view

    def _target(self) -> View | None:
        if self._reading is None:
            return None
        disc, half = self._reading.disc, self.width() / 2
        if disc is None or self._whole or self._placing or self._drag is not None:
            height, width = self._reading.picture.shape[:2]
            return whole_view(width, height, half)
        return disc_view(disc, half)

    def _glide(self) -> None:
        target = self._target()
        if target is None or self._view is None or self._view.half != target.half:
            self._view = target
        else:
            self._view = self._view.towards(target, GLIDE)
            if self._view != target:
                self.update()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.setMask(QRegion(self.rect(), QRegion.RegionType.Ellipse))
        self._rim = None
        self._view = None
        self._glide()

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        smooth(painter)
        if self._view is None or self._image is None:
            self._paint_nothing(painter)
        else:
            self._paint_picture(painter, self._view, self._image)
        if self._chip:
            self._paint_chip(painter)
        painter.end()
        if self._fresh and self._reading is not None:
            self._fresh = False
            self.painted.emit(self._reading)
        if self._view is not None and self._view != self._target():
            self._glide()

    def _paint_nothing(self, painter: QPainter) -> None:
        half = self.width() / 2
        painter.fillRect(self.rect(), COLOURS.ground)
        painter.setPen(pen(COLOURS.line, self._look.line()))
        painter.drawEllipse(QPointF(half, half), half - 1, half - 1)

    def _paint_picture(self, painter: QPainter, view: View, image: QImage) -> None:
        left, top = view.to_widget(-0.5, -0.5)
        frame = QRectF(left, top, image.width() * view.scale, image.height() * view.scale)
        if not frame.contains(QRectF(self.rect())):
            painter.fillRect(self.rect(), COLOURS.ground)
        # The mask and a ready soft ring over its stair steps cost a fifth of a smooth round brush.
        painter.drawImage(frame, image)
        painter.drawPixmap(0, 0, self._soft_rim())
        if frame.width() < self.width():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(pen(COLOURS.line, self._look.line()))
            painter.drawRect(frame)
        disc = self.disc()
        if disc is not None and self._target() is not None and not self._on_disc(view, disc):
            self._paint_outline(painter, view, disc)

    def _soft_rim(self) -> QPixmap:
        if self._rim is None:
            ratio, half = self.devicePixelRatioF(), self.width() / 2
            self._rim = QPixmap(self.size() * ratio)
            self._rim.setDevicePixelRatio(ratio)
            self._rim.fill(Qt.GlobalColor.transparent)
            painter = QPainter(self._rim)
            smooth(painter)
            painter.setPen(pen(COLOURS.ground, 3.0))
            painter.drawEllipse(QPointF(half, half), half - 0.5, half - 0.5)
            painter.end()
        return self._rim

    def _on_disc(self, view: View, disc: Disc) -> bool:
        shown = disc_view(disc, view.half)
        return abs(view.scale / shown.scale - 1.0) < 0.02 and self._draft is None

    def _paint_outline(self, painter: QPainter, view: View, disc: Disc) -> None:
        x, y = view.to_widget(disc.cx, disc.cy)
        radius = disc.radius * view.scale
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for colour, width in ((faded(COLOURS.ground, 0.7), 4.0), (COLOURS.brass, 1.8)):
            painter.setPen(pen(colour, self._look.line(width)))
            painter.drawEllipse(QPointF(x, y), radius, radius)
            arm = self._look.px(1.0)
            painter.drawLine(QPointF(x - arm, y), QPointF(x + arm, y))
            painter.drawLine(QPointF(x, y - arm), QPointF(x, y + arm))

    def _paint_chip(self, painter: QPainter) -> None:
        look = self._look
        painter.setFont(look.font(Type.LEAD, Weight.FIRM))
        metrics = painter.fontMetrics()
        width = metrics.horizontalAdvance(self._chip) + look.px(4)
        height = metrics.height() + look.px(1.4)
        box = QRectF((self.width() - width) / 2, self.height() * 0.86 - height / 2, width, height)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(faded(COLOURS.ground, 0.86))
        painter.drawRoundedRect(box, height / 2, height / 2)
        painter.setPen(self._chip_colour)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, self._chip)

    # --- the disc by hand

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton or self._view is None:
            return
        if self._reading is None:
            return
        disc = self._draft or self._start_disc()
        self._drag = (self._part(event.position(), disc), event.position(), disc)

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None or self._view is None:
            return
        if self._drag is None:
            disc = self.disc()
            near = disc is not None and self._part(event.position(), disc) == "rim"
            self.setCursor(Qt.CursorShape.SizeFDiagCursor if near else Qt.CursorShape.CrossCursor)
            return
        part, start, disc = self._drag
        moved = event.position() - start
        if self._draft is None and math.hypot(moved.x(), moved.y()) < 4:
            return
        if self._draft is None:
            self._draft = disc
            self._glide()
        self._draft = self._dragged(part, start, event.position(), disc)
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        drag, self._drag = self._drag, None
        if drag is not None and self._draft is not None:
            self.disc_placed.emit(self._draft)
            if not self._placing:
                self._draft = None
        self._glide()
        self.update()

    def mouseDoubleClickEvent(self, event: QMouseEvent | None) -> None:
        self._drag = self._draft = None
        self.start_placing(False)
        self.disc_placed.emit(None)

    def _part(self, at: QPointF, disc: Disc) -> str:
        assert self._view is not None
        x, y = self._view.to_widget(disc.cx, disc.cy)
        off = (at.x() - x, at.y() - y)
        distance = math.hypot(*off)
        self._outward = (off[0] / max(distance, 1.0), off[1] / max(distance, 1.0))
        return "rim" if abs(distance - disc.radius * self._view.scale) < GRAB_PX else "centre"

    def _dragged(self, part: str, start: QPointF, now: QPointF, disc: Disc) -> Disc:
        view = self._target()
        assert view is not None
        if part == "centre":
            return replace(
                disc,
                cx=disc.cx + (now.x() - start.x()) / view.scale,
                cy=disc.cy + (now.y() - start.y()) / view.scale,
            )
        x, y = self._outward
        grown = ((now.x() - start.x()) * x + (now.y() - start.y()) * y) / view.scale
        return replace(disc, radius=max(disc.radius + grown, 4.0))

    def event(self, event: QEvent | None) -> bool:
        """While placing, arrows and plus/minus belong to the disc and not to shortcuts."""
        if (
            self._placing
            and isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.ShortcutOverride
            and (event.key() in _NUDGES or event.key() in _LEAVE)
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None or not self._placing:
            super().keyPressEvent(event)
            return
        if event.key() in _LEAVE:
            self.start_placing(False)
        elif event.key() in _NUDGES and self._draft is not None:
            large = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            step = 10.0 if large else 1.0
            dx, dy, grow = (step * part for part in _NUDGES[Qt.Key(event.key())])
            d = self._draft
            self._draft = replace(d, cx=d.cx + dx, cy=d.cy + dy, radius=max(d.radius + grow, 4.0))
            self.disc_placed.emit(self._draft)
            self.update()
        else:
            super().keyPressEvent(event)


_RGB32 = QImage.Format.Format_RGB32
