"""Names of event folders stay in their folder and never collide."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import BadRequest
from liveview.model import Cause
from liveview.recorder.names import check_pattern, claim_part, event_names, final_path, safe_name

AT = "2031-05-06T07:08:09+02:00"


@pytest.mark.parametrize(
    ("pattern", "first", "second"),
    [
        ("{date}_{time}_{cause}", "2031-05-06_07-08-09_hand", "2031-05-06_07-08-09_hand_2"),
        ("spark {number}", "spark 0001", "spark 0002"),
        ("../../{cause}", "-..-hand", "-..-hand_2"),
        ("a/b\\c:d", "a-b-c-d", "a-b-c-d_2"),
        ("", "event", "event_2"),
        ("...", "event", "event_2"),
        ("CON", "event-CON", "event-CON_2"),
        ("x.part", "x", "x_2"),
        (".hidden", "hidden", "hidden_2"),
    ],
)
def test_names(pattern, first, second) -> None:
    names = event_names(pattern, AT, Cause.HAND)
    assert names(1) == first
    assert names(2) == second


@given(st.text())
def test_no_name_leaves_its_folder(text: str) -> None:
    name = safe_name(text)
    assert name == Path(name).name and name not in ("", ".", "..")
    assert not name.lower().endswith(".part") and not name.endswith((" ", "."))
    assert len(name.encode("utf-8", "surrogatepass")) <= 130
    assert safe_name(name) == name


def test_a_bad_time_is_replaced_by_now() -> None:
    assert len(event_names("{date}", "yesterday", Cause.HAND)(1)) == 10


def test_unknown_fields_are_named() -> None:
    check_pattern("{date}{number}")
    with pytest.raises(BadRequest, match=r"'\{mood\}'"):
        check_pattern("{date} {mood}")


def test_claims_are_exclusive_and_respect_what_is_there(tmp_path) -> None:
    names = event_names("e", AT, Cause.HAND)
    (tmp_path / "e").mkdir()
    parts = [claim_part(tmp_path, names) for _ in range(3)]
    assert [part.name for part in parts] == ["e_2.part", "e_3.part", "e_4.part"]
    (tmp_path / "e_2").write_text("somebody else's")
    assert final_path(parts[0]).name == "e_2_2"
