"""The list of events: a round poster, when, why, how strong. Newest at the top."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QImage, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QWheelEvent
from PyQt6.QtWidgets import QToolTip, QWidget

from liveview.gui.paint import pen, smooth
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.gui.words import CAUSE_WORDS, DOT, THIN, count
from liveview.model import Cause
from liveview.review.shelf import EventCard

ROW_STEPS = 7.6


def when_words(started_at: str, today: date) -> str:
    """``14:03:22`` today, with the day before it otherwise; the text itself where it is no time."""
    try:
        moment = datetime.fromisoformat(started_at)
    except ValueError:
        return started_at or "time not known"
    clock = f"{moment:%H:%M:%S}"
    return clock if moment.date() == today else f"{moment.day}{THIN}{moment:%b %Y}, {clock}"


def why_words(card: EventCard) -> str:
    """Cause and strength."""
    if card.cause is None:
        return card.words
    parts = [CAUSE_WORDS[card.cause]]
    measured = card.cause not in (Cause.HAND, Cause.COUNT)
    if measured and card.strength is not None and card.strength > 0:
        parts.append(f"{card.strength:.0f}{THIN}\u03c3")
    return DOT.join(parts)


def size_words(card: EventCard) -> str:
    """How many frames and sparks, and what is wrong with it."""
    parts = [] if card.frames is None else [count(card.frames, "frame", "frames")]
    if card.sparks > 1:
        parts.append(count(card.sparks, "spark", "sparks"))
    if card.cause is not None and not card.converted:
        parts.append("raw")
    elif card.cause is not None and card.words:
        parts.append(card.words)
    elif not card.complete and card.cause is not None:
        parts.append("incomplete")
    return DOT.join(parts)


def _whole_words(card: EventCard) -> str:
    raw = () if card.converted or card.cause is None else (f"Raw: {card.words}",)
    return "\n".join((card.name, why_words(card), size_words(card), *raw))


class EventList(QWidget):
    """Paints the cards; the chosen one is marked. Mouse wheel and drag scroll."""

    chosen = pyqtSignal(object)
    """Path of the event that was pressed."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._cards: tuple[EventCard, ...] = ()
        self._posters: dict[Path, QImage] = {}
        self._chosen: Path | None = None
        self._over: int | None = None
        self._top = 0.0
        self._words = ""
        self.today = date.today()
        self.setMouseTracking(True)
        self.setAccessibleName("Events")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self._scroll(0.0)
        self.update()

    @property
    def cards(self) -> tuple[EventCard, ...]:
        """What is shown."""
        return self._cards

    @property
    def words(self) -> str:
        """What stands there instead of events."""
        return self._words

    def show_cards(self, cards: Sequence[EventCard], words: str = "") -> None:
        """Replace the cards; ``words`` stand there when there are none."""
        self._cards, self._words = tuple(cards), words
        self.today = date.today()
        kept = {card.path for card in cards}
        self._posters = {path: image for path, image in self._posters.items() if path in kept}
        self._scroll(0.0)
        self.update()

    def show_poster(self, path: Path, image: QImage) -> None:
        """The picture of one of them."""
        self._posters[path] = image
        self.update()

    def mark(self, path: Path | None) -> None:
        """Mark one as open and make sure that it is to be seen."""
        self._chosen = path
        index = self.index_of(path)
        if index is not None:
            top, tall = index * self._row, self._row
            if top < self._top:
                self._top = top
            elif top + tall > self._top + self.height():
                self._top = top + tall - self.height()
        self._scroll(0.0)
        self.update()

    def index_of(self, path: Path | None) -> int | None:
        """Place of an event in the list."""
        return next((k for k, card in enumerate(self._cards) if card.path == path), None)

    def neighbour(self, by: int) -> Path | None:
        """The event so many places below the marked one; None at the end."""
        index = self.index_of(self._chosen)
        to = 0 if index is None else index + by
        return self._cards[to].path if 0 <= to < len(self._cards) else None

    @property
    def _row(self) -> float:
        return self._look.px(ROW_STEPS)

    def _scroll(self, by: float) -> None:
        longest = max(len(self._cards) * self._row - self.height(), 0.0)
        self._top = min(max(self._top + by, 0.0), longest)
        self.update()

    # --- painting

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        if not self._cards:
            p.setFont(look.font())
            p.setPen(COLOURS.quiet)
            box = QRectF(self.rect()).adjusted(0, look.px(0.5), 0, 0)
            p.drawText(box, int(Qt.TextFlag.TextWordWrap), self._words)
        for k, card in enumerate(self._cards):
            top = k * self._row - self._top
            if top + self._row >= 0 and top <= self.height():
                self._paint_card(p, card, QRectF(0, top, self.width(), self._row), k == self._over)
        self._paint_more(p)
        p.end()

    def _paint_more(self, p: QPainter) -> None:
        """A thin bar at the left edge: which part of the list is to be seen."""
        whole = len(self._cards) * self._row
        if whole <= self.height() + 1:
            return
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.line)
        tall = max(self.height() ** 2 / whole, self._look.px(3))
        y = self._top / (whole - self.height()) * (self.height() - tall)
        p.drawRoundedRect(QRectF(self.width() - 3, y, 3, tall), 1.5, 1.5)

    def _paint_card(self, p: QPainter, card: EventCard, box: QRectF, over: bool) -> None:
        look = self._look
        on = card.path == self._chosen
        if on or over:
            p.setPen(Qt.PenStyle.NoPen)
            p.setBrush(COLOURS.raised if on else faded(COLOURS.raised, 0.6))
            p.drawRoundedRect(box.adjusted(0, 1, -5, -1), look.px(3.7), look.px(3.7))
        radius = look.px(3.1)
        centre = QPointF(box.left() + look.px(3.8), box.center().y())
        self._paint_poster(p, card, centre, radius, on)
        x = centre.x() + radius + look.px(1.4)
        width = box.right() - x - look.px(1.2)
        lines = (
            (when_words(card.started_at, self.today), Weight.STRONG if on else Weight.FIRM, True),
            (why_words(card), Weight.PLAIN, False),
            (size_words(card), Weight.PLAIN, False),
        )
        y = box.center().y() - look.px(3.1)
        for words, weight, head in lines:
            p.setFont(look.font(Type.BODY if head else Type.SMALL, weight))
            p.setPen(COLOURS.text if head and (on or over) else COLOURS.quiet)
            fitting = p.fontMetrics().elidedText(
                words, Qt.TextElideMode.ElideRight, max(int(width), 1)
            )
            line = QRectF(x, y, width, look.px(2.2))
            p.drawText(line, int(Qt.AlignmentFlag.AlignVCenter), fitting)
            y += look.px(2.15)

    def _paint_poster(
        self, p: QPainter, card: EventCard, centre: QPointF, radius: float, on: bool
    ) -> None:
        image = self._posters.get(card.path)
        p.setBrush(COLOURS.raised)
        p.setPen(Qt.PenStyle.NoPen)
        p.drawEllipse(centre, radius, radius)
        if image is not None:
            p.save()
            path = QPainterPath()
            path.addEllipse(centre, radius, radius)
            p.setClipPath(path)
            height = 2 * radius * 1.06
            width = height * image.width() / max(image.height(), 1)
            if width < height:
                width, height = height, height * height / max(width, 1.0)
            box = QRectF(centre.x() - width / 2, centre.y() - height / 2, width, height)
            p.drawImage(box, image)
            p.restore()
        p.setBrush(Qt.BrushStyle.NoBrush)
        p.setPen(pen(COLOURS.brass if on else COLOURS.line, self._look.line(2.2 if on else 1.4)))
        p.drawEllipse(centre, radius, radius)

    # --- mouse

    def _index_at(self, y: float) -> int | None:
        index = int((y + self._top) // self._row)
        return index if 0 <= index < len(self._cards) else None

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        over = self._index_at(event.position().y())
        if over != self._over:
            self._over = over
            hand = Qt.CursorShape.PointingHandCursor
            self.setCursor(Qt.CursorShape.ArrowCursor if over is None else hand)
            tip = "" if over is None else _whole_words(self._cards[over])
            self.setToolTip(tip.strip())
            QToolTip.hideText()
            self.update()

    def leaveEvent(self, event: object) -> None:
        self._over = None
        self.update()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None or event.button() != Qt.MouseButton.LeftButton:
            return
        index = self._index_at(event.position().y())
        if index is not None:
            self.chosen.emit(self._cards[index].path)

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        if event is not None:
            self._scroll(-event.angleDelta().y() / 120 * self._row)
            event.accept()
