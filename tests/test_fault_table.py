"""The table of faults in DEVELOPERS.md is what the tests declare, and leaves none out."""

from __future__ import annotations

import pytest
from support.fault_table import BEGIN, END, TESTS, declared, replaced

PAGE = TESTS.parent / "DEVELOPERS.md"

TO_BE_TRIED = (
    "unplugged",
    "stall",
    "same picture",
    "changes its size",
    "rubbish",
    "clock",
    "sleep",
    "microphone",
    "another program",
    "newer version",
    "read-only",
    "hidden",
    "memory",
    "disk",
    "killed",
)
"""A word of each kind of bad day that must be among the faults."""


def test_the_table_is_what_the_tests_declare() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page.count(BEGIN) == page.count(END) == 1
    assert page == replaced(page), "run tests/support/fault_table.py"


@pytest.mark.parametrize("word", TO_BE_TRIED)
def test_every_kind_of_bad_day_is_tried(word: str) -> None:
    assert any(word in row.what for row in declared())


def test_a_row_is_one_line_of_four_cells() -> None:
    for row in declared():
        assert str(row).count("|") == 5
        assert "\n" not in str(row)
