"""A pad: sign, title, note and key, to be pressed by mouse or keyboard."""

from __future__ import annotations

from PyQt6.QtCore import QEvent, QRectF, QSize, Qt
from PyQt6.QtGui import QEnterEvent, QFont, QKeyEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QAbstractButton, QWidget

from liveview.gui.marks import Mark, no_mark
from liveview.gui.paint import pen, smooth, text_width
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded


def paint_keycap(p: QPainter, x: float, middle: float, key: str, look: Look) -> float:
    """A key's name in a small outline; returns its width."""
    font = look.font(Type.SMALL, Weight.FIRM)
    width = max(text_width(font, key) + look.px(1.2), look.px(2.4))
    box = QRectF(x, middle - look.px(1.25), width, look.px(2.5))
    p.setFont(font)
    p.setPen(pen(COLOURS.line, look.line(1.2)))
    p.setBrush(faded(COLOURS.raised, 0.9))
    p.drawRoundedRect(box, look.px(0.5), look.px(0.5))
    p.setPen(COLOURS.quiet)
    p.drawText(box, Qt.AlignmentFlag.AlignCenter, key)
    return width


def keycap_width(key: str, look: Look) -> float:
    """Width of :func:`paint_keycap` without painting."""
    return max(text_width(look.font(Type.SMALL, Weight.FIRM), key) + look.px(1.2), look.px(2.4))


class Pad(QAbstractButton):
    """One thing to press.

    Parameters
    ----------
    title : str
        What it does, or what it is.
    key : str
        Name of its key, shown beside it; empty for none.
    mirrored : bool
        Sign at the right end, text to its left: for the left half of the instrument.
    tip : str
        What pressing it does, said when the pointer rests on it; the title where that is enough.
    """

    def __init__(
        self,
        title: str,
        key: str = "",
        *,
        mirrored: bool = False,
        tip: str = "",
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._look = Look()
        self._key = key
        self._mirrored = mirrored
        self._mark: Mark | None = None
        self._note = ""
        self._on = False
        self._over = False
        self._leaves_enter = False
        self._tip = tip
        self.setText(title)
        self.setAccessibleName(title)
        self.setToolTip(f"{tip or title}  ({key or 'Tab, then Enter'})")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)

    def leave_enter(self) -> None:
        """Enter is for the sheet it stands on; the space bar presses it."""
        self._leaves_enter = True
        self.setToolTip(f"{self._tip or self.text()}  ({self._key or 'Tab, then Space'})")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        self.resize(self.sizeHint())
        self.update()

    def set_state(
        self, *, mark: Mark | None = None, note: str = "", on: bool = False, title: str = ""
    ) -> None:
        """What it shows."""
        if (mark, note, on, title or self.text()) == (
            self._mark,
            self._note,
            self._on,
            self.text(),
        ):
            return
        marked = (mark is None) != (self._mark is None)
        resized = marked or note != self._note or (title and title != self.text())
        self._mark, self._note, self._on = mark, note, on
        if title:
            self.setText(title)
            self.setAccessibleName(title)
        self.setAccessibleDescription(note)
        if resized:
            self.resize(self.sizeHint())
        self.update()

    def set_key(self, key: str) -> None:
        """Another key does it."""
        if key != self._key:
            self._key = key
            self.setToolTip(f"{self._tip or self.text()}  ({key or 'Tab, then Enter'})")
            self.resize(self.sizeHint())
            self.update()

    @property
    def key(self) -> str:
        """Name of its key; empty for none."""
        return self._key

    @property
    def note(self) -> str:
        """The second line."""
        return self._note

    @property
    def on(self) -> bool:
        """Shown as chosen or switched on."""
        return self._on

    def sizeHint(self) -> QSize:
        """Room for the sign, the longer line and the key."""
        look = self._look
        title = text_width(self._title_font(True), self.text())
        note = text_width(look.font(Type.SMALL), self._note)
        mark = look.px(3.6) + look.px(1.0) if self._has_mark() else 0.0
        key = keycap_width(self._key, look) + look.px(1.2) if self._key else 0.0
        height = look.px(5.0) if self._note else look.px(3.8)
        return QSize(round(mark + max(title + key, note) + look.px(1.0)), round(height))

    def _has_mark(self) -> bool:
        return self._mark is not None

    def _title_font(self, on: bool) -> QFont:
        return self._look.font(Type.BODY, Weight.STRONG if on else Weight.FIRM)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        smooth(p)
        look = self._look
        if self._over or self.hasFocus():
            p.setPen(Qt.PenStyle.NoPen if not self.hasFocus() else pen(COLOURS.brass, 1.5))
            p.setBrush(faded(COLOURS.raised, 0.95))
            box = QRectF(self.rect()).adjusted(1, 1, -1, -1)
            p.drawRoundedRect(box, look.px(0.8), look.px(0.8))
        self._paint_mark(p)
        self._paint_text(p)
        p.end()

    def _paint_mark(self, p: QPainter) -> None:
        if self._mark is None or self._mark is no_mark:
            return
        side = self._look.px(3.4)
        x = self.width() - side - self._look.px(0.5) if self._mirrored else self._look.px(0.5)
        self._mark(p, QRectF(x, (self.height() - side) / 2, side, side), self._look)

    def _paint_text(self, p: QPainter) -> None:
        look = self._look
        inset = look.px(0.5) + (look.px(4.4) if self._has_mark() else 0.0)
        font = look.font(Type.BODY, Weight.STRONG if self._on else Weight.FIRM)
        width = text_width(font, self.text())
        middle = look.px(1.5) if self._note else self.height() / 2
        right = self.width() - inset
        x = right - width if self._mirrored else inset
        p.setFont(font)
        colour = COLOURS.text if self._on or self._over else COLOURS.quiet
        p.setPen(colour if self.isEnabled() else COLOURS.tick)
        p.drawText(
            QRectF(x, middle - look.px(1.5), width + 2, look.px(3)),
            Qt.AlignmentFlag.AlignVCenter,
            self.text(),
        )
        if self._key:
            at = x - look.px(1.2) - keycap_width(self._key, look) if self._mirrored else None
            at = x + width + look.px(1.2) if at is None else at
            paint_keycap(p, at, middle, self._key, look)
        if self._note:
            p.setFont(look.font(Type.SMALL))
            p.setPen(COLOURS.quiet)
            side = Qt.AlignmentFlag.AlignRight if self._mirrored else Qt.AlignmentFlag.AlignLeft
            box = QRectF(0, look.px(2.8), right, look.px(2.1))
            if not self._mirrored:
                box = QRectF(inset, look.px(2.8), self.width() - inset, look.px(2.1))
            flags = int(side | Qt.AlignmentFlag.AlignVCenter) | int(Qt.TextFlag.TextDontClip)
            p.drawText(box, flags, self._note)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Enter presses it; the space bar belongs to the picture.

        On a sheet whose Enter does something the other way round: see ``leave_enter``.
        """
        if event is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if self._leaves_enter:
                event.ignore()
            else:
                self.click()
            return
        super().keyPressEvent(event)

    def enterEvent(self, event: QEnterEvent | None) -> None:
        self._over = True
        super().enterEvent(event)

    def leaveEvent(self, event: QEvent | None) -> None:
        self._over = False
        super().leaveEvent(event)
