"""The card of all keys: one page of paper, to lie beside the keyboard or to hang at the rig.

Text size follows from how many keys there are; columns are filled one after the other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from PyQt6.QtCore import QLocale, QMarginsF, QPointF, QRectF, QStandardPaths, Qt
from PyQt6.QtGui import QColor, QFont, QFontMetricsF, QPageSize, QPainter, QPdfWriter, QPen
from PyQt6.QtWidgets import QFileDialog, QWidget

from liveview import __version__
from liveview.errors import LiveviewError, OutputFailed
from liveview.gui.keys import Action, in_order, shown_key
from liveview.gui.theme import FAMILY, Weight

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = ("A4", "Letter")

MARGIN_MM = 11.0
HEAD_MM = 15.0
FOOT_MM = 9.0
GUTTER_MM = 5.0
COLUMNS = 3
DOTS_PER_INCH = 600
POINT_MM = 25.4 / 72.0

LARGEST_PT, SMALLEST_PT = 9.5, 5.5
LINE = 1.62
"""Height of a row, of the text's size."""
HEADING = 1.75
"""Height of a heading, of a row's."""
CAP_ROOM = 2.6
"""Least room for the keycaps, of a row's height."""

INK, QUIET, LINES = QColor("#15120e"), QColor("#5d564b"), QColor("#8a8276")
HEADINGS = QColor("#6b4d12")

FOOT = (
    "Warn an audience of flashing pictures and of loud cracks before sparks are shown. "
    "Esc puts away what lies over a page."
)

LETTER_LANDS = {"UnitedStates", "Canada", "Mexico", "Chile", "Colombia", "Philippines"}


@dataclass(frozen=True, slots=True)
class KeyGroup:
    """Actions under one heading, and in words where they work."""

    heading: str
    where: str
    actions: Sequence[Action]


def usual_paper() -> Paper:
    """Letter where that is the custom, else A4."""
    return "Letter" if QLocale.system().territory().name in LETTER_LANDS else "A4"


def key_groups(
    groups: Mapping[str, Sequence[Action]], pages: Mapping[str, Sequence[str]]
) -> tuple[KeyGroup, ...]:
    """Groups in the order of the work, with the pages on which they work.

    Parameters
    ----------
    groups : mapping
        Actions by heading, see ``KeyMap.groups``.
    pages : mapping
        Key groups by page, in the order of the pages.
    """
    found = []
    for heading, actions in groups.items():
        on = [page for page, names in pages.items() if heading in names]
        everywhere = len(on) == len(pages)
        where = "on every page" if everywhere else f"on {_joined(on)}"
        first = -1 if everywhere else min((list(pages).index(page) for page in on), default=99)
        found.append((first, KeyGroup(heading, where, in_order(heading, actions))))
    return tuple(group for _, group in sorted(found, key=lambda pair: pair[0]))


def _joined(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def write_key_card(groups: Sequence[KeyGroup], path: Path, paper: Paper = "A4") -> None:
    """Write the card as a PDF of one page.

    Raises
    ------
    OutputFailed
        The file cannot be written.
    """
    try:
        # Qt says nothing when a file cannot be written.
        with path.open("wb"):
            pass
    except OSError as error:
        raise OutputFailed(
            f"the card of keys cannot be written ({error.strerror})",
            str(path),
            "choose another place",
        ) from error
    writer = QPdfWriter(str(path))
    size = QPageSize.PageSizeId.A4 if paper == "A4" else QPageSize.PageSizeId.Letter
    writer.setPageSize(QPageSize(size))
    writer.setPageMargins(QMarginsF(0, 0, 0, 0))
    writer.setResolution(DOTS_PER_INCH)
    writer.setTitle("Keys of liveview")
    writer.setCreator(f"liveview {__version__}")
    painter = QPainter(writer)
    _Card(writer, painter).draw(groups)
    if not painter.end() or path.stat().st_size == 0:
        raise OutputFailed(
            "the card of keys could not be written", str(path), "see whether the disk is full"
        )


def ask_and_write(
    parent: QWidget, groups: Sequence[KeyGroup], say: Callable[[str], None]
) -> QFileDialog:
    """Ask where the card shall go, write it there, say so or why not."""
    places = QStandardPaths.StandardLocation.DocumentsLocation
    folder = Path(QStandardPaths.writableLocation(places) or Path.home())
    dialog = QFileDialog(parent, "Card of all keys", str(folder), "PDF (*.pdf)")
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setFileMode(QFileDialog.FileMode.AnyFile)
    dialog.setDefaultSuffix("pdf")
    dialog.selectFile("liveview-keys.pdf")
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)

    def write(name: str) -> None:
        try:
            write_key_card(groups, Path(name), usual_paper())
        except LiveviewError as error:
            say(str(error))
            return
        say(f"The card of keys is in {Path(name).name}.")

    dialog.fileSelected.connect(write)
    dialog.open()
    return dialog


Row = KeyGroup | Action


