"""The sheet on which an event is written as a clip, a still or a table; the window goes on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PyQt6.QtCore import QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QPainter
from PyQt6.QtWidgets import QFileDialog, QLineEdit, QWidget

from liveview.gui.marks import choice_mark
from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.review_export_order import Order, write_order
from liveview.gui.review_task import Task
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import THIN, count, seconds
from liveview.review.export import files_of
from liveview.review.export.flashcheck import CAUTION
from liveview.review.player import rate_words

PRODUCTS = {
    "clip": ("Slow clip", ".mp4", "H.264, sound stretched"),
    "webm": ("WebM clip", ".webm", "VP9, free of patents, slower"),
    "lossless": ("Lossless clip", ".mkv", "every code value as shown"),
    "still": ("Still", ".png", "this frame, as seen"),
    "contrast": ("Contrast still", "_contrast.png", "this frame, 16 bit"),
    "raw": ("Raw still", "_raw.png", "this frame, codes as recorded"),
    "sheet": ("Contact sheet", "_sheet.png", "frames around the spark"),
    "gif": ("Animated GIF", ".gif", "for slides"),
    "webp": ("Animated WebP", ".webp", "for slides, smaller"),
    "stack": ("Contrast stack", ".tif", "32 bit numbers, each frame"),
    "npy": ("NumPy stack", ".npy", "the same for programs"),
    "table": ("Table of readings", ".csv", "a row for each frame"),
}
"""Name, ending and note of everything that can be written."""

SHAPES = {"as it is": "As recorded", "wide": "Wide 16:9", "tall": "Tall 9:16", "square": "Square"}

TIMED = ("clip", "webm", "lossless", "gif", "webp")
WITH_SOUND = ("clip", "webm", "lossless")
STILLS = ("still", "contrast", "raw")
WRITTEN_ON = (*TIMED, "still", "sheet")


def free_name(folder: Path, stem: str, ending: str) -> Path:
    """``stem`` with this ending, numbered where the name is taken."""
    path, number = folder / f"{stem}{ending}", 2
    while any(file.exists() for file in files_of(path)):
        path, number = folder / f"{stem}_{number}{ending}", number + 1
    return path


class ExportSheet(Overlay):
    """Choose what is written, see how far it is, cancel it. Closing it does not end the writing."""

    said = pyqtSignal(str)
    worked = pyqtSignal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__("Write it to a file", parent)
        self._order: Order | None = None
        self._folder = Path.home()
        self._task: Task | None = None
        self._path: Path | None = None
        self._words = ""
        self.products = {
            key: self._pad(name, note, f"{name}, {note}: {ending}")
            for key, (name, ending, note) in PRODUCTS.items()
        }
        self.shapes = {
            key: self._pad(name, "", f"Shape of the picture: {name.lower()}")
            for key, name in SHAPES.items()
        }
        for key, pad in self.products.items():
            pad.clicked.connect(lambda _=False, k=key: self._change(product=k))
        for key, pad in self.shapes.items():
            pad.clicked.connect(lambda _=False, k=key: self._change(shape=k))
        self.marks = self._pad("Legend, scale and time", "", "Draw them into the picture")
        self.marks.clicked.connect(lambda: self._change(marks=not self._held.marks))
        self.sound = self._pad("Sound, stretched", "", "The recorded sound, as slow as the clip")
        self.sound.clicked.connect(lambda: self._change(sound=not self._held.sound))
        tip = f"Keeps it inside the published limits: {CAUTION}"
        self.soften = self._pad("Soften flashes", "", tip)
        self.soften.clicked.connect(lambda: self._change(soften=not self._held.soften))
        self.caption = self._field("a caption on the picture", "Caption")
        self.caption.textChanged.connect(lambda text: self._change(caption=text.strip()))
        self.name = self._field("name of the file", "Name of the file")
        self.name.returnPressed.connect(self.write)
        self.folder_pad = Pad("Another folder", tip="Write into another folder", parent=self)
        self.folder_pad.clicked.connect(self._ask_folder)
        self.write_pad = Pad("Write", "Enter", tip="Write the file", parent=self)
        self.write_pad.clicked.connect(self.write)
        self.cancel_pad = Pad("Cancel", tip="Stop writing; the unfinished file goes", parent=self)
        self.cancel_pad.clicked.connect(self.cancel)

    def _pad(self, title: str, note: str, tip: str) -> Pad:
        pad = Pad(title, tip=tip, parent=self)
        pad.leave_enter()
        pad.set_state(mark=choice_mark(False), note=note)
        return pad

    def _field(self, hint: str, name: str) -> QLineEdit:
        field = QLineEdit(self)
        field.setPlaceholderText(hint)
        field.setAccessibleName(name)
        return field

    @property
    def _held(self) -> Order:
        assert self._order is not None
        return self._order

    @property
    def order(self) -> Order | None:
        """What would be written."""
        return self._order

    @property
    def working(self) -> bool:
        """True while a file is being written."""
        return self._task is not None

    @property
    def words(self) -> str:
        """How it went, or how far it is."""
        return self._words

    @property
    def path(self) -> Path:
        """Where it would be written."""
        held = self._held
        ending = PRODUCTS[held.product][1]
        stem = self.name.text().strip() or held.facts.name
        suffix = "." + ending.rpartition(".")[2]
        if stem.lower().endswith(suffix):
            stem = stem[: -len(suffix)]
        return free_name(self._folder, stem, ending)

    def open_for(self, order: Order, folder: Path) -> None:
        """Show it for what is open; choices made before stay."""
        before = self._order
        if before is not None:
            order = replace(
                order,
                product=before.product,
                shape=before.shape,
                marks=before.marks,
                sound=before.sound,
                caption=before.caption,
                soften=before.soften,
            )
        if before is None or before.facts.path != order.facts.path:
            self._folder = folder
            self.name.setText(order.facts.name)
        self._order = order
        self._refresh()
        self.open()
        self.products[order.product].setFocus()

    def _change(self, **values: object) -> None:
        if self._order is not None:
            self._order = replace(self._order, **values)  # type: ignore[arg-type]
            self._refresh()

    def _refresh(self) -> None:
        held = self._held
        for key, pad in self.products.items():
            on = key == held.product
            pad.set_state(mark=choice_mark(on), note=PRODUCTS[key][2], on=on)
        for key, pad in self.shapes.items():
            on = key == held.shape
            pad.set_state(mark=choice_mark(on), on=on)
        self.marks.set_state(mark=choice_mark(held.marks), on=held.marks)
        self.sound.set_state(mark=choice_mark(held.sound), on=held.sound)
        self.soften.set_state(mark=choice_mark(held.soften), on=held.soften)
        self.soften.setEnabled(held.product in TIMED)
        drawn = held.product in WRITTEN_ON
        drawn_on: tuple[QWidget, ...] = (*self.shapes.values(), self.marks, self.caption)
        for widget in drawn_on:
            widget.setEnabled(drawn)
        has_sound = held.facts.start.sound is not None
        self.sound.setEnabled(has_sound and held.product in WITH_SOUND)
        self.cancel_pad.setVisible(self.working)
        self.write_pad.setVisible(not self.working)
        self.lay_out()
        self.update()

    # --- writing

    def write(self) -> None:
        """Begin to write."""
        if self._order is None or self.working:
            return
        order, path = self._order, self.path
        self._path = path
        self._task = Task(PRODUCTS[order.product][0], lambda job: write_order(order, path, job))
        self._task.start()
        self._words = f"Writing {path.name}"
        self._refresh()
        self.worked.emit()

    def cancel(self) -> None:
        """Leave it; nothing half written stays."""
        if self._task is not None:
            self._task.cancel()

    def poll(self) -> None:
        """See how far it is; called on a timer while it works."""
        task = self._task
        if task is None or self._path is None:
            return
        if task.running:
            share = "" if task.share is None else f", {task.share * 100:.0f}{THIN}%"
            self._words = f"Writing {self._path.name}{share}"
            self.update()
            return
        self._task = None
        if task.cancelled:
            self._words = "Cancelled; nothing was written."
        else:
            self._words = self._ended(task)
        self.said.emit(self._words)
        self._refresh()

    def _ended(self, task: Task) -> str:
        told = f"; {task.result}" if task.result else ""
        return task.words or f"Written: {self._path}{told}"

    def finish(self, timeout_s: float) -> None:
        """Cancel and wait. Raises WorkerStuck."""
        if self._task is not None:
            self._task.finish(timeout_s)
            self._task = None

    def _ask_folder(self) -> None:
        dialog = QFileDialog(self.window(), "Where to write it", str(self._folder))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.fileSelected.connect(self._use_folder)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()

    def _use_folder(self, folder: str) -> None:
        self._folder = Path(folder)
        self._refresh()

    # --- layout

    def sheet_size(self) -> tuple[float, float]:
        """See Overlay."""
        return (104.0, 72.0)

    def lay_out(self) -> None:
        """See Overlay."""
        body, look = self.body_rect(), self.look
        pads = (*self.products.values(), *self.shapes.values(), self.marks, self.sound, self.soften)
        for pad in (*pads, self.folder_pad, self.write_pad, self.cancel_pad):
            pad.set_look(look)
        y = body.top()
        for pad in self.products.values():
            pad.move(round(body.left()), round(y))
            y += look.px(4.7)
        x = body.left() + look.px(40)
        y = body.top() + look.px(3.4)
        for pad in self.shapes.values():
            pad.move(round(x), round(y))
            y += look.px(3.6)
        y += look.px(0.8)
        for pad in (self.marks, self.sound, self.soften):
            pad.move(round(x), round(y))
            y += look.px(3.6)
        width = body.right() - x
        y += look.px(1.0)
        self.caption.setFont(look.font())
        self.caption.setGeometry(QRectF(x, y, width, look.px(4)).toRect())
        self.name.setFont(look.font(Type.LEAD))
        foot = body.bottom() - look.px(10.5)
        self.name.setGeometry(QRectF(x, foot - look.px(6), width, look.px(4.6)).toRect())
        self.folder_pad.move(
            round(body.right() - self.folder_pad.width()), round(foot + look.px(0.6))
        )
        for pad in (self.write_pad, self.cancel_pad):
            pad.move(round(body.right() - pad.width()), round(body.bottom() - look.px(4)))

    def paint_sheet(self, p: QPainter) -> None:
        """Headings, what it will be, how far it is."""
        if self._order is None:
            return
        body, look = self.body_rect(), self.look
        x = body.left() + look.px(40)
        middle = int(Qt.AlignmentFlag.AlignVCenter)
        p.setFont(look.font(Type.SMALL, Weight.FIRM))
        p.setPen(COLOURS.quiet)
        p.drawText(QRectF(x, body.top(), look.px(40), look.px(3)), middle, "Shape of the picture")
        foot = body.bottom() - look.px(10.5)
        where = p.fontMetrics().elidedText(
            f"in {self._folder}", Qt.TextElideMode.ElideMiddle, int(look.px(38))
        )
        p.drawText(QRectF(x, foot, look.px(40), look.px(4)), middle, where)
        p.drawText(
            QRectF(x, foot - look.px(10), body.right() - x, look.px(3)), middle, self.summary()
        )
        self._paint_progress(p, QRectF(body.left(), body.bottom() - look.px(4), 0, look.px(4)))

    def _paint_progress(self, p: QPainter, box: QRectF) -> None:
        look, body = self.look, self.body_rect()
        box.setRight(body.right() - look.px(14))
        p.setFont(look.font(Type.BODY, Weight.FIRM))
        p.setPen(COLOURS.text)
        words = p.fontMetrics().elidedText(
            self._words, Qt.TextElideMode.ElideMiddle, int(box.width())
        )
        p.drawText(box, int(Qt.AlignmentFlag.AlignVCenter), words)
        if self._task is None:
            return
        track = QRectF(box.left(), box.bottom(), body.width(), look.px(0.6))
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(COLOURS.line)
        p.drawRect(track)
        p.setBrush(COLOURS.brass)
        p.drawRect(
            QRectF(
                track.left(), track.top(), track.width() * (self._task.share or 0), track.height()
            )
        )

    def summary(self) -> str:
        """Which frames, at which rate, in which view."""
        held = self._held
        if held.product in STILLS:
            what = f"frame {held.at + 1}"
        elif held.product == "sheet":
            what = "12 frames around the spark"
        else:
            what = count(held.last - held.first + 1, "frame", "frames")
        if held.product in TIMED:
            what += f" at {rate_words(held.rate)}, {seconds(held.seconds)} long"
        if held.product in WRITTEN_ON:
            what += f", {held.sight.view} view"
        return what[:1].upper() + what[1:]

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.write()
            return
        super().keyPressEvent(event)
