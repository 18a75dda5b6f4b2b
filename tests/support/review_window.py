"""The window with the Review page open, on a folder of events."""

from __future__ import annotations

from pathlib import Path

from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.other_pages import add_other_pages
from liveview.gui.review_page import ReviewPage
from liveview.settings import Settings

LEFT = Qt.MouseButton.LeftButton


class Review:
    """The window with the page open."""

    def __init__(self, app: QApplication, folder: Path) -> None:
        settings = Settings().replaced("store", folder=str(folder))
        self.folder = folder
        self.rig = WindowRig(app, scripted(disc_frames), settings=settings)
        add_other_pages(self.rig.window, self.rig.bridge)
        self.rig.first_picture()
        page = self.rig.window.findChild(ReviewPage)
        assert isinstance(page, ReviewPage)
        self.page = page

    @property
    def replay(self) -> object:
        return self.page.replay

    def open(self) -> None:
        QTest.keyClick(self.rig.window, Qt.Key.Key_F6)
        assert self.page.isVisible()
        self.settle()

    def settle(self) -> None:
        """Wait until nothing is under way."""
        self.rig.wait(lambda: not self.page._timer.isActive())

    def press(self, *keys: str) -> None:
        for key in keys:
            self.rig.press(key)
        self.settle()

    def at(self, x: float, y: float) -> QPoint:
        """Widget point of a picture point."""
        view = self.page.dial.picture.view
        return QPoint(*(round(v) for v in view.to_widget(x, y)))

    def click(self, x: float, y: float) -> None:
        QTest.mouseClick(self.page.dial.marks, LEFT, pos=self.at(x, y))
        self.settle()

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        marks = self.page.dial.marks
        QTest.mousePress(marks, LEFT, pos=self.at(*start))
        QTest.mouseMove(marks, self.at(*end))
        QTest.mouseRelease(marks, LEFT, pos=self.at(*end))
        self.settle()

    def said(self) -> str:
        return self.rig.window.answer.words()
