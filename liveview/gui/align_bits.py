"""Small drawn parts of the Align page: raw levels, a magnified patch, marks over the picture."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import (
    QBrush,
    QFontMetricsF,
    QImage,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPolygonF,
)
from PyQt6.QtWidgets import QWidget

from liveview.engine.aids import AidsReading, ClipMarks
from liveview.gui.marks import Mark
from liveview.gui.paint import pen, smooth
from liveview.gui.picture import PictureWidget
from liveview.gui.theme import COLOURS, Look, Type, faded
from liveview.imaging.exposure import BINS, TARGET_TOP, Levels
from liveview.imaging.focus import Patch
from liveview.imaging.spot import Spot
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes


class LevelsPlot(QWidget):
    """How often each raw level occurs in the disc, both ends marked where pixels are clipped."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._levels: Levels | None = None
        self._wanted = 0.0
        self.setAccessibleName("Raw levels")
        self.setToolTip("Raw levels of the camera in the disc; the tick is where the top belongs")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def show_levels(self, levels: Levels | None, transfer: str) -> None:
        """New levels; ``transfer`` places the tick of the wanted top."""
        self._levels = levels
        self._wanted = float(Transfer.named(transfer).encode(TARGET_TOP))
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        foot = look.px(0.5) + QFontMetricsF(look.font(Type.SMALL)).height()
        box = QRectF(0, look.px(0.6), self.width(), self.height() - foot - look.px(0.6))
        p.setPen(pen(COLOURS.line, look.line(1.2)))
        p.drawLine(box.bottomLeft(), box.bottomRight())
        x = box.left() + self._wanted * box.width()
        p.setPen(pen(COLOURS.brass, look.line(1.6)))
        p.drawLine(QPointF(x, box.bottom()), QPointF(x, box.bottom() + look.px(0.9)))
        if self._levels is not None:
            self._paint_bars(p, box, self._levels)
        self._paint_foot(p, box)
        p.end()

    def _paint_bars(self, p: QPainter, box: QRectF, levels: Levels) -> None:
        tall = np.log1p(levels.counts.astype(np.float64))
        tall /= max(float(tall.max()), 1e-9)
        width = box.width() / BINS
        p.setPen(Qt.PenStyle.NoPen)
        for k, share in enumerate(tall.tolist()):
            clipped = (k == 0 and levels.clipped_dark > 0) or (
                k == BINS - 1 and levels.clipped_bright > 0
            )
            p.setBrush(COLOURS.ember if clipped else faded(COLOURS.text, 0.55))
            height = share * box.height()
            p.drawRect(
                QRectF(box.left() + k * width, box.bottom() - height, max(width - 1, 1), height)
            )

    def _paint_foot(self, p: QPainter, box: QRectF) -> None:
        look = self._look
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.quiet)
        below = box.bottom() + look.px(0.5)
        line = QRectF(box.left(), below, box.width(), self.height() - below)
        p.drawText(line, int(Qt.AlignmentFlag.AlignLeft), "dark")
        p.drawText(line, int(Qt.AlignmentFlag.AlignRight), "full")


