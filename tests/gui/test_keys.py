from __future__ import annotations

from collections.abc import Iterator

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QWidget
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.book import PAGE_ORDER
from liveview.gui.key_sheet import COLUMNS, TITLE_AT
from liveview.gui.keys import Action, KeyMap, shown_key
from liveview.gui.other_pages import add_other_pages
from liveview.gui.pad import keycap_width
from liveview.gui.paint import text_width
from liveview.settings import Settings


def nothing() -> None:
    pass


def test_one_key_has_one_meaning() -> None:
    first = Action("a", ("D",), "A", "g", nothing)
    with pytest.raises(ValueError, match="bound"):
        KeyMap([first, Action("b", ("D",), "B", "g", nothing)])
    with pytest.raises(ValueError, match="called"):
        KeyMap([first, Action("a", ("E",), "B", "g", nothing)])


def test_groups_that_never_work_together_may_share_keys(app: object) -> None:
    keys = KeyMap([Action("a", ("D",), "A", "one", nothing)])
    keys.add(Action("b", ("D",), "B", "two", nothing))
    keys.allow(["one"])
    keys.allow(["two"])
    with pytest.raises(ValueError, match="bound"):
        keys.allow(["one", "two"])


def test_keys_work_and_can_be_limited_to_groups(app: object) -> None:
    window = QWidget()
    pressed: list[str] = []
    keys = KeyMap([Action("a", ("D",), "A", "one", lambda: pressed.append("a"))])
    keys.bind(window)
    keys.add(Action("b", ("Ctrl+E",), "B", "two", lambda: pressed.append("b")))
    window.show()
    window.activateWindow()
    assert QTest.qWaitForWindowActive(window)
    QTest.keyClick(window, Qt.Key.Key_D)
    QTest.keyClick(window, Qt.Key.Key_E, Qt.KeyboardModifier.ControlModifier)
    assert pressed == ["a", "b"]
    keys.allow(["two"])
    QTest.keyClick(window, Qt.Key.Key_D)
    assert pressed == ["a", "b"]
    keys.allow(None)
    keys.set_enabled(False)
    QTest.keyClick(window, Qt.Key.Key_D)
    assert pressed == ["a", "b"]


def test_actions_get_other_keys(app: object) -> None:
    window = QWidget()
    pressed: list[str] = []

    def an(name: str, key: str) -> Action:
        return Action(name, (key,), name, "one", lambda: pressed.append(name))

    keys = KeyMap([an("a", "D"), an("b", "E"), an("c", "F")])
    keys.bind(window)
    window.show()
    window.activateWindow()
    assert QTest.qWaitForWindowActive(window)
    keys.replace([an("a", "E"), an("b", "D")])
    QTest.keyClick(window, Qt.Key.Key_E)
    QTest.keyClick(window, Qt.Key.Key_D)
    QTest.keyClick(window, Qt.Key.Key_F)
    assert pressed == ["a", "b", "c"]
    assert [action.name for action in keys.groups()["one"]] == ["a", "b", "c"]
    with pytest.raises(ValueError, match="bound"):
        keys.replace([an("a", "F")])


def test_shown_names() -> None:
    assert shown_key("Ctrl+Z") == "Ctrl Z"
    assert shown_key("Shift+Left") == "Shift \u2190"


@pytest.fixture(params=[1.0, 1.25])
def rig(request: pytest.FixtureRequest, app: QApplication) -> Iterator[WindowRig]:
    """The whole window with all its pages, with usual and with large words."""
    settings = Settings().replaced("screen", text_scale=request.param)
    made = WindowRig(app, scripted(disc_frames), settings=settings)
    add_other_pages(made.window, made.bridge)
    yield made
    made.close()


@pytest.mark.parametrize("size", [(960, 600), (1280, 720), (1280, 800), (1920, 1080)])
def test_every_key_of_every_page_stands_inside_the_sheet(
    rig: WindowRig, size: tuple[int, int]
) -> None:
    window, sheet = rig.window, rig.window.key_sheet
    window.resize(*size)
    for page in PAGE_ORDER:
        window.turn_to(page)
        sheet.open()
        places, body, look = sheet.places(), sheet.body_rect(), sheet.look
        actions = [row for row, _ in places if isinstance(row, Action)]
        working = [a for group in window.keys.groups(working=True).values() for a in group]
        assert sorted(a.name for a in actions) == sorted(a.name for a in working)
        for row, box in places:
            assert body.contains(box), (page, row)
            if isinstance(row, Action):
                assert keycap_width(row.key, look) < look.px(TITLE_AT), row
                assert text_width(look.font(), row.title) < box.width() - look.px(TITLE_AT), row
            else:
                assert text_width(look.font(), row) < box.width(), row
        sheet.close_sheet()


def test_long_groups_go_on_under_their_heading_and_own_keys_come_first(rig: WindowRig) -> None:
    window = rig.window
    own = {"Align": "Align", "Watch": "Look", "Catch": "Caught", "Review": "Review", "Show": "Show"}
    for page, first in own.items():
        window.turn_to(page)
        columns = window.key_sheet.columns()
        assert len(columns) == COLUMNS
        assert columns[0][0] == first
        assert all(isinstance(column[0], str) for column in columns)
        heights = [len(column) for column in columns]
        assert max(heights) - min(heights) <= 6  # about evenly filled; three rows keep together
    window.turn_to("Review")
    headings = [
        row for column in window.key_sheet.columns() for row in column if isinstance(row, str)
    ]
    assert "Review, continued" in headings
