"""A small panel of settings that are turned while looking: enhancement, or the trigger.

One row is in hand; up and down choose the row, left and right turn its value.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPolygonF, QWheelEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.paint import paint_ground, smooth, text_width
from liveview.gui.theme import COLOURS, FITTING, Look, Type, Weight
from liveview.gui.words import THIN, first_up, millimetres, seconds
from liveview.settings import Settings


@dataclass(frozen=True, slots=True)
class Row:
    """One setting: where it is, what it is called, the values it runs through, its words."""

    section: str
    name: str
    title: str
    values: tuple[Any, ...]
    words: Callable[[Any], str]

    def value(self, settings: Settings) -> Any:
        """The value in force."""
        return getattr(getattr(settings, self.section), self.name)

    def turned(self, settings: Settings, steps: int) -> Any:
        """The value so many places on; numbers between two places go to the next one."""
        now = self.value(settings)
        if now in self.values:
            at = self.values.index(now) + steps
        else:
            below = sum(value < now for value in self.values)
            at = below + steps - (1 if steps > 0 else 0)
        return self.values[min(max(at, 0), len(self.values) - 1)]


def _plain(value: Any) -> str:
    return first_up(str(value))


def _on_off(value: Any) -> str:
    return "On" if value else "Off"


def _frames(value: Any) -> str:
    return "Off" if value == 1 else f"{value} frames"


def _pixels(value: Any) -> str:
    return "Off" if value == 0 else f"{value:g}{THIN}px"


def _unit(value: Any) -> str:
    return {"contrast": "Contrast", "arcsec": "Arcseconds", "sigma": "Times noise"}[value]


def _sigma(value: Any) -> str:
    return f"{value:g}{THIN}σ"


def _metres(value: Any) -> str:
    return f"{value:.2f}{THIN}m" if value >= 0.1 else millimetres(value, 0)


def _catch(value: Any) -> str:
    return {
        "off": "By hand only",
        "flash": "Flash",
        "sound": "Crack",
        "either": "Flash or crack",
        "both": "Flash and crack",
    }[value]


_SECONDS = (0.0, 0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0, 60.0)

ENHANCE = (
    Row("enhance", "background", "Background", ("reference", "running", "median"), _plain),
    Row(
        "enhance",
        "background_time_s",
        "Follows in",
        (2.0, 5.0, 10.0, 20.0, 60.0, 300.0),
        seconds,
    ),
    Row("enhance", "lamp_correction", "Lamp evened", ("off", "frame", "rows"), _plain),
    Row("enhance", "steady", "Steadied", (False, True), _on_off),
    Row("enhance", "average_frames", "Average", (1, 2, 4, 8, 16, 32, 64), _frames),
    Row("enhance", "smooth_px", "Smooth", (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0), _pixels),
    Row("enhance", "unit", "Unit", ("contrast", "arcsec", "sigma"), _unit),
)
"""What makes the faint visible."""

CATCH = (
    Row("catch", "on", "Starts on", ("off", "flash", "sound", "either", "both"), _catch),
    Row("catch", "pre_trigger_s", "Kept before", _SECONDS, seconds),
    Row("catch", "post_trigger_s", "Kept after", _SECONDS, seconds),
    Row(
        "catch",
        "sensitivity_sigma",
        "Threshold",
        (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0),
        _sigma,
    ),
    Row(
        "catch",
        "mic_distance_m",
        "Microphone at",
        (0.0, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0),
        _metres,
    ),
    Row("catch", "again", "Arm again", (False, True), _on_off),
)
"""What starts an event and how much of it is kept."""

_ROW = 3.1
_HEAD = 4.2

MOST_SPREAD = 1.1
"""How much farther apart rows are for larger text, at most: the pads of the page stand above."""


class TuningPanel(QWidget):
    """The panel. It asks for a change by ``wanted(section, name, value)``."""

    wanted = pyqtSignal(str, str, object)

    def __init__(self, title: str, rows: Sequence[Row], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._title = title
        self._rows = tuple(rows)
        self._settings = Settings()
        self._look = Look()
        self._spread = 1.0
        self._index = 0
        self.setAccessibleName(title)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setToolTip("Up and down choose, left and right turn")
        self.hide()

    def set_look(self, look: Look) -> None:
        """Sizes for the present window; rows are as far apart as larger text needs."""
        self._spread = min(max(look.text_scale, 1.0), MOST_SPREAD)
        self._look = look.spread(self._spread)
        self.update()

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings
        self.update()

    def set_rows(self, rows: Sequence[Row]) -> None:
        """Other rows, or other values to choose from; the one in hand stays the one in hand."""
        self._rows = tuple(rows)
        self._index = min(self._index, len(self._rows) - 1)
        self.update()

    @property
    def steps_high(self) -> float:
        """Height it wants, in the window's steps."""
        return (_HEAD + _ROW * len(self._rows) + 1.0) * self._spread

    @property
    def row(self) -> Row:
        """The row in hand."""
        return self._rows[self._index]

    def words(self) -> str:
        """All it says, one row a line."""
        return "\n".join(f"{row.title}: {self._shown(row)}" for row in self._rows)

    def choose(self, by: int) -> None:
        """Take another row."""
        self._index = (self._index + by) % len(self._rows)
        self.update()

    def turn(self, steps: int) -> None:
        """Turn the row in hand."""
        row = self.row
        value = row.turned(self._settings, steps)
        if value != row.value(self._settings):
            self.wanted.emit(row.section, row.name, value)

    def _shown(self, row: Row) -> str:
        return row.words(row.value(self._settings))

    def _row_box(self, index: int) -> QRectF:
        look = self._look
        top = look.px(_HEAD + _ROW * index)
        return QRectF(look.px(1), top, self.width() - look.px(2), look.px(_ROW))

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        paint_ground(p, self.rect(), look)
        p.setFont(look.font(Type.BODY, Weight.STRONG))
        p.setPen(COLOURS.brass)
        middle = Qt.AlignmentFlag.AlignVCenter
        p.drawText(
            QRectF(look.px(2), look.px(0.6), self.width(), look.px(3.2)), int(middle), self._title
        )
        words = look.smaller(self.fitting)
        for index, row in enumerate(self._rows):
            self._paint_row(p, row, self._row_box(index), index == self._index, words)
        p.end()

    @property
    def fitting(self) -> float:
        """Share of their usual size in which the rows are written: titles stay off values."""
        look = self._look
        room = self._inner(self._row_box(0)).width() - look.px(1)
        for size in FITTING:
            font = look.smaller(size).font(Type.BODY, Weight.FIRM)
            if all(text_width(font, row.title + self._shown(row)) <= room for row in self._rows):
                return size
        return FITTING[-1]

    def _inner(self, box: QRectF) -> QRectF:
        return box.adjusted(self._look.px(1), 0, -self._look.px(2.8), 0)

    def _paint_row(self, p: QPainter, row: Row, box: QRectF, here: bool, words: Look) -> None:
        look = self._look
        if here:
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(COLOURS.raised)
            p.drawRoundedRect(box, look.px(0.6), look.px(0.6))
        inner = self._inner(box)
        p.setFont(words.font(Type.BODY, Weight.FIRM if here else Weight.PLAIN))
        p.setPen(COLOURS.text if here else COLOURS.quiet)
        left = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        p.drawText(inner, int(left), row.title)
        p.setPen(COLOURS.text)
        p.drawText(inner, int(right), self._shown(row))
        if here:
            self._paint_arrows(p, box, row)

    def _paint_arrows(self, p: QPainter, box: QRectF, row: Row) -> None:
        """Which way it can still be turned."""
        look, now = self._look, row.value(self._settings)
        size, x, y = look.px(0.55), box.right() - look.px(1.1), box.center().y()
        p.setPen(Qt.PenStyle.NoPen)
        for turn, off in ((-1, -look.px(0.45)), (1, look.px(0.45))):
            p.setBrush(COLOURS.brass if row.turned(self._settings, turn) != now else COLOURS.line)
            p.drawPolygon(
                QPolygonF(
                    [
                        QPointF(x + off + turn * size, y),
                        QPointF(x + off, y - size),
                        QPointF(x + off, y + size),
                    ]
                )
            )

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        for index in range(len(self._rows)):
            if self._row_box(index).contains(event.position()):
                self._index = index
                middle = self._row_box(index).right() - self._look.px(1.1)
                if event.position().x() > middle - self._look.px(1.2):
                    self.turn(1 if event.position().x() > middle else -1)
                self.update()

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None and event.angleDelta().y():
            self.turn(1 if event.angleDelta().y() > 0 else -1)