class Inset(QWidget):
    """The focus patch, magnified, with a bar that shows its sharpness against the best."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._picture: Bytes | None = None
        self._share: float | None = None
        self.setAccessibleName("Magnified patch")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def show_patch(self, picture: Bytes | None, share: float | None) -> None:
        """A new patch (8-bit grey) and its sharpness 0..1."""
        self._picture, self._share = picture, share
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        side = min(self.height(), self.width() - look.px(2.4))
        box = QRectF(0, 0, side, side)
        if self._picture is not None:
            rows, columns = self._picture.shape
            image = QImage(
                self._picture.tobytes(), columns, rows, columns, QImage.Format.Format_Grayscale8
            )
            p.drawImage(box, image)
        p.setPen(pen(COLOURS.line, look.line(1.2)))
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
        self._paint_bar(p, QRectF(side + look.px(0.9), 0, look.px(1.1), side))
        p.end()

    def _paint_bar(self, p: QPainter, bar: QRectF) -> None:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(faded(COLOURS.line, 0.75))
        p.drawRect(bar)
        if self._share is None:
            return
        full = QRectF(bar)
        full.setTop(bar.bottom() - self._share * bar.height())
        p.setBrush(COLOURS.brass)
        p.drawRect(full)
        p.setPen(pen(COLOURS.text, self._look.line(1.6)))
        p.drawLine(bar.topLeft(), bar.topRight())


class PictureMarks(QWidget):
    """Lies over the picture: hatched where raw pixels are clipped, the patch, the spot.

    A press marks the place whose sharpness is judged.
    """

    marked = pyqtSignal(float, float)
    """Picture coordinates of a press."""

    def __init__(self, picture: PictureWidget) -> None:
        super().__init__(picture)
        self._picture = picture
        self._look = Look()
        self._clipped: ClipMarks | None = None
        self._patch: Patch | None = None
        self._spot: Spot | None = None
        self.setCursor(Qt.CursorShape.CrossCursor)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window; covers the picture again."""
        self._look = look
        self.setGeometry(self._picture.rect())
        self.update()

    def show_aids(self, aids: AidsReading | None) -> None:
        """New marks."""
        self._clipped = None if aids is None else aids.clipped
        self._patch = None if aids is None else aids.focus_patch
        self._spot = None if aids is None else aids.spot
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        view = self._picture.view
        if view is None:
            return
        p = QPainter(self)
        smooth(p)
        if self._clipped is not None:
            self._paint_clipped(p, self._clipped)
        if self._patch is not None:
            rows, columns = self._patch
            left, top = view.to_widget(columns.start - 0.5, rows.start - 0.5)
            right, bottom = view.to_widget(columns.stop - 0.5, rows.stop - 0.5)
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.setPen(pen(faded(COLOURS.brass, 0.85), self._look.line(1.4)))
            p.drawRect(QRectF(left, top, right - left, bottom - top))
        if self._spot is not None:
            self._paint_spot(p, self._spot)
        p.end()

    def _paint_clipped(self, p: QPainter, clipped: ClipMarks) -> None:
        """Rising strokes where the top code was reached, falling ones at the bottom code."""
        view = self._picture.view
        assert view is not None
        cell = clipped.cell * view.scale
        for value, style in ((255, Qt.BrushStyle.BDiagPattern), (1, Qt.BrushStyle.FDiagPattern)):
            rows, columns = np.nonzero(clipped.marks == value)
            if not len(rows):
                continue
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(QBrush(COLOURS.ember, style))
            left, top = view.to_widget(clipped.x - 0.5, clipped.y - 0.5)
            # A run of cells in a row is one box: a clipped picture has thousands of cells.
            for row in np.unique(rows).tolist():
                cut = np.split(
                    columns[rows == row], np.nonzero(np.diff(columns[rows == row]) > 1)[0] + 1
                )
                for run in cut:
                    p.drawRect(
                        QRectF(
                            left + run[0] * cell,
                            top + row * cell,
                            (run[-1] - run[0] + 1) * cell,
                            cell,
                        )
                    )

    def _paint_spot(self, p: QPainter, spot: Spot) -> None:
        view = self._picture.view
        assert view is not None
        x, y = view.to_widget(spot.cx, spot.cy)
        p.save()
        p.translate(x, y)
        p.rotate(float(np.degrees(spot.angle_rad)))
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.brass, self._look.line(1.8)))
        p.drawEllipse(QPointF(0, 0), spot.major_px / 2 * view.scale, spot.minor_px / 2 * view.scale)
        p.restore()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        view = self._picture.view
        if event is not None and view is not None:
            self.marked.emit(*view.to_picture(event.position().x(), event.position().y()))


def step_mark(true: bool, reached: bool) -> Mark:
    """A step of the set-up: a full disc with a tick when true, a ring with a dot when it was."""

    def draw(p: QPainter, box: QRectF, look: Look) -> None:
        centre, radius = box.center(), box.width() / 2 * 0.8
        p.setPen(pen(COLOURS.brass if true else COLOURS.tick, look.line(1.5)))
        p.setBrush(COLOURS.brass if true else Qt.BrushStyle.NoBrush)
        p.drawEllipse(centre, radius, radius)
        if true:
            p.setPen(pen(COLOURS.ground, look.line(2.2), Qt.PenCapStyle.RoundCap))
            p.drawPolyline(
                QPolygonF(
                    [
                        centre + QPointF(-0.45, 0.05) * radius,
                        centre + QPointF(-0.1, 0.42) * radius,
                        centre + QPointF(0.5, -0.38) * radius,
                    ]
                )
            )
        elif reached:
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(COLOURS.tick)
            p.drawEllipse(centre, radius * 0.4, radius * 0.4)

    return draw
