"""Pages of the real window: the Plan page comes by itself and its rig reaches the session."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QAbstractButton, QApplication, QLineEdit
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.book import PAGE_KEYS
from liveview.gui.other_pages import add_other_pages_later
from liveview.gui.pad import Pad
from liveview.gui.plan_page import PlanPage


@pytest.fixture
def rig(app: QApplication) -> Iterator[WindowRig]:
    made = WindowRig(app, scripted(disc_frames))
    add_other_pages_later(made.window, made.bridge)
    yield made
    made.close()


def plan_of(rig: WindowRig) -> PlanPage:
    rig.wait(lambda: "Plan" in rig.window.pages.pages)
    page = rig.window.findChild(PlanPage)
    assert isinstance(page, PlanPage)
    return page


@pytest.mark.slow
def test_plan_page_is_added_once_after_the_first_picture(rig: WindowRig) -> None:
    assert "Plan" not in rig.window.pages.pages
    rig.first_picture()
    plan_of(rig)
    QTest.qWait(100)
    assert rig.window.pages.pages == ("Plan", "Align", "Watch", "Catch", "Review", "Show")
    assert len(rig.window.findChildren(PlanPage)) == 1


def test_its_key_opens_it_and_the_next_one_goes_back(rig: WindowRig) -> None:
    page = plan_of(rig)
    assert not page.isVisible()
    QTest.keyClick(rig.window, Qt.Key.Key_F2)
    assert page.isVisible()
    assert not rig.window.page.isVisible()
    QTest.keyClick(rig.window, Qt.Key.Key_F4)
    assert rig.window.page.isVisible()


@pytest.mark.slow
def test_letters_typed_into_the_plan_do_not_drive_the_picture(rig: WindowRig) -> None:
    page = plan_of(rig)
    QTest.keyClick(rig.window, Qt.Key.Key_F2)
    view = rig.bridge.settings.enhance.view
    field = page.field("rig.name")
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "Attic 1 2 3 go")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert page.settings.rig.name == "Attic 1 2 3 go"
    assert rig.bridge.settings.enhance.view == view


def test_a_used_rig_reaches_the_session(rig: WindowRig) -> None:
    page = plan_of(rig)
    QTest.keyClick(rig.window, Qt.Key.Key_F2)
    field = page.field("rig.focal_length_m")
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "900 mm")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert rig.bridge.settings.rig.focal_length_m != pytest.approx(0.9)
    page.use_pad.click()
    assert rig.bridge.settings.rig.focal_length_m == pytest.approx(0.9)
    assert rig.session.settings.rig.focal_length_m == pytest.approx(0.9)
    assert "In use" in rig.window.answer.words()


def test_every_pad_of_every_page_says_what_it_does_and_its_key(rig: WindowRig) -> None:
    plan_of(rig)
    window = rig.window
    own = [button for button in window.findChildren(QAbstractButton) if is_ours(button)]
    assert len(own) > 80
    for button in own:
        words = button.toolTip()
        assert words, button.text() or type(button).__name__
        assert words.endswith(")"), words
        if isinstance(button, Pad):
            keys = [button.key] if button.key else ["Tab, then Enter", "Tab, then Space"]
            assert any(words.endswith(f"  ({key})") for key in keys), words
    told = {f"{name}  ({key})" for name, key in PAGE_KEYS.items()}
    assert set(window.pages.toolTip().splitlines()) == told


@pytest.mark.slow
def test_every_field_says_what_belongs_into_it(rig: WindowRig) -> None:
    plan_of(rig)
    for field in rig.window.findChildren(QLineEdit):
        assert field.accessibleName() or field.toolTip(), field.placeholderText()


def is_ours(button: QAbstractButton) -> bool:
    """Not a part of a stock widget, such as a field's own clear button."""
    return type(button).__module__.startswith("liveview")
