"""The strips beside the instrument's top: pages on the left, the source on the right."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QMouseEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QAbstractButton, QWidget

from liveview.gui.paint import pen, smooth, text_width
from liveview.gui.theme import COLOURS, FITTING, Look, Type, Weight, faded
from liveview.gui.words import STATE_WORDS, source_line
from liveview.model import SessionState, SessionStatus


class PageBar(QWidget):
    """The pages there are, as stations on a line in the order of the work."""

    turned_to = pyqtSignal(str)

    def __init__(self, pages: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._pages = tuple(pages)
        self._at = self._pages[0]
        self.setAccessibleName("Pages")

    def set_look(self, look: Look, room: float) -> None:
        """Sizes for the present window; words are smaller where ``room`` (pixels) is short."""
        for size in FITTING:
            self._look = look.smaller(size)
            if self.sizeHint().width() <= room:
                break
        self.resize(self.sizeHint())
        self.update()

    def show_pages(self, pages: Sequence[str]) -> None:
        """Replace the stations; the one that is open stays marked."""
        self._pages = tuple(pages)
        self.resize(self.sizeHint())
        self.update()

    @property
    def pages(self) -> tuple[str, ...]:
        """Names in order."""
        return self._pages

    def turn_to(self, page: str) -> None:
        """Mark the page that is open."""
        self._at = page
        self.update()

    def _boxes(self) -> list[QRectF]:
        look, x, boxes = self._look, 0.0, []
        font = look.font(Type.LEAD, Weight.STRONG)
        for page in self._pages:
            width = look.px(2.4) + text_width(font, page)
            boxes.append(QRectF(x, 0, width, look.px(4)))
            x += width + look.px(1.9)
        return boxes

    def sizeHint(self) -> QSize:
        """Room for all stations."""
        return QSize(round(self._boxes()[-1].right() + 2), round(self._look.px(4)))

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look, boxes = self._look, self._boxes()
        middle = look.px(2)
        p.setPen(pen(COLOURS.line, look.line(1.4)))
        for left, right in itertools.pairwise(boxes):
            p.drawLine(
                QPointF(left.right() + look.px(0.4), middle),
                QPointF(right.left() - look.px(0.2), middle),
            )
        for page, box in zip(self._pages, boxes, strict=True):
            here = page == self._at
            p.setPen(pen(COLOURS.brass if here else COLOURS.tick, look.line(1.6)))
            p.setBrush(COLOURS.brass if here else Qt.BrushStyle.NoBrush)
            p.drawEllipse(QPointF(box.left() + look.px(0.8), middle), look.px(0.6), look.px(0.6))
            p.setFont(look.font(Type.LEAD, Weight.STRONG if here else Weight.PLAIN))
            p.setPen(COLOURS.text if here else COLOURS.quiet)
            text = box.adjusted(look.px(2.4), 0, 2, 0)
            p.drawText(text, int(Qt.AlignmentFlag.AlignVCenter), page)
        p.end()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is None:
            return
        for page, box in zip(self._pages, self._boxes(), strict=True):
            if box.contains(event.position()):
                self.turned_to.emit(page)


class SourceStrip(QAbstractButton):
    """Name, state and figures of the source; a press chooses another one."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self._name = "no source"
        self._line = ""
        self._state = SessionState.STOPPED
        self._simulated = False
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName("Source")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.update()

    @property
    def simulated(self) -> bool:
        """True while the label is shown."""
        return self._simulated

    def words(self) -> str:
        """All it says."""
        label = "SIMULATED " if self._simulated else ""
        return f"{label}{self._name} {self._line}"

    def show_status(self, status: SessionStatus) -> None:
        """Name, state and figures."""
        source = status.source
        name, line = "no source", STATE_WORDS[status.state]
        simulated = source is not None and source.simulated
        if source is not None:
            name = source.name.removeprefix("simulated: ") if simulated else source.name
            line = source_line(source, status.rate_hz)
            if status.state is not SessionState.RUNNING:
                line = STATE_WORDS[status.state]
        elif status.state is SessionState.OPENING:
            name = status.words[0] if status.words else "opening"
            line = ""
        shown = (name, line, status.state, simulated)
        if shown != (self._name, self._line, self._state, self._simulated):
            self._name, self._line, self._state, self._simulated = shown
            self.setAccessibleDescription(self.words())
            self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look, width = self._look, float(self.width())
        font = look.font(Type.LEAD, Weight.STRONG)
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        label = self._label_width() if self._simulated else 0.0
        room = width - label - look.px(1.5)
        p.setFont(font)
        name = p.fontMetrics().elidedText(self._name, Qt.TextElideMode.ElideMiddle, int(room))
        p.setPen(COLOURS.brass if self.hasFocus() or self.underMouse() else COLOURS.text)
        p.drawText(QRectF(0, 0, width, look.px(4)), int(right), name)
        if self._simulated:
            x = width - text_width(font, name) - look.px(1.5) - label
            self._paint_label(p, QRectF(x, look.px(0.5), label, look.px(3)))
        p.setFont(look.font(Type.SMALL))
        calm = self._state in (SessionState.RUNNING, SessionState.ENDED, SessionState.OPENING)
        p.setPen(COLOURS.quiet if calm else COLOURS.ember)
        p.drawText(QRectF(0, look.px(3.8), width, look.px(2.6)), int(right), self._line)
        p.end()

    def _label_width(self) -> float:
        return text_width(self._look.font(Type.SMALL, Weight.STRONG), "SIMULATED") + self._look.px(
            2
        )

    def _paint_label(self, p: QPainter, box: QRectF) -> None:
        look = self._look
        p.setPen(pen(COLOURS.brass, look.line(1.4)))
        p.setBrush(faded(COLOURS.brass_dim, 0.35))
        p.drawRoundedRect(box, look.px(0.6), look.px(0.6))
        p.setFont(look.font(Type.SMALL, Weight.STRONG))
        p.setPen(COLOURS.text)
        p.drawText(box, int(Qt.AlignmentFlag.AlignCenter), "SIMULATED")
