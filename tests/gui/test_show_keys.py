"""The presenter's keys: the usual ones, a show's own, and wrong ones in one line."""

from __future__ import annotations

import pytest
from PyQt6.QtWidgets import QApplication

from liveview.errors import BadRequest
from liveview.gui.keys import KeyMap
from liveview.gui.show_keys import DEEDS, keys_for, show_actions


def test_usual_keys_are_those_of_a_clicker(app: QApplication) -> None:
    keys = keys_for({})
    assert "PgDown" in keys["next"]
    assert "PgUp" in keys["previous"]
    assert {".", "B"} <= set(keys["blank"])
    assert set(keys) == {deed.name for deed in DEEDS}


def test_no_usual_key_is_used_twice(app: QApplication) -> None:
    given = [key for keys in keys_for({}).values() for key in keys]
    assert len(given) == len(set(given))
    KeyMap(show_actions(keys_for({}), lambda name: lambda: None))


def test_a_shows_own_key_is_taken_from_what_had_it(app: QApplication) -> None:
    keys = keys_for({"next": ["Space"], "replay": ["F13", "PageDown"]})
    assert keys["next"] == ("Space",)
    assert keys["freeze"] == ()
    assert keys["replay"] == ("F13", "PgDown")
    KeyMap(show_actions(keys, lambda name: lambda: None))


@pytest.mark.parametrize(
    ("own", "says"),
    [
        ({"nxt": ["A"]}, "show.keys.nxt"),
        ({"next": ["Blub"]}, "'Blub' is no key"),
        ({"next": ["F5"]}, "belongs to the window"),
        ({"next": ["Escape"]}, "belongs to the window"),
        ({"next": ["A"], "blank": ["a"]}, "given to next, too"),
        ({"next": ["Ctrl+A, B"]}, "is no key"),
    ],
)
def test_wrong_keys_are_refused_in_one_line(
    app: QApplication, own: dict[str, list[str]], says: str
) -> None:
    with pytest.raises(BadRequest, match=says) as refused:
        keys_for(own)
    assert "\n" not in str(refused.value)
