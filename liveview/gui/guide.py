"""The user guide over a page of the window: Markdown pages shipped with the program."""

from __future__ import annotations

from pathlib import Path

from PyQt6.QtCore import QRectF, Qt, QUrl, pyqtSignal
from PyQt6.QtGui import (
    QDesktopServices,
    QFont,
    QImage,
    QKeyEvent,
    QResizeEvent,
    QTextBlockFormat,
    QTextCharFormat,
    QTextCursor,
    QTextDocument,
    QTextFrameFormat,
    QTextImageFormat,
    QTextLength,
    QTextTable,
)
from PyQt6.QtWidgets import QTextBrowser, QWidget

from liveview.gui.overlay import Overlay
from liveview.gui.pad import Pad
from liveview.gui.theme import COLOURS, Look, Type, Weight, faded
from liveview.shipped import shipped_folder

CONTENTS = {
    "index": "Begin here",
    "seeing": "What it shows",
    "building": "Building a rig",
    "aligning": "Aligning it",
    "watching": "Watching",
    "numbers": "What the numbers mean",
    "sparks": "Catching sparks",
    "review": "Looking again",
    "showing": "Showing it",
    "files": "Files for scripts",
    "trouble": "When it goes wrong",
    "cautions": "Cautions",
}
"""Pages by file name, in their order."""

PAGE_GUIDES = {
    "Plan": "building",
    "Align": "aligning",
    "Watch": "watching",
    "Catch": "sparks",
    "Review": "review",
    "Show": "showing",
}
"""Where the guide opens from a page of the window."""

CONTENTS_STEPS = 25.0
TEXT_STEPS = 92.0
"""A line of text is no longer than this."""

OWN_KEYS = (
    *(Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_PageUp, Qt.Key.Key_PageDown),
    *(Qt.Key.Key_Home, Qt.Key.Key_End, Qt.Key.Key_Space, Qt.Key.Key_Tab, Qt.Key.Key_Backtab),
    *(Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_C),
)
"""Keys that the text itself uses: scrolling, going through links, copying."""

PROPORTIONAL: int = QTextBlockFormat.LineHeightTypes.ProportionalHeight.value  # type: ignore[assignment]

OBJECT = "\ufffc"
"""What stands for a picture in a text."""

CLOSE_KEYS = (Qt.Key.Key_F1, Qt.Key.Key_Escape)


def guide_file(name: str) -> Path:
    """The Markdown file of a page."""
    return shipped_folder("assets") / "guide" / f"{name}.md"


class GuidePage(QTextBrowser):
    """One page of the guide in the colours and type of the window."""

    turned = pyqtSignal(str)
    """A link to another page was followed: its name."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        self.name = ""
        self.setOpenLinks(False)
        self.setFrameShape(QTextBrowser.Shape.NoFrame)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setStyleSheet("QTextBrowser { background: transparent; border: none; }")
        self.setAccessibleName("User guide")
        self.anchorClicked.connect(self._follow)

    def set_look(self, look: Look) -> None:
        """Sizes for the present window; a page that is seen is set again."""
        self._look = look
        self.setViewportMargins(0, 0, round(look.px(2)), 0)
        if self.name and self.isVisible():
            place = self._share_scrolled()
            self.show_page(self.name)
            self._scroll_to(place)

    def show_page(self, name: str) -> None:
        """Show a page from its top."""
        self.name = name
        document = self.document()
        assert document is not None
        document.setBaseUrl(QUrl.fromLocalFile(str(guide_file(name))))
        document.setDefaultFont(self._look.font())
        document.setDocumentMargin(0)
        self.setMarkdown(guide_file(name).read_text(encoding="utf-8"))
        dress_document(document, self._look, self._room(), self.devicePixelRatioF())
        self._scroll_to(0.0)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Scroll; the rest is for the sheet."""
        if event is not None and event.key() in OWN_KEYS:
            super().keyPressEvent(event)
        elif event is not None:
            event.ignore()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        document = self.document()
        if self.name and document is not None:
            _fit_pictures(document, self._room(), self.devicePixelRatioF())

    def _room(self) -> float:
        viewport = self.viewport()
        return float(self.width() if viewport is None else viewport.width())

    def _share_scrolled(self) -> float:
        bar = self.verticalScrollBar()
        return 0.0 if bar is None or not bar.maximum() else bar.value() / bar.maximum()

    def _scroll_to(self, share: float) -> None:
        bar = self.verticalScrollBar()
        if bar is not None:
            bar.setValue(round(share * bar.maximum()))

    def _follow(self, link: QUrl) -> None:
        if link.scheme() in ("http", "https"):
            QDesktopServices.openUrl(link)
        elif link.path().endswith(".md"):
            self.turned.emit(Path(link.path()).stem)


