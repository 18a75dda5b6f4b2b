"""What lies over the picture of the Review page: marks of measuring, and the edge of comparing.

With a shape to draw, a press and drag in the picture draws it. Without one, the edge between two
compared pictures can be dragged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import cast

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPaintEvent, QRegion, QWheelEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import pen, polygon, smooth, text_width
from liveview.gui.picture import PictureWidget
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.view import View, disc_view, whole_view
from liveview.model import Reading

Point = tuple[float, float]

GRAB_PX = 16.0
LEAST_DRAG_PX = 4.0


class Shape(Enum):
    """What a press and drag draws."""

    NONE = "none"
    POINT = "point"
    LINE = "line"
    BOX = "box"


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks in picture coordinates; ``rings`` are (centre, radius)."""

    points: tuple[Point, ...] = ()
    lines: tuple[tuple[Point, Point], ...] = ()
    boxes: tuple[tuple[Point, Point], ...] = ()
    rings: tuple[tuple[Point, float], ...] = ()
    words: str = ""

    @property
    def anchor(self) -> Point | None:
        """Where the words stand."""
        for pair in (*self.lines, *self.boxes):
            return max(pair, key=lambda point: point[1])
        return self.points[0] if self.points else None


class ReviewMarks(QWidget):
    """Covers the picture widget it is given."""

    drawn = pyqtSignal(object, object)
    """Ends (x, y) of what was drawn, picture coordinates; twice the same for a point."""
    wheeled = pyqtSignal(int)
    """Notches of the wheel, away from the user positive."""

    def __init__(self, picture: PictureWidget) -> None:
        super().__init__(picture)
        self._picture = picture
        self._look = Look()
        self._shape = Shape.NONE
        self._straight = False
        self._start: QPointF | None = None
        self._now: QPointF | None = None
        self._drawing = Drawing()
        self._beside: Reading | None = None
        self._beside_image: QImage | None = None
        self._names = ("", "")
        self._edge = 0.5
        self._edge_held = False
        self.setMouseTracking(True)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window; covers the picture again."""
        self._look = look
        self.setGeometry(self._picture.rect())
        self.update()

    # --- what is shown

    @property
    def shape(self) -> Shape:
        """What a press draws."""
        return self._shape

    def draw(self, shape: Shape, *, straight: bool = False) -> None:
        """What a press draws from now on; ``straight``: lines along a row or a column only."""
        self._shape, self._straight = shape, straight
        self._start = self._now = None
        cross = Qt.CursorShape.CrossCursor
        self.setCursor(cross if shape is not Shape.NONE else Qt.CursorShape.ArrowCursor)
        self.update()

    def show_drawing(self, drawing: Drawing) -> None:
        """Replace the marks."""
        if drawing != self._drawing:
            self._drawing = drawing
            self.update()

    @property
    def drawing(self) -> Drawing:
        """The marks shown."""
        return self._drawing

    def show_beside(self, reading: Reading | None, names: tuple[str, str] = ("", "")) -> None:
        """A picture left of the edge, and what both sides are called; None: no comparing."""
        self._beside, self._names = reading, names
        self._beside_image = None
        if reading is not None:
            height, width = reading.picture.shape[:2]
            self._beside_image = QImage(
                cast(bytes, reading.picture.data),  # any buffer will do, the stubs know bytes only
                width,
                height,
                reading.picture.strides[0],
                QImage.Format.Format_RGB32,
            )
        self.update()

    @property
    def beside(self) -> Reading | None:
        """The picture left of the edge."""
        return self._beside

    @property
    def edge(self) -> float:
        """Where the edge stands, 0 (left) .. 1 (right)."""
        return self._edge

    def move_edge(self, to: float) -> None:
        """Put the edge somewhere else."""
        self._edge = min(max(to, 0.02), 0.98)
        self.update()

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        view = self._picture.view
        if view is None:
            return
        p = QPainter(self)
        smooth(p)
        if self._beside is not None and self._beside_image is not None:
            self._paint_beside(p, view, self._beside, self._beside_image)
        side = self.width()
        p.setClipRegion(QRegion(0, 0, side, side, QRegion.RegionType.Ellipse))
        self._paint_drawing(p, view, self._drawing)
        self._paint_draft(p)
        p.end()

    def _view_of(self, view: View, reading: Reading) -> View:
        """Where the other picture stands: in its own place when it has another size."""
        mine = self._picture.reading
        height, width = reading.picture.shape[:2]
        if mine is not None and mine.picture.shape == reading.picture.shape:
            return view
        if reading.disc is None or self._picture.whole:
            return whole_view(width, height, view.half)
        return disc_view(reading.disc, view.half)

    def _paint_beside(self, p: QPainter, view: View, reading: Reading, image: QImage) -> None:
        side, x = self.width(), round(self._edge * self.width())
        placed = self._view_of(view, reading)
        left, top = placed.to_widget(-0.5, -0.5)
        disc = QRegion(0, 0, side, side, QRegion.RegionType.Ellipse)
        p.setClipRegion(disc.intersected(QRegion(0, 0, x, side)))
        p.fillRect(0, 0, x, side, COLOURS.ground)
        p.drawImage(
            QRectF(left, top, image.width() * placed.scale, image.height() * placed.scale), image
        )
        p.setClipping(False)
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.ground, 3.0))
        p.drawEllipse(QPointF(side / 2, side / 2), side / 2 - 0.5, side / 2 - 0.5)
        self._paint_edge(p, float(x))

    def _paint_edge(self, p: QPainter, x: float) -> None:
        look, half = self._look, self.width() / 2
        reach = math.sqrt(max(half**2 - (x - half) ** 2, 0.0))
        p.setPen(pen(faded(COLOURS.ground, 0.8), look.line(4.0)))
        p.drawLine(QPointF(x, half - reach), QPointF(x, half + reach))
        p.setPen(pen(COLOURS.brass, look.line(1.6)))
        p.drawLine(QPointF(x, half - reach), QPointF(x, half + reach))
        grip = look.px(1.3)
        p.setBrush(COLOURS.ground)
        p.drawEllipse(QPointF(x, half), grip, grip)
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.brass)
        for turn in (-1.0, 1.0):
            tip, back, tall = turn * grip * 0.72, turn * grip * 0.25, grip * 0.4
            p.drawPolygon(
                polygon([(x + tip, half), (x + back, half - tall), (x + back, half + tall)])
            )
        y = half + 0.52 * half
        for words, right in ((self._names[0], True), (self._names[1], False)):
            width = text_width(look.font(Type.BODY, Weight.FIRM), words) + look.px(2)
            at = x - look.px(1) - width if right else x + look.px(1)
            self._paint_label(p, QPointF(at, y), words, COLOURS.text)

    def _paint_label(self, p: QPainter, at: QPointF, words: str, colour: QColor) -> None:
        if not words:
            return
        look = self._look
        font = look.font(Type.BODY, Weight.FIRM)
        box = QRectF(
            at.x(), at.y() - look.px(1.5), text_width(font, words) + look.px(2), look.px(3)
        )
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(faded(COLOURS.ground, 0.86))
        p.drawRoundedRect(box, look.px(1.5), look.px(1.5))
        p.setFont(font)
        p.setPen(colour)
        p.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _paint_drawing(self, p: QPainter, view: View, drawing: Drawing) -> None:
        look = self._look
        p.setBrush(Qt.BrushStyle.NoBrush)
        for colour, width in ((faded(COLOURS.ground, 0.7), 4.0), (COLOURS.brass, 1.7)):
            p.setPen(pen(colour, look.line(width)))
            for a, b in drawing.lines:
                p.drawLine(QPointF(*view.to_widget(*a)), QPointF(*view.to_widget(*b)))
            for a, b in drawing.boxes:
                p.drawRect(QRectF(QPointF(*view.to_widget(*a)), QPointF(*view.to_widget(*b))))
            for centre, radius in drawing.rings:
                r = radius * view.scale
                p.drawEllipse(QPointF(*view.to_widget(*centre)), r, r)
            ends = [end for line in drawing.lines for end in line]
            for point in (*drawing.points, *ends):
                self._paint_cross(p, QPointF(*view.to_widget(*point)))
        if drawing.anchor is not None and drawing.words:
            at = QPointF(*view.to_widget(*drawing.anchor))
            width = text_width(look.font(Type.BODY, Weight.FIRM), drawing.words) + look.px(2)
            x = min(max(at.x() - width / 2, 4.0), self.width() - width - 4.0)
            self._paint_label(p, QPointF(x, at.y() + look.px(3)), drawing.words, COLOURS.text)

    def _paint_cross(self, p: QPainter, at: QPointF) -> None:
        arm, gap = self._look.px(1.0), self._look.px(0.25)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            p.drawLine(at + QPointF(dx * gap, dy * gap), at + QPointF(dx * arm, dy * arm))

    def _paint_draft(self, p: QPainter) -> None:
        if self._start is None or self._now is None or self._shape is Shape.POINT:
            return
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.text, self._look.line(1.6)))
        if self._shape is Shape.LINE:
            p.drawLine(self._start, self._now)
        else:
            p.drawRect(QRectF(self._start, self._now))

    # --- mouse

    def _near_edge(self, at: QPointF) -> bool:
        return self._beside is not None and abs(at.x() - self._edge * self.width()) < GRAB_PX

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton:
            return
        if self._picture.view is None:
            return
        if self._shape is not Shape.NONE:
            self._start = self._now = event.position()
        elif self._beside is not None:
            self._edge_held = True
            self.move_edge(event.position().x() / self.width())

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        if self._edge_held:
            self.move_edge(event.position().x() / self.width())
        elif self._start is not None:
            self._now = self._constrained(event.position())
            self.update()
        elif self._shape is Shape.NONE:
            near = self._near_edge(event.position())
            split, arrow = Qt.CursorShape.SplitHCursor, Qt.CursorShape.ArrowCursor
            self.setCursor(split if near else arrow)

    def _constrained(self, at: QPointF) -> QPointF:
        if not self._straight or self._start is None or self._shape is not Shape.LINE:
            return at
        moved = at - self._start
        if abs(moved.x()) >= abs(moved.y()):
            return QPointF(at.x(), self._start.y())
        return QPointF(self._start.x(), at.y())

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        self._edge_held = False
        start, self._start, self._now = self._start, None, None
        view = self._picture.view
        if event is None or start is None or view is None:
            return
        self._start = start
        end = self._constrained(event.position())
        self._start = None
        self.update()
        moved = end - start
        if self._shape is Shape.POINT:
            end = start
        elif math.hypot(moved.x(), moved.y()) < LEAST_DRAG_PX:
            return
        a, b = view.to_picture(start.x(), start.y()), view.to_picture(end.x(), end.y())
        self.drawn.emit(a, b)

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None and event.angleDelta().y():
            self.wheeled.emit(1 if event.angleDelta().y() > 0 else -1)
            event.accept()
