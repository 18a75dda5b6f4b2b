"""The Review page in the real window: moving in time, views, comparing."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from PyQt6.QtCore import QPoint
from PyQt6.QtTest import QTest
from support import review_events
from support.review_window import LEFT

from liveview.gui.paint import polar
from liveview.gui.review_page import ReviewPage
from liveview.gui.review_replay import Compare


@pytest.mark.slow
def test_keys_step_and_the_picture_is_that_frame(review) -> None:
    r = review()
    at = review_events.SPARK_FRAME
    r.press("Right", "Right", "Left")
    assert r.page.replay.index == at + 1
    assert r.page.replay.shown.index == at + 1
    r.press("Shift+Right")
    assert r.page.replay.index == at + 11
    r.press("Home")
    assert r.page.replay.index == 0
    r.press("End")
    assert r.page.replay.index == len(r.page.replay.facts.times_s) - 1
    r.press("K")
    assert r.page.replay.index == at
    assert "Frame 9 of 34" in r.page.moment.words()


@pytest.mark.slow
def test_it_plays_at_a_named_rate_to_the_end_and_loops(review) -> None:
    r = review()
    assert "1/40 of real time" in r.page.moment.words()
    r.press(",", ",")
    assert "1/200 of real time" in r.page.moment.words()
    r.rig.press("Space")
    r.rig.wait(lambda: not r.page.replay.playing)
    r.settle()
    assert r.page.replay.index == len(r.page.replay.facts.times_s) - 1
    assert r.page.replay.shown.index == r.page.replay.index
    r.rig.press("L")
    r.rig.press("Space")
    seen: list[int] = []

    def wrapped() -> bool:
        seen.append(r.page.replay.index)
        return any(b < a for a, b in itertools.pairwise(seen))

    r.rig.wait(wrapped)
    assert r.page.replay.playing
    r.rig.press("Space")
    r.settle()
    assert not r.page.replay.playing


@pytest.mark.slow
def test_a_stretch_is_set_by_keys_and_played_only(review) -> None:
    r = review()
    r.press("[", "Shift+Right", "]")
    player = r.page.replay.player
    assert (player.first, player.last) == (8, 18)
    r.press("Home", ".")
    r.rig.press("Space")
    r.rig.wait(lambda: not r.page.replay.playing)
    assert r.page.replay.index == 18
    r.press("W")
    assert (r.page.replay.player.first, r.page.replay.player.last) == (0, 33)


@pytest.mark.slow
def test_dragging_on_the_ring_goes_to_that_moment(review) -> None:
    r = review()
    dial, rings = r.page.dial, r.page.dial.rings
    times = r.page.replay.facts.times_s
    radius = (rings.sound_in + rings.sound_out) / 2

    def on_ring(index: int) -> QPoint:

        return polar(rings.centre, radius, dial.face.scale.angle(times[index] + 3e-5)).toPoint()

    QTest.mousePress(dial, LEFT, pos=on_ring(3))
    assert r.page.replay.index == 3
    QTest.mouseMove(dial, on_ring(25))
    QTest.mouseRelease(dial, LEFT, pos=on_ring(25))
    r.settle()
    assert r.page.replay.index == 25
    assert r.page.replay.shown.index == 25


@pytest.mark.slow
def test_ring_shows_sparks_losses_and_sound(review) -> None:
    r = review()
    face = r.page.dial.face
    assert face.sparks_s == (pytest.approx(review_events.START_S + 8 / review_events.RATE_HZ),)
    assert sum(face.lost_before) == 2
    assert face.envelope is not None
    crack = np.argmax(face.envelope) / len(face.envelope)
    # Half of the sound's 3.6 ms, seen against the 3.5 ms from the first frame to the last.
    assert crack == pytest.approx(0.5 * 3.6 / 3.5, abs=0.01)


@pytest.mark.slow
def test_views_and_gain_as_live(review) -> None:
    r = review()
    r.press("Right", "Right", "Right", "3")
    assert r.page.dial.picture.reading.view == "signed"
    signed = r.page.dial.picture.reading.picture.copy()
    r.press("1")
    assert r.page.dial.picture.reading.view == "plain"
    assert not np.array_equal(signed, r.page.dial.picture.reading.picture)
    r.press("3")
    assert np.array_equal(signed, r.page.dial.picture.reading.picture)
    before = r.page.dial.picture.reading.scale
    r.press("+")
    assert r.page.dial.picture.reading.scale == pytest.approx(before / 1.25)
    assert "fixed" in r.page.pads["gain"].note
    r.press("G")
    assert r.page.dial.picture.reading.scale == pytest.approx(before)


@pytest.mark.slow
def test_plain_and_lifted_stand_on_both_sides_of_an_edge_that_is_dragged(review) -> None:
    r = review()
    r.press("Shift+Right", "C")
    marks = r.page.dial.marks
    assert r.page.replay.shown.beside.view == "plain"
    assert r.page.replay.shown.reading.view == "lifted"
    r.drag((64, 64), (90, 64))
    to = r.at(90, 64).x() / marks.width()
    assert marks.edge == pytest.approx(to, abs=0.01)
    image = marks.parent().grab().toImage()
    y = r.at(64, 100).y()
    alone = r.page.dial.picture.reading.picture
    right = image.pixelColor(r.at(100, 100).x(), y).red()
    left = image.pixelColor(r.at(40, 100).x(), y).red()
    assert abs(right - int(alone[100, 100, 0])) < 12
    plain = r.page.replay.shown.beside.picture
    assert abs(left - int(plain[100, 40, 0])) < 12
    r.press("Escape")
    assert r.page.replay.compare is Compare.NONE
    assert marks.beside is None


@pytest.mark.slow
def test_a_held_picture_is_compared_with_another_instant_and_another_event(review) -> None:
    r = review()
    r.press("V", "Right", "Right", "Right")
    reading, names = r.page.replay.beside
    assert reading.stamp.number == review_events.SPARK_FRAME
    assert names == ("0\u2009\u00b5s", "+300\u2009\u00b5s")
    r.press("Up")
    assert r.page.replay.beside[1] == ("the event before", "this event")
    assert r.page.dial.marks.beside is reading
    r.press("V")
    assert r.page.replay.compare is Compare.NONE


@pytest.mark.slow
def test_the_key_sheet_lists_the_keys_of_this_page_and_all_of_them(review) -> None:
    r = review()
    rows = [row for column in r.rig.window.key_sheet.columns() for row in column]
    headings = [row.removesuffix(", continued") for row in rows if isinstance(row, str)]
    assert set(headings) == set(ReviewPage.KEY_GROUPS)
    names = {row.name for row in rows if not isinstance(row, str)}
    assert {action.name for action in r.page.own_actions()} <= names
    assert "freeze" not in names
    r.press("F1")
    sheet = r.rig.window.key_sheet
    assert sheet.sheet_rect().height() <= sheet.height()
    r.press("F1")
