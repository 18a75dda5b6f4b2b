from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QWidget

from liveview.gui.keys import Action, KeyMap, shown_key


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


def test_shown_names() -> None:
    assert shown_key("Ctrl+Z") == "Ctrl Z"
    assert shown_key("Shift+Left") == "Shift \u2190"
