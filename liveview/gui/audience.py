"""The audience's window: it paints the frames that were sent, and nothing else ever.

No controls, no pointer, no messages. On a machine with one screen it has the keyboard, too; the
presenter's keys work in it and Esc is the way back.
"""

from __future__ import annotations

from PyQt6.QtCore import QPointF, QRect, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui.audience_frame import image_of
from liveview.gui.theme import COLOURS
from liveview.model import Bytes


class AudienceWindow(QWidget):
    """Shows one frame at a time, pixel by pixel."""

    resized = pyqtSignal()
    painted = pyqtSignal(object)
    """Tag of the frame that has just reached the screen's buffer for the first time."""
    closed = pyqtSignal()
    """Somebody closed it by the window system's own means."""

    def __init__(self) -> None:
        super().__init__(None, Qt.WindowType.Window | Qt.WindowType.FramelessWindowHint)
        self.setWindowTitle("liveview: audience")
        self.setAccessibleName("The audience's picture")
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAttribute(Qt.WidgetAttribute.WA_ShowWithoutActivating)
        self.setCursor(Qt.CursorShape.BlankCursor)
        self.setMinimumSize(160, 120)
        self._frame: Bytes | None = None
        self._tag: object = None
        self._fresh = False
        self._ending = False

    @property
    def frame(self) -> Bytes | None:
        """The frame on the screen, uint8 (rows, columns, 4)."""
        return self._frame

    @property
    def pixels(self) -> QSize:
        """Its size in pixels of the screen."""
        ratio = self.devicePixelRatioF()
        return QSize(round(self.width() * ratio), round(self.height() * ratio))

    def show_frame(self, frame: Bytes, tag: object = None) -> None:
        """Paint this at once, before the presenter's window has its turn.

        The frame must stay as it is until the next one comes.
        """
        self._frame, self._tag, self._fresh = frame, tag, True
        self.repaint()

    def put_on(self, place: QRect, *, full: bool) -> None:
        """Show it there, over the whole screen or as a window of that size."""
        self.setGeometry(place)
        if full:
            self.showFullScreen()
        else:
            self.showNormal()

    def end(self) -> None:
        """Close it for good."""
        self._ending = True
        self.close()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        if self._frame is None:
            p.fillRect(self.rect(), COLOURS.ground)
        else:
            image = image_of(self._frame)
            image.setDevicePixelRatio(self.devicePixelRatioF())
            if (image.width(), image.height()) == (self.pixels.width(), self.pixels.height()):
                p.drawImage(QPointF(0, 0), image)
            else:
                # A frame of another size for the moment until one of this size comes.
                p.drawImage(self.rect(), image)
        p.end()
        if self._fresh:
            self._fresh = False
            self.painted.emit(self._tag)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self.resized.emit()

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """Closed by somebody: the show is off the screen, the program goes on."""
        if event is not None and not self._ending:
            event.ignore()
            self.closed.emit()
