"""The list of caught events, newest first: a round poster, what started it, when, how strong."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import (
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPixmap,
    QPolygonF,
    QWheelEvent,
)
from PyQt6.QtWidgets import QWidget

from liveview.gui.catch_words import card_words
from liveview.gui.paint import circle, pen, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.review.shelf import EventCard

ROW = 6.4
"""Height of a row, steps."""

POSTERS = 60
"""Posters kept in memory."""

POSTER_PX = 160


class EventList(QWidget):
    """Shows cards; one is chosen."""

    opened = pyqtSignal()
    """The chosen one was pressed twice."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._cards: tuple[EventCard, ...] = ()
        self._index = 0
        self._first = 0
        self._posters: dict[Path, QPixmap] = {}
        self.empty_words = "Nothing caught yet."
        self.setAccessibleName("Caught events")
        self.setToolTip(
            "Pressed twice it opens in Review  (PgUp, PgDown, then L). Raw: not compressed yet"
        )

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    @property
    def cards(self) -> tuple[EventCard, ...]:
        """What it shows, newest first."""
        return self._cards

    @property
    def chosen(self) -> EventCard | None:
        """The card in hand."""
        return self._cards[self._index] if self._cards else None

    @property
    def follows(self) -> bool:
        """The newest is chosen, whichever that is."""
        return self._index == 0

    def words(self) -> str:
        """All it says."""
        if not self._cards:
            return self.empty_words
        return "\n".join(", ".join(card_words(card)) for card in self._cards)

    def show_cards(self, cards: Sequence[EventCard]) -> None:
        """Replace the cards. The chosen one stays chosen, unless that is the newest: then the
        next newest is."""
        if tuple(cards) == self._cards:
            return
        name = self._cards[self._index].name if self._cards and self._index > 0 else None
        self._cards = tuple(cards)
        self._index = next((k for k, card in enumerate(cards) if card.name == name), 0)
        self._see()

    def choose(self, by: int) -> None:
        """An older (positive) or newer one."""
        self.choose_at(self._index + by)

    def choose_at(self, index: int) -> None:
        """The card at a place, as near as there is one."""
        self._index = min(max(index, 0), max(len(self._cards) - 1, 0))
        self._see()

    def choose_name(self, name: str) -> None:
        """The card of this name, if it is there."""
        found = [k for k, card in enumerate(self._cards) if card.name == name]
        if found:
            self.choose_at(found[0])

    @property
    def _rows(self) -> int:
        return max(int(self.height() / self._look.px(ROW)), 1)

    def _see(self) -> None:
        """Scroll so that the chosen one is in view."""
        last = max(len(self._cards) - self._rows, 0)
        self._first = min(max(self._first, self._index - self._rows + 1), self._index, last)
        self.setAccessibleDescription("" if self.chosen is None else card_words(self.chosen)[0])
        self.update()

    def load_posters(self, most: int = 1) -> None:
        """Read a few posters that are in view and not read yet."""
        for card in self._cards[self._first : self._first + self._rows]:
            if most and card.poster is not None and card.poster not in self._posters:
                most -= 1
                self._posters[card.poster] = _round_poster(card.poster)
                while len(self._posters) > POSTERS:
                    del self._posters[next(iter(self._posters))]
                self.update()

    def row_box(self, index: int) -> QRectF:
        """Where a card is, in this widget."""
        high = self._look.px(ROW)
        return QRectF(0, (index - self._first) * high, self.width(), high)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        if not self._cards:
            p.setFont(self._look.font())
            p.setPen(COLOURS.quiet)
            flags = int(Qt.AlignmentFlag.AlignRight | Qt.TextFlag.TextWordWrap)
            p.drawText(QRectF(self.rect()), flags, self.empty_words)
        for index in range(self._first, min(self._first + self._rows, len(self._cards))):
            self._paint_row(p, self._cards[index], self.row_box(index), index == self._index)
        if len(self._cards) > self._rows:
            self._paint_more(p)
        p.end()

    def _paint_row(self, p: QPainter, card: EventCard, box: QRectF, here: bool) -> None:
        look = self._look
        if here:
            p.setPen(pen(COLOURS.line, look.line()))
            p.setBrush(COLOURS.raised)
            p.drawRoundedRect(box.adjusted(1, 1, -1, -1), look.px(0.8), look.px(0.8))
        side = look.px(ROW - 1.2)
        place = QRectF(box.left() + look.px(0.7), box.top() + look.px(0.6), side, side)
        self._paint_poster(p, card, place)
        text = box.adjusted(side + look.px(2.2), look.px(0.5), -look.px(1.4), -look.px(0.5))
        title, when = card_words(card)
        half = text.height() / 2
        left = int(Qt.AlignmentFlag.AlignVCenter)
        for words, top, font, colour in (
            (title, text.top(), look.font(Type.BODY, Weight.STRONG if here else Weight.FIRM), True),
            (when, text.top() + half, look.font(Type.SMALL), here),
        ):
            p.setFont(font)
            p.setPen(COLOURS.text if colour else COLOURS.quiet)
            room = QRectF(text.left(), top, text.width(), half)
            elide = Qt.TextElideMode.ElideRight
            p.drawText(room, left, p.fontMetrics().elidedText(words, elide, int(text.width())))

    def _paint_poster(self, p: QPainter, card: EventCard, place: QRectF) -> None:
        poster = None if card.poster is None else self._posters.get(card.poster)
        if poster is not None and not poster.isNull():
            p.drawPixmap(place, poster, QRectF(poster.rect()))
        p.setBrush(Qt.BrushStyle.NoBrush)
        line = pen(COLOURS.tick if card.converted else COLOURS.line, self._look.line(1.2))
        if not card.converted:
            line.setDashPattern([2.0, 2.0])
        p.setPen(line)
        p.drawEllipse(place)

    def _paint_more(self, p: QPainter) -> None:
        """A thin bar: which part of the list is in view."""
        whole = len(self._cards)
        tall = self._rows * self._look.px(ROW)
        x, wide = self.width() - self._look.px(0.5), self._look.px(0.4)
        p.fillRect(QRectF(x, 0, wide, tall), faded(COLOURS.line, 0.6))
        top = tall * self._first / whole
        p.fillRect(QRectF(x, top, wide, tall * self._rows / whole), COLOURS.tick)
        if self._first + self._rows < whole:
            size, y = self._look.px(0.6), tall - self._look.px(0.4)
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(COLOURS.quiet)
            corners = [QPointF(x - size, y - size), QPointF(x + wide + size, y - size)]
            p.drawPolygon(QPolygonF([*corners, QPointF(x + wide / 2, y)]))

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        index = self._first + int(event.position().y() / self._look.px(ROW))
        if index < len(self._cards):
            self.choose_at(index)

    def mouseDoubleClickEvent(self, event: QMouseEvent | None) -> None:
        if self.chosen is not None:
            self.opened.emit()

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None and event.angleDelta().y():
            self.choose(-1 if event.angleDelta().y() > 0 else 1)


def _round_poster(path: Path) -> QPixmap:
    """The middle of a poster as a disc; empty where it cannot be read."""
    whole = QPixmap(str(path))
    if whole.isNull():
        return whole
    side = min(whole.width(), whole.height())
    middle = QRectF((whole.width() - side) / 2, (whole.height() - side) / 2, side, side)
    disc = QPixmap(POSTER_PX, POSTER_PX)
    disc.fill(Qt.GlobalColor.transparent)
    p = QPainter(disc)
    smooth(p)
    path_round = QPainterPath()
    half = POSTER_PX / 2
    path_round.addEllipse(circle(QPointF(half, half), half))
    p.setClipPath(path_round)
    p.drawPixmap(QRectF(disc.rect()), whole, middle)
    p.end()
    return disc