def dress_document(document: QTextDocument, look: Look, room: float, ratio: float) -> None:
    """Give a page from Markdown the type scale, spacing and colours of the window."""
    block = document.begin()
    while block.isValid():
        cursor = QTextCursor(block)
        level = block.blockFormat().headingLevel()
        inside = cursor.currentTable() is not None
        cursor.mergeBlockFormat(_block_format(level, look, inside, _is_picture(block.text())))
        cursor.movePosition(QTextCursor.MoveOperation.EndOfBlock, QTextCursor.MoveMode.KeepAnchor)
        if level:
            # Not merged: Markdown's own size of headings would win.
            cursor.setCharFormat(_heading_format(level, look))
        else:
            _dress_links(cursor)
        block = block.next()
    root = document.rootFrame()
    for frame in [] if root is None else root.childFrames():
        if isinstance(frame, QTextTable):
            _dress_table(frame, look)
    _fit_pictures(document, room, ratio)


def _is_picture(text: str) -> bool:
    return text.strip() == OBJECT


def _block_format(level: int, look: Look, in_table: bool, picture: bool) -> QTextBlockFormat:
    made = QTextBlockFormat()
    if in_table:
        made.setTopMargin(0)
        made.setBottomMargin(0)
        return made
    made.setTopMargin(look.px({0: 0.0, 1: 0.0, 2: 3.4}.get(level, 2.2)))
    made.setBottomMargin(look.px({0: 1.3, 1: 2.0}.get(level, 0.8)))
    made.setLineHeight(100.0 if level or picture else 128.0, PROPORTIONAL)
    return made


def _heading_format(level: int, look: Look) -> QTextCharFormat:
    size = {1: Type.HEAD, 2: Type.LEAD}.get(level, Type.BODY)
    made = QTextCharFormat()
    made.setFont(look.font(size, Weight.STRONG))
    made.setForeground(COLOURS.text if level == 1 else COLOURS.brass)
    return made


def _dress_links(cursor: QTextCursor) -> None:
    """Links in brass; bold in the strong weight."""
    block = cursor.block()
    fragments = block.begin()
    while not fragments.atEnd():
        fragment = fragments.fragment()
        style = fragment.charFormat()
        piece = QTextCursor(block)
        piece.setPosition(fragment.position())
        piece.setPosition(fragment.position() + fragment.length(), QTextCursor.MoveMode.KeepAnchor)
        made = QTextCharFormat()
        if style.isAnchor():
            made.setForeground(COLOURS.brass)
            made.setFontUnderline(True)
            piece.mergeCharFormat(made)
        elif style.fontWeight() > QFont.Weight.Normal:
            made.setForeground(COLOURS.text)
            piece.mergeCharFormat(made)
        fragments += 1


def _dress_table(table: QTextTable, look: Look) -> None:
    style = table.format()
    style.setBorder(look.line(1.0))
    style.setBorderBrush(COLOURS.line)
    style.setBorderStyle(QTextFrameFormat.BorderStyle.BorderStyle_Solid)
    style.setBorderCollapse(True)
    style.setCellPadding(look.px(0.9))
    style.setCellSpacing(0)
    style.setTopMargin(look.px(0.8))
    style.setBottomMargin(look.px(1.8))
    style.setWidth(QTextLength(QTextLength.Type.PercentageLength, 100))
    if table.columns() == 2:
        style.setColumnWidthConstraints(
            [QTextLength(QTextLength.Type.PercentageLength, share) for share in (30, 70)]
        )
    table.setFormat(style)
    for column in range(table.columns()):
        head = table.cellAt(0, column)
        fill = head.format()
        fill.setBackground(faded(COLOURS.line, 0.5))
        head.setFormat(fill)


