"""Choosing a source: simulated scenes, cameras that answer, a recording, an address."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PyQt6.QtCore import QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QPainter
from PyQt6.QtWidgets import QFileDialog, QLineEdit, QScrollArea, QVBoxLayout, QWidget

from liveview.gui.bridge import SourceOffer
from liveview.gui.device_search import DeviceSearch
from liveview.gui.marks import choice_mark
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.theme import COLOURS, Look, Type, Weight
from liveview.gui.words import first_up


class SourceDialog(Overlay):
    """A sheet of sources; the picture goes on behind it until one is chosen.

    Parameters
    ----------
    scenes : sequence of SourceOffer
        The simulated rig's scenes.
    look_for_cameras : callable
        May take seconds: it runs in a thread each time the sheet is opened.
    """

    chosen = pyqtSignal(str)
    controls_asked = pyqtSignal()
    """The present camera is to be turned."""

    def __init__(
        self,
        scenes: Sequence[SourceOffer],
        look_for_cameras: Callable[[], Sequence[SourceOffer]],
        parent: QWidget,
    ) -> None:
        super().__init__("Where the picture comes from", parent)
        self.search = DeviceSearch("camera", look_for_cameras, self)
        self.search.ended.connect(self._offer)
        self._present = ""
        self._scenes = _Column(self.choose, self)
        self._cameras = _Column(self.choose, self)
        self._scenes.offer(scenes, "")
        self._address = QLineEdit(self)
        self._address.setPlaceholderText("a recording, a folder of pictures, http:// or rtsp://")
        self._address.setAccessibleName("Path or address of a source")
        self._address.returnPressed.connect(self._typed)
        self._file = Pad("Find a recording", tip="Open a recording from the disk", parent=self)
        self._file.clicked.connect(self._ask_file)
        self._folder = Pad(
            "Find a folder", tip="Open an event or a folder of pictures", parent=self
        )
        self._folder.clicked.connect(self._ask_folder)
        self._again = Pad("Look again", tip="Look for cameras once more", parent=self)
        self._again.clicked.connect(self.look_again)
        tip = "Exposure, gain and format of the camera that is open"
        self._controls = Pad("Turn the present camera", tip=tip, parent=self)
        self._controls.clicked.connect(self._ask_controls)

    @property
    def address_field(self) -> QLineEdit:
        """Where a path or an address is typed."""
        return self._address

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (112.0, 74.0)

    def open_for(self, address: str) -> None:
        """Show it; the present source is marked."""
        self._present = address
        self._scenes.mark(address)
        self._cameras.mark(address)
        self.open()
        self._address.setFocus()
        self.look_again()

    def look_again(self) -> None:
        """Look for cameras in a thread."""
        if self.search.start():
            self._cameras.offer((), "")
            self.update()

    def _offer(self) -> None:
        self._cameras.offer(self.search.found, self._present)
        self.lay_out()
        self.update()

    def finish(self, timeout_s: float) -> None:
        """Wait for a search that is under way. Raises WorkerStuck."""
        self.search.finish(timeout_s)

    def choose(self, address: str) -> None:
        """Take this source and put the sheet away."""
        self.close_sheet()
        self.chosen.emit(address)

    def _typed(self) -> None:
        text = self._address.text().strip()
        if text:
            self.choose(text)

    def _ask_controls(self) -> None:
        self.close_sheet()
        self.controls_asked.emit()

    def _ask_file(self) -> None:
        self._ask(QFileDialog.FileMode.ExistingFile, "Find a recording")

    def _ask_folder(self) -> None:
        self._ask(QFileDialog.FileMode.Directory, "Find a folder of pictures or an event")

    def _ask(self, mode: QFileDialog.FileMode, title: str) -> None:
        dialog = QFileDialog(self.window(), title, str(Path.home()))
        dialog.setFileMode(mode)
        dialog.fileSelected.connect(self.choose)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()

    def lay_out(self) -> None:
        """See Overlay."""
        body, look = self.body_rect(), self.look
        half = (body.width() - look.px(3)) / 2
        top = body.top() + look.px(4)
        tall = body.height() - look.px(4) - look.px(17)
        for column, x in ((self._scenes, body.left()), (self._cameras, body.right() - half)):
            column.set_look(look)
            column.setGeometry(QRectF(x, top, half, tall).toRect())
        for pad in (self._file, self._folder, self._again, self._controls):
            pad.set_look(look)
        self._again.move(round(body.right() - self._again.width()), round(body.top()))
        self._address.setFont(look.font(Type.LEAD))
        line = body.bottom() - look.px(9.5)
        self._address.setGeometry(QRectF(body.left(), line, body.width(), look.px(5)).toRect())
        x = body.left()
        for pad in (self._file, self._folder):
            pad.move(round(x), round(body.bottom() - look.px(3.8)))
            x += pad.width() + look.px(2)
        right = round(body.right() - self._controls.width())
        self._controls.move(right, round(body.bottom() - look.px(3.8)))

    def paint_sheet(self, p: QPainter) -> None:
        """Headings and the state of the search."""
        body, look = self.body_rect(), self.look
        half = (body.width() - look.px(3)) / 2
        p.setFont(look.font(Type.BODY, Weight.STRONG))
        p.setPen(COLOURS.brass)
        middle = int(Qt.AlignmentFlag.AlignVCenter)
        line = QRectF(body.left(), body.top(), half, look.px(4))
        p.drawText(line, middle, "Simulated rig")
        p.drawText(line.translated(half + look.px(3), 0), middle, "Cameras")
        path = QRectF(body.left(), body.bottom() - look.px(14), body.width(), look.px(4))
        p.drawText(path, middle, "Recording or address")
        if self.search.words:
            p.setFont(look.font())
            p.setPen(COLOURS.quiet)
            box = QRectF(body.right() - half, body.top() + look.px(4.5), half, look.px(4))
            p.drawText(box, middle, self.search.words)


class _Column(QScrollArea):
    """Offers one below the other."""

    def __init__(self, choose: Callable[[str], None], parent: QWidget) -> None:
        super().__init__(parent)
        self._choose = choose
        self._pads: list[tuple[SourceOffer, Pad]] = []
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._look = Look()
        self._inside()

    def _inside(self) -> None:
        inside = QWidget()
        inside.setObjectName("rows")
        self._rows = QVBoxLayout(inside)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(2)
        self.setWidget(inside)

    def offer(self, offers: Sequence[SourceOffer], present: str) -> None:
        """Replace the offers."""
        self._inside()
        self._pads = []
        for offer in offers:
            pad = Pad(first_up(offer.title), tip=f"Opens {offer.address}")
            pad.clicked.connect(lambda _=False, a=offer.address: self._choose(a))
            pad.set_look(self._look)
            self._rows.addWidget(pad, 0, Qt.AlignmentFlag.AlignLeft)
            self._pads.append((offer, pad))
        self._rows.addStretch(1)
        self.mark(present)

    def mark(self, present: str) -> None:
        """Show which one is open."""
        for offer, pad in self._pads:
            on = offer.address == present
            pad.set_state(mark=choice_mark(on), note=offer.note, on=on)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for _, pad in self._pads:
            pad.set_look(look)
            pad.setMinimumSize(pad.sizeHint())
