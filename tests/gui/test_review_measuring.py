"""Measuring on the Review page, with real keys and mouse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from support import review_events
from support.review_window import LEFT

from liveview.gui.review_measuring import Result
from liveview.review.measure import Measurement, Quantity, load_measurements


@pytest.mark.slow
def test_a_length_is_measured_with_its_uncertainty_and_kept(review) -> None:
    r = review()
    r.press("D")
    r.drag((40.0, 64.0), (80.0, 64.0))
    measured = r.page.desk.result.measurement.results["length"]
    view = r.page.dial.picture.view
    # A mouse goes by whole pixels of the screen.
    assert measured.value * 1e3 == pytest.approx(
        40 * review_events.MM_PER_PX, abs=1.5 * review_events.MM_PER_PX / view.scale
    )
    assert "\u00b1" in r.page.panel.words()
    assert "mm" in r.page.panel.words()
    assert load_measurements(r.page.replay.path) == ()
    r.press("Return")
    (kept,) = load_measurements(r.page.replay.path)
    assert kept.kind == "length"
    assert kept.results["length"].value == pytest.approx(measured.value)
    r.press("Escape")
    assert "Kept with this event" in r.page.panel.words()
    assert "Length: " in r.page.panel.words()


@pytest.mark.slow
def test_an_angle_and_a_known_length(review) -> None:
    r = review()
    r.press("A")
    for place in ((80.0, 64.0), (50.0, 64.0), (50.0, 34.0)):
        r.click(*place)
    angle = r.page.desk.result.measurement.results["angle"]
    assert angle.low < np.pi / 2 < angle.high
    r.press("U")
    r.drag((40.0, 70.0), (90.0, 70.0))
    field = r.page.panel.length_field
    assert field.isVisible()
    QTest.keyClicks(field, "25 mm")
    QTest.keyClick(field, Qt.Key.Key_Return)
    scale = r.page.desk.result.measurement.results["scale"]
    assert scale.low < 0.5e-3 < scale.high
    r.press("D")
    r.drag((40.0, 70.0), (60.0, 70.0))
    length = r.page.desk.result.measurement.results["length"].value
    assert length == pytest.approx(10e-3, rel=0.03)


@pytest.mark.slow
def test_front_is_followed_by_itself_and_its_speed_is_right(review) -> None:
    r = review()
    r.press("Shift+Right", "F")
    r.click(*review_events.CENTRE)
    result = r.page.desk.result
    assert result.measurement is not None, result.words
    speed = result.measurement.results["speed"]
    assert speed.value == pytest.approx(review_events.FRONT_M_S, rel=0.02)
    assert "Mach number" in r.page.panel.words()
    # The ring lies on the front of the frame that is shown.
    ((_, radius),) = r.page.dial.marks.drawing.rings
    assert radius == pytest.approx(4 + 1.5 * 10, abs=0.7)
    assert r.page.panel.plot_place.plot.shown.name == "front"
    r.press("Right")
    ((_, later),) = r.page.dial.marks.drawing.rings
    assert later > radius + 0.7
    QTest.mouseClick(r.page.panel.save, LEFT)
    saved = sorted(path.suffix for path in r.page.export_folder.iterdir())
    assert saved == [".csv", ".png", ".svg"]
    table = next(r.page.export_folder.glob("*.csv")).read_text()
    assert table.startswith("frame,time_s,radius_px")


@pytest.mark.slow
def test_front_by_hand_takes_the_place_of_the_found_one(review) -> None:
    r = review()
    r.press("Shift+Right", "F")
    r.click(*review_events.CENTRE)
    r.click(review_events.CENTRE[0] + 19.0, review_events.CENTRE[1])
    by_hand = [p for p in r.page.desk.result.points if p.by_hand]
    assert len(by_hand) == 1
    assert by_hand[0].radius_px == pytest.approx(19.0, abs=0.5)


@pytest.mark.slow
def test_no_front_is_said_in_words(review) -> None:
    r = review()
    r.press("Home", "[", "Right", "Right", "Right", "]", "F")
    r.click(*review_events.CENTRE)
    assert r.page.desk.result.measurement is None
    assert "no front found" in r.page.panel.words().lower()
    assert not r.page.panel.keep.isVisible()


@pytest.mark.slow
def test_flicker_and_plume_answer_in_words_when_there_is_none(review) -> None:
    r = review()
    r.press("H")
    r.drag((20.0, 50.0), (40.0, 70.0))
    assert r.page.desk.result is not None
    assert r.page.panel.plot_place.plot.shown.name == "spectrum"
    r.press("T")
    r.drag((40.0, 64.0), (60.0, 65.0))
    result = r.page.desk.result
    assert result.measurement is not None or result.words


@pytest.mark.slow
def test_a_front_set_by_hand_on_the_same_place_is_kept(review) -> None:
    """Three clicks at one radius do not scatter: their own uncertainty is the interval."""
    r = review()
    r.press("Home", "[", "Right", "Right", "Right", "]", "F")
    r.click(*review_events.CENTRE)
    for _ in range(3):
        r.click(review_events.CENTRE[0] + 20.0, review_events.CENTRE[1])
        r.press("Left")
    speed = r.page.desk.result.measurement.results["speed"]
    assert speed.low < 0 < speed.high
    r.press("Return")
    (kept,) = load_measurements(r.page.replay.path)
    assert kept.results["speed"].low == pytest.approx(speed.low)


@pytest.mark.slow
def test_what_is_no_number_is_not_kept_and_said(review) -> None:
    r = review()
    r.press("D")
    r.drag((40.0, 64.0), (80.0, 64.0))
    bad = Measurement("length", {"length": Quantity(0.0, math.nan, math.nan, "m")})
    r.page.desk.result = Result(bad)
    r.press("Return")
    assert "not a number" in r.said()
    assert load_measurements(r.page.replay.path) == ()
