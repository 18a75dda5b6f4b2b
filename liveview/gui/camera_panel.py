"""The camera in the hand: exposure, gain, format and the rest, each with its state in words.

One row is in hand; up and down choose the row, left and right turn it while the picture goes on.
"""

from __future__ import annotations

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QFontMetricsF, QMouseEvent, QPainter, QPaintEvent, QPolygonF, QWheelEvent
from PyQt6.QtWidgets import QWidget

from liveview.engine.camera_handle import CameraHandle
from liveview.gui.camera_words import CameraRow, rows_of
from liveview.gui.marks import notice_mark
from liveview.gui.paint import paint_ground, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.words import first_up
from liveview.model import SessionStatus
from liveview.settings import Settings

WIDE = 38.5
"""Width in steps: over the instrument's rim, for the words need room."""
_HEAD = 4.4
_TITLE = 2.5
_NOTE = 2.0
_GAP = 0.5
_FOOT = 8.0
_LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
_RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)


class CameraPanel(QWidget):
    """The panel. ``wanted`` carries new values of ``settings.camera``."""

    wanted = pyqtSignal(object)
    check_asked = pyqtSignal()
    """The clock is to be checked."""
    grown = pyqtSignal()
    """It wants another height."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._handle: CameraHandle | None = None
        self._settings = Settings()
        self._status = SessionStatus()
        self._rows: list[CameraRow] = []
        self._watch = ""
        self._cheats = False
        self._name = ""
        self._index = 0
        self.setAccessibleName("Camera")
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setToolTip("Up and down choose, left and right turn, Shift turns faster")
        self.hide()

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    def hold(self, handle: CameraHandle | None) -> None:
        """Take another camera, or none."""
        self._handle = handle
        self._index = 0
        self._refresh()
        if handle is None:
            self.hide()

    @property
    def has_camera(self) -> bool:
        """True with something to turn."""
        return self._handle is not None

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self._refresh()

    def show_status(self, status: SessionStatus) -> None:
        """The newest status; the controls are read again with it."""
        self._status = status
        if self.isVisible():
            self._refresh()

    def _refresh(self) -> None:
        if self._handle is None:
            self._rows = []
            return
        reading = self._handle.reading()
        before, tall = (self._rows, self._watch, self._cheats), self.steps_high
        self._rows = rows_of(reading, self._settings.camera, self._status)
        self._watch, self._cheats = reading.watch, reading.cheats
        self._name = reading.name.removeprefix("simulated: ")
        self._index = min(self._index, len(self._rows) - 1)
        if (self._rows, self._watch, self._cheats) != before:
            self.setAccessibleDescription(self.words())
            self.update()
        if self.steps_high != tall:
            self.grown.emit()

    @property
    def rows(self) -> tuple[CameraRow, ...]:
        """What it shows."""
        return tuple(self._rows)

    @property
    def row(self) -> CameraRow | None:
        """The row in hand."""
        return self._rows[self._index] if self._rows else None

    @property
    def steps_high(self) -> float:
        """Height it wants, in steps."""
        rows = self._rows or [CameraRow("", "", "", " ")] * 10
        return _HEAD + sum(_tall(row) for row in rows) + _FOOT

    def words(self) -> str:
        """All it says, one row a line."""
        rows = "\n".join(f"{row.title}: {row.value}. {row.note}" for row in self._rows)
        return f"{rows}\n{self._watch}"

    def choose(self, by: int) -> None:
        """Take another row."""
        if self._rows:
            self._index = (self._index + by) % len(self._rows)
            self.update()

    def turn(self, steps: int) -> None:
        """Turn the row in hand."""
        row = self.row
        changes = None if row is None else row.turned(steps)
        if changes is not None:
            self.wanted.emit(dict(changes))
            self._refresh()

    def press(self) -> None:
        """Enter on the row in hand."""
        if self.row is not None and self.row.name == "delay":
            self.check_asked.emit()

    # --- painting

    def showEvent(self, event: object) -> None:
        self._refresh()

    @property
    def in_sight(self) -> range:
        """Rows there is room for: the one in hand, what stands above it, what follows."""
        heights = [_tall(row) for row in self._rows]
        room = self.height() / self._look.px(1) - _HEAD - _FOOT + 0.1
        first = self._index
        while first > 0 and sum(heights[first - 1 : self._index + 1]) <= room:
            first -= 1
        end = min(self._index + 1, len(heights))
        while end < len(heights) and sum(heights[first : end + 1]) <= room:
            end += 1
        return range(first, end)

    def _row_box(self, index: int) -> QRectF:
        look = self._look
        top = _HEAD + sum(_tall(row) for row in self._rows[self.in_sight.start : index])
        return QRectF(
            look.px(1), look.px(top), self.width() - look.px(2), look.px(_tall(self._rows[index]))
        )

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        paint_ground(p, self.rect(), look)
        head = QRectF(look.px(2), look.px(0.7), self.width() - look.px(4), look.px(3.2))
        p.setFont(look.font(Type.BODY, Weight.STRONG))
        p.setPen(COLOURS.brass)
        p.drawText(head, _LEFT, "Camera")
        in_sight = self.in_sight
        hidden = hidden_words(in_sight, len(self._rows))
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.brass if hidden else COLOURS.quiet)
        words = p.fontMetrics().elidedText(
            hidden or self._name, Qt.TextElideMode.ElideMiddle, int(head.width() - look.px(9))
        )
        p.drawText(head, _RIGHT, words)
        for index in in_sight:
            self._paint_row(p, self._rows[index], self._row_box(index), index == self._index)
        self._paint_foot(p)
        p.end()

    def _paint_row(self, p: QPainter, row: CameraRow, box: QRectF, here: bool) -> None:
        look = self._look
        if here:
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(COLOURS.raised)
            p.drawRoundedRect(box, look.px(0.6), look.px(0.6))
        top = box.top() + look.px(_GAP / 2)
        line = QRectF(box.left() + look.px(1), top, box.width() - look.px(4), 0)
        line.setHeight(look.px(_TITLE))
        p.setFont(look.font(Type.BODY, Weight.FIRM if here else Weight.PLAIN))
        p.setPen(COLOURS.text if here else COLOURS.quiet)
        p.drawText(line, _LEFT, row.title)
        p.setPen(COLOURS.text)
        p.drawText(line, _RIGHT, row.value)
        if row.note:
            self._paint_note(p, row, line.translated(0, look.px(_TITLE - 0.2)))
        if here:
            self._paint_arrows(p, box, line.center().y(), row)

    def _paint_note(self, p: QPainter, row: CameraRow, line: QRectF) -> None:
        look = self._look
        line.setHeight(look.px(_NOTE))
        p.setFont(look.font(Type.SMALL))
        p.setPen(COLOURS.ember if row.alarm else COLOURS.quiet)
        words = p.fontMetrics().elidedText(
            row.note, Qt.TextElideMode.ElideRight, int(line.width() - look.px(2))
        )
        p.drawText(line, _RIGHT, words)
        if row.alarm:
            side = look.px(1.5)
            x = line.right() - p.fontMetrics().horizontalAdvance(words) - side - look.px(0.6)
            notice_mark(p, QRectF(x, line.center().y() - side / 2, side, side), look)

    def _paint_arrows(self, p: QPainter, box: QRectF, y: float, row: CameraRow) -> None:
        """Which way it can still be turned."""
        look = self._look
        size, x = look.px(0.55), box.right() - look.px(1.2)
        p.setPen(Qt.PenStyle.NoPen)
        for turn, off in ((-1, -look.px(0.45)), (1, look.px(0.45))):
            p.setBrush(COLOURS.brass if row.turned(turn) is not None else COLOURS.line)
            p.drawPolygon(
                QPolygonF(
                    [
                        QPointF(x + off + turn * size, y),
                        QPointF(x + off, y - size),
                        QPointF(x + off, y + size),
                    ]
                )
            )

    def _paint_foot(self, p: QPainter) -> None:
        """What a turn does, and what the drift watch says."""
        look = self._look
        box = QRectF(look.px(2), self.height() - look.px(_FOOT - 0.4), 0, look.px(_FOOT - 1))
        box.setWidth(self.width() - look.px(4))
        font = look.font(Type.SMALL)
        p.setFont(font)
        wrap = int(Qt.TextFlag.TextWordWrap)
        hint = "" if self.row is None else self.row.hint
        p.setPen(COLOURS.quiet)
        p.drawText(box, wrap, hint)
        if self._watch:
            tall = QFontMetricsF(font).boundingRect(box, wrap, hint).height() if hint else 0.0
            p.setPen(COLOURS.ember if self._cheats else COLOURS.quiet)
            p.drawText(
                box.adjusted(0, tall, 0, 0),
                wrap,
                first_up(self._watch).replace(" %", "\u202f%") + ".",
            )

    # --- mouse

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        for index in self.in_sight:
            box = self._row_box(index)
            if box.contains(event.position()):
                again = index == self._index
                self._index = index
                middle = box.right() - self._look.px(1.2)
                if event.position().x() > middle - self._look.px(1.2):
                    self.turn(1 if event.position().x() > middle else -1)
                elif again:
                    self.press()
                self.update()
                return

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None and event.angleDelta().y():
            self.turn(1 if event.angleDelta().y() > 0 else -1)


def hidden_words(in_sight: range, count: int) -> str:
    """How many rows are out of sight above and below; empty when all are seen."""
    numbers = ((in_sight.start, "above"), (count - in_sight.stop, "below"))
    return ", ".join(f"{number} more {where}" for number, where in numbers if number)


def _tall(row: CameraRow) -> float:
    return _TITLE + _GAP + (_NOTE if row.note else 0.0)
