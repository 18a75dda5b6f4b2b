"""Guide, explanation and key sheet over the real window, by real keys."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.guide import PAGE_GUIDES, guide_file
from liveview.gui.keys import shown_key
from liveview.gui.other_pages import add_other_pages


@pytest.fixture
def rig(app: QApplication) -> Iterator[WindowRig]:
    made = WindowRig(app, scripted(disc_frames))
    made.first_picture()
    add_other_pages(made.window, made.bridge)
    yield made
    made.close()


def test_the_guide_opens_at_the_open_page_and_its_keys_are_its_own(rig: WindowRig) -> None:
    rig.press("F3")
    rig.press("Shift+F1")
    guide = rig.window.helps.guide
    assert guide is not None
    assert guide.isVisible()
    assert guide.page.name == "aligning"
    rig.press("Space")
    assert not rig.window.frozen
    rig.press("Right")
    assert guide.page.name == "watching"
    rig.press("Escape")
    assert not guide.isVisible()
    rig.press("F4")
    rig.press("Space")
    assert rig.window.frozen, "the window's keys work again"


def test_the_explanation_follows_reading_and_settings(rig: WindowRig) -> None:
    rig.press("F8")
    sheet = rig.window.helps.explain
    assert sheet is not None
    assert sheet.isVisible()
    assert sheet.drawing.moving
    before = sheet.drawing.explanation.scene
    rig.press("Space")
    assert sheet.drawing.explanation.scene == before + 1
    QTest.mouseClick(sheet.drawing, Qt.MouseButton.LeftButton)
    assert sheet.drawing.explanation.scene == before + 2
    bent = sheet.drawing.explanation.words
    rig.window.use_settings(rig.bridge.settings.replaced("rig", focal_length_m=3.0))
    assert sheet.drawing.explanation.words != bent, "another rig, other angles"
    rig.press("F8")
    assert not sheet.isVisible()
    assert not sheet.drawing.moving


def test_the_key_sheet_opens_the_others_by_mouse(rig: WindowRig) -> None:
    rig.press("F1")
    sheet = rig.window.key_sheet
    assert set(sheet.pads) == {"guide", "explain", "key card"}
    QTest.mouseClick(sheet.pads["guide"], Qt.MouseButton.LeftButton)
    assert not sheet.isVisible()
    guide = rig.window.helps.guide
    assert guide is not None
    assert guide.page.name == "watching"
    guide.close_sheet()


KEY = re.compile(r"\*\*([^*]+)\*\*|^\| ([A-Z]) \|", re.MULTILINE)
"""What is bold, and the first column of a table of tools."""

KEY_SHAPED = re.compile(r"(Ctrl\+|Shift\+|Alt\+)?([A-Z]|F\d+|Space|Enter|Esc|Del|\W)")


def test_every_key_that_the_guide_names_works_on_that_page(rig: WindowRig) -> None:
    pages = rig.window.key_pages()
    groups = rig.window.keys.groups()
    for page, name in PAGE_GUIDES.items():
        shown = {
            shown_key(key)
            for group in pages[page]
            for action in groups.get(group, ())
            for key in action.keys
        }
        named = [one or other for one, other in KEY.findall(guide_file(name).read_text("utf-8"))]
        keys = {shown_key(word) for word in named if KEY_SHAPED.fullmatch(word)}
        assert keys - shown == set(), page
        assert keys, page


def test_they_fit_a_window_that_changes_its_size(rig: WindowRig) -> None:
    rig.press("Shift+F1")
    rig.window.resize(1000, 640)
    rig.wait(lambda: rig.window.helps.guide.size() == rig.window.size())
    guide = rig.window.helps.guide
    assert guide is not None
    assert guide.sheet_rect().contains(guide.page.geometry().toRectF())
    rig.press("Escape")