class _Card:
    """One page under the painter; lengths in millimetres."""

    def __init__(self, writer: QPdfWriter, painter: QPainter) -> None:
        self._writer = writer
        self._p = painter
        self._dots = writer.resolution() / 25.4
        self._wide = writer.width() / self._dots
        self._high = writer.height() / self._dots

    def draw(self, groups: Sequence[KeyGroup]) -> None:
        """The whole card."""
        self._text(MARGIN_MM, MARGIN_MM + 3.0, "liveview: all keys", 17.0, Weight.STRONG, INK)
        version = f"version {__version__}"
        self._text_right(self._wide - MARGIN_MM, MARGIN_MM + 3.6, version, 8.0, QUIET)
        self._line(MARGIN_MM + 9.0)
        foot = self._high - MARGIN_MM - 2.0
        self._text(MARGIN_MM, foot, FOOT, 7.5, Weight.PLAIN, QUIET)
        top, bottom = MARGIN_MM + HEAD_MM - 2.0, self._high - MARGIN_MM - FOOT_MM
        size = LARGEST_PT
        columns = _columns(groups, (bottom - top) / _row_mm(size))
        while len(columns) > COLUMNS and size > SMALLEST_PT:
            size -= 0.25
            columns = _columns(groups, (bottom - top) / _row_mm(size))
        shown = max(len(columns), COLUMNS)
        width = (self._wide - 2 * MARGIN_MM - (shown - 1) * GUTTER_MM) / shown
        for k, column in enumerate(columns):
            self._column(column, MARGIN_MM + k * (width + GUTTER_MM), top, width, size)

    def _column(
        self, rows: Sequence[Row], left: float, top: float, width: float, size: float
    ) -> None:
        y, tall = top, _row_mm(size)
        for row in rows:
            if isinstance(row, KeyGroup):
                middle = y + tall * (HEADING - 0.62)
                used = self._text(left, middle, row.heading, size * 1.12, Weight.STRONG, HEADINGS)
                at = left + used + 1.6
                self._text(at, middle, row.where, size * 0.86, Weight.PLAIN, QUIET, width - used)
                y += tall * HEADING
            else:
                self._row(row, left, y + tall / 2, width, size)
                y += tall

    def _row(self, action: Action, left: float, middle: float, width: float, size: float) -> None:
        x = left
        for key in dict.fromkeys(shown_key(key) for key in action.keys):
            x += self._cap(x, middle, key, size) + 0.7
        x = max(x + 0.9, left + CAP_ROOM * _row_mm(size))
        self._text(x, middle, action.title, size, Weight.PLAIN, INK, left + width - x)

    def _cap(self, x: float, middle: float, key: str, size: float) -> float:
        tall = _row_mm(size) * 0.8
        font = self._font(size * 0.88, Weight.FIRM)
        width = max(self._width(font, key) + 1.8, tall)
        box = self._box(x, middle - tall / 2, width, tall)
        self._p.setPen(QPen(LINES, 0.2 * self._dots))
        self._p.setBrush(Qt.BrushStyle.NoBrush)
        self._p.drawRoundedRect(box, 0.7 * self._dots, 0.7 * self._dots)
        self._p.setFont(font)
        self._p.setPen(INK)
        self._p.drawText(box, int(Qt.AlignmentFlag.AlignCenter), key)
        return width

    def _text(
        self,
        x: float,
        middle: float,
        text: str,
        size: float,
        weight: Weight,
        colour: QColor,
        room: float | None = None,
    ) -> float:
        """One line, made smaller to stay inside ``room``; returns its width."""
        font = self._font(size, weight)
        width = self._width(font, text)
        if room is not None and width > room:
            font = self._font(size * room / width, weight)
            width = room
        self._p.setFont(font)
        self._p.setPen(colour)
        flags = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self._p.drawText(self._box(x, middle - 6.0, width + 20.0, 12.0), flags, text)
        return width

    def _text_right(self, x: float, middle: float, text: str, size: float, ink: QColor) -> None:
        width = self._width(self._font(size, Weight.PLAIN), text)
        self._text(x - width, middle, text, size, Weight.PLAIN, ink)

    def _line(self, y: float) -> None:
        self._p.setPen(QPen(LINES, 0.25 * self._dots))
        start = QPointF(MARGIN_MM * self._dots, y * self._dots)
        self._p.drawLine(start, QPointF((self._wide - MARGIN_MM) * self._dots, y * self._dots))

    def _font(self, points: float, weight: Weight) -> QFont:
        font = QFont(FAMILY)
        font.setPointSizeF(points)
        font.setWeight(weight.value)
        # Glyphs that no character stands for could not be searched for or read out.
        for feature in ("tnum", "liga"):
            font.setFeature(QFont.Tag(feature.encode()), 0)
        return font

    def _width(self, font: QFont, text: str) -> float:
        return QFontMetricsF(font, self._writer).horizontalAdvance(text) / self._dots

    def _box(self, x: float, y: float, width: float, height: float) -> QRectF:
        return QRectF(x * self._dots, y * self._dots, width * self._dots, height * self._dots)


def _row_mm(size_pt: float) -> float:
    return size_pt * POINT_MM * LINE


def _columns(groups: Sequence[KeyGroup], rows: float) -> list[list[Row]]:
    """Headings and actions in columns of at most so many rows.

    A heading keeps at least two of its actions with it. A group that does not fit goes on in the
    next column under its heading again.
    """
    columns: list[list[Row]] = [[]]
    used = 0.0
    for group in groups:
        needed = HEADING + min(2, len(group.actions))
        if used + needed > rows and columns[-1]:
            columns.append([])
            used = 0.0
        columns[-1].append(group)
        used += HEADING
        for action in group.actions:
            if used + 1.0 > rows:
                columns.append([replace(group, heading=f"{group.heading}, continued")])
                used = HEADING
            columns[-1].append(action)
            used += 1.0
    return columns