def _fit_pictures(document: QTextDocument, room: float, ratio: float) -> None:
    """Pictures no wider than the text."""
    block = document.begin()
    while block.isValid():
        fragments = block.begin()
        while not fragments.atEnd():
            fragment = fragments.fragment()
            style = fragment.charFormat()
            if style.isImageFormat():
                _fit_picture(document, style.toImageFormat(), fragment.position(), room, ratio)
            fragments += 1
        block = block.next()


def _fit_picture(
    document: QTextDocument, style: QTextImageFormat, position: int, room: float, ratio: float
) -> None:
    """Scaled beforehand: drawn smaller by the document itself, thin lines and words break up."""
    name = document.baseUrl().resolved(QUrl(style.name()))
    picture = QImage(name.toLocalFile())
    if picture.isNull():
        return
    shown = min(picture.width(), round(room))
    width = round(shown * ratio)
    high = shown * picture.height() / picture.width()
    if width < picture.width():
        picture = picture.convertToFormat(QImage.Format.Format_RGB32)  # a palette is not mixed
        picture = picture.scaledToWidth(width, Qt.TransformationMode.SmoothTransformation)
    document.addResource(QTextDocument.ResourceType.ImageResource.value, name, picture)
    style.setWidth(shown)
    style.setHeight(high)
    cursor = QTextCursor(document)
    cursor.setPosition(position)
    cursor.setPosition(position + 1, QTextCursor.MoveMode.KeepAnchor)
    cursor.setCharFormat(style)


class GuideSheet(Overlay):
    """The guide with its table of contents; Esc puts it away.

    Left and right turn pages, Backspace goes back to the page before.
    """

    def __init__(self, parent: QWidget) -> None:
        super().__init__("User guide", parent)
        self._before: list[str] = []
        self.page = GuidePage(self)
        self.page.turned.connect(self.turn_to)
        self.entries: dict[str, Pad] = {}
        for name, title in CONTENTS.items():
            pad = Pad(title, tip=f"Turn to: {title}", parent=self)
            pad.clicked.connect(lambda _=False, name=name: self.turn_to(name))
            self.entries[name] = pad

    def sheet_size(self) -> tuple[float, float]:
        """Nearly all of the window."""
        wide = CONTENTS_STEPS + TEXT_STEPS + 9.0
        return (wide, self.height() / self.look.step_px - 4.0)

    def lay_out(self) -> None:
        """Contents on the left, the page on the right."""
        body, look = self.body_rect(), self.look
        y = body.top()
        for name, pad in self.entries.items():
            pad.set_look(look)
            pad.set_state(on=name == self.page.name)
            pad.move(round(body.left() - look.px(0.5)), round(y))
            y += look.px(4.4)
        left = body.left() + look.px(CONTENTS_STEPS) * max(look.text_scale, 1.0)
        top = self.sheet_rect().top() + look.px(3.0)
        place = QRectF(left, top, body.right() - left, body.bottom() - top)
        self.page.setGeometry(place.toRect())
        self.page.set_look(look)

    def open_for(self, page: str) -> None:
        """Open at what is said about a page of the window."""
        self._before.clear()
        self.page.name = ""
        self.open()
        self._show(PAGE_GUIDES.get(page, "index"))

    def turn_to(self, name: str) -> None:
        """Another page of the guide; Backspace comes back."""
        if name in CONTENTS and name != self.page.name:
            self._before.append(self.page.name)
            self._show(name)

    def go_back(self) -> None:
        """The page before."""
        if self._before:
            self._show(self._before.pop())

    def turn(self, by: int) -> None:
        """So many pages on."""
        names = list(CONTENTS)
        place = names.index(self.page.name) + by
        if 0 <= place < len(names):
            self.turn_to(names[place])

    def _show(self, name: str) -> None:
        self.page.show_page(name)
        for known, pad in self.entries.items():
            pad.set_state(on=known == name)
        self.page.setFocus()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Turn pages, go back, close; what the page does not use arrives here."""
        key = None if event is None else event.key()
        if key in CLOSE_KEYS:
            self.close_sheet()
        elif key == Qt.Key.Key_Right:
            self.turn(1)
        elif key == Qt.Key.Key_Left:
            self.turn(-1)
        elif key == Qt.Key.Key_Backspace:
            self.go_back()
        else:
            super().keyPressEvent(event)
