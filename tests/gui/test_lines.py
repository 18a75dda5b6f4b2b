"""Blocks of lines: words that would not fit are set smaller, never cut."""

from __future__ import annotations

import pytest
from PyQt6.QtWidgets import QApplication

from liveview.gui.lines import Line, Lines
from liveview.gui.theme import FITTING, Look

WORDS = [Line("Turn the lens through the sharpest rim and back to it.") for _ in range(4)]


@pytest.fixture
def block(app: QApplication) -> Lines:
    made = Lines()
    made.set_look(Look(20.0, 1.25))
    made.show_lines(WORDS)
    made.resize(300, 1000)
    return made


def lowest_ink(block: Lines) -> int:
    """Last row of the block that has words on it; it stands on nothing."""
    picture = block.grab().toImage()
    ground = picture.pixel(block.width() - 1, 0)
    rows = range(picture.height() - 1, -1, -1)
    return next(y for y in rows if any(picture.pixel(x, y) != ground for x in range(0, 290)))


def test_with_room_enough_words_have_their_usual_size(block: Lines) -> None:
    assert block.fitting == 1.0
    # Four paragraphs of two lines, 20 pixels high: about as high as was asked for.
    assert lowest_ink(block) == pytest.approx(block.needed_height(300), abs=10)


def test_with_little_room_they_are_smaller_and_all_there(block: Lines) -> None:
    needed = block.needed_height(300)
    block.resize(300, round(0.9 * needed))
    assert block.fitting < 1.0
    assert block.needed_height(300) == needed
    assert block.painted_height == pytest.approx(lowest_ink(block), abs=10)
    assert block.painted_height <= block.height() + 1
    assert lowest_ink(block) < block.height() - 1


def test_not_smaller_than_can_be_read(block: Lines) -> None:
    block.resize(300, 20)
    assert block.fitting == FITTING[-1]


def test_new_words_are_measured_anew(block: Lines) -> None:
    block.resize(300, round(0.9 * block.needed_height(300)))
    block.show_lines(WORDS[:1])
    assert block.fitting == 1.0


def test_a_long_name_of_a_file_goes_on_in_the_next_line(app: QApplication) -> None:
    name = "2026-11-25_18-15-27_sound"
    lines = Lines()
    lines.set_look(Look())
    lines.show_lines([Line(name)])
    lines.resize(120, 100)
    one = lines.needed_height(1000)
    assert lines.needed_height(120) >= 1.8 * one
    assert lines.words() == name
