"""Time along the ring, words of quantities, and the other calculations behind the page."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from liveview.gui.review_export_sheet import free_name
from liveview.gui.review_list import when_words
from liveview.gui.review_measuring import evenly
from liveview.gui.review_ring import loudness_at
from liveview.gui.review_time import RING_HALF, TimeScale, nice_step, since_words
from liveview.gui.review_words import quantity_words, result_lines, short_line
from liveview.review.measure import Measurement, Quantity
from liveview.review.measure.fronts import FrontSeen, has_left, while_growing

SCALE = TimeScale.of(10.0, 10.4, 10.1)


def test_the_ends_of_the_event_are_the_ends_of_the_ring() -> None:
    assert SCALE.angle(10.0) == -RING_HALF
    assert SCALE.angle(10.4) == RING_HALF
    assert SCALE.angle(10.2) == pytest.approx(0.0, abs=1e-9)
    assert SCALE.angle(5.0) == -RING_HALF


@pytest.mark.parametrize("moment", [10.0, 10.033, 10.2, 10.3999])
def test_angle_and_time_are_inverse(moment: float) -> None:
    assert SCALE.time(SCALE.angle(moment)) == pytest.approx(moment, abs=1e-9)
    zoomed = SCALE.zoomed(0.3, 10.2, 0.001)
    if zoomed.shows(moment):
        assert zoomed.time(zoomed.angle(moment)) == pytest.approx(moment, abs=1e-9)


def test_the_gap_at_the_bottom_belongs_to_the_nearer_end() -> None:
    assert SCALE.time(180.0 + 10) == 10.0
    assert SCALE.time(180.0 - 10) == 10.4


def test_zooming_keeps_the_moment_in_its_place_and_stays_inside() -> None:
    closer = SCALE.zoomed(0.5, 10.15, 0.001)
    assert closer.angle(10.15) == pytest.approx(SCALE.angle(10.15))
    assert closer.end - closer.start == pytest.approx(0.2)
    assert not closer.whole
    assert closer.zoomed(10, 10.15, 0.001).whole
    least = SCALE.zoomed(1e-9, 10.0, 0.004)
    assert least.end - least.start == pytest.approx(0.004)
    assert least.start >= 10.0


def test_what_is_shown_follows_the_moment() -> None:
    closer = SCALE.zoomed(0.25, 10.0, 0.001)
    assert not closer.shows(10.3)
    moved = closer.holding(10.3)
    assert moved.shows(10.3)
    assert moved.end - moved.start == pytest.approx(closer.end - closer.start)


def test_ticks_count_from_the_spark_in_round_steps() -> None:
    ticks = SCALE.ticks()
    times = [time_s for time_s, _ in ticks]
    assert any(words == "0" and time_s == pytest.approx(10.1) for time_s, words in ticks)
    assert np.allclose(np.diff(times), times[1] - times[0])
    assert ticks[-1][1] == "+300\u2009ms"
    assert ticks[0][1].startswith("\u2212100")


def test_an_event_of_one_frame_has_a_ring_all_the_same() -> None:
    one = TimeScale.of(3.0, 3.0, 3.0)
    assert one.angle(3.0) == pytest.approx(0.0)
    assert one.ticks()


@pytest.mark.parametrize(
    ("seconds", "step", "words"),
    [
        (0.0, 1e-3, "0\u2009ms"),
        (0.0123, 1 / 60, "+12\u2009ms"),
        (-0.25, 1 / 60, "\u2212250\u2009ms"),
        (299e-6, 5e-5, "+299\u2009\u00b5s"),
        (1.5, 1 / 60, "+1.50\u2009s"),
    ],
)
def test_times_are_as_fine_as_the_frames_tell(seconds: float, step: float, words: str) -> None:
    shown = since_words(seconds, step)
    number, _, unit = shown.partition("\u2009")
    wanted, _, wanted_unit = words.partition("\u2009")
    assert unit == wanted_unit
    assert number.partition(".")[0] == wanted.partition(".")[0]


@pytest.mark.parametrize(("raw", "step"), [(0.9, 1), (1.0, 1), (1.1, 2), (4.9, 5), (5.2, 10)])
def test_nice_steps(raw: float, step: float) -> None:
    assert nice_step(raw) == pytest.approx(step)


def test_a_quantity_shows_two_figures_of_its_uncertainty() -> None:
    assert quantity_words(Quantity.normal(0.012314, 0.00004, "m")) == "12.314 \u00b1 0.078\u2009mm"
    assert quantity_words(Quantity(340.2, 330.0, 350.4, "m/s")) == "340 \u00b1 10\u2009m/s"
    assert quantity_words(Quantity(5.0, 4.0, 9.0, "Hz")) == "5.0 (4.0 to 9.0)\u2009Hz"
    assert quantity_words(Quantity.exact(1.25, "1")) == "1.25"
    assert quantity_words(Quantity(0.02, 0.019, 0.021, "J")) == "20.0 \u00b1 1.0\u2009mJ"
    assert quantity_words(Quantity(-0.002, -0.003, -0.001, "m")) == "\u22122.0 \u00b1 1.0\u2009mm"
    right = Quantity(math.pi / 2, math.pi / 2 - 0.01, math.pi / 2 + 0.01, "rad")
    assert quantity_words(right) == "90.00 \u00b1 0.57\u00b0"


def test_temperatures_are_shown_in_degrees_celsius_and_their_parts_in_kelvin() -> None:
    measured = Measurement(
        "plume temperature",
        {
            "temperature": Quantity(873.15, 853.15, 893.15, "K"),
            "noise_part": Quantity.normal(0.0, 5.0, "K"),
        },
    )
    (name, value), (part, spread) = result_lines(measured)
    assert (name, value) == ("Temperature", "600 \u00b1 20\u2009\u00b0C")
    assert (part, spread) == ("of which noise", "\u00b1 9.8\u2009K")
    assert short_line(measured) == "Plume temperature: 600 \u00b1 20\u2009\u00b0C"


def seen(frame: int, radius: float) -> tuple[int, float, FrontSeen]:
    return frame, frame * 1e-3, FrontSeen(radius, radius - 1.0, 0.1)


def test_a_front_that_left_the_picture_is_not_followed_on() -> None:
    growing = [seen(k, 10.0 + 3 * k) for k in range(12)]
    kernel = [seen(12 + k, 6.0) for k in range(5)]
    edges = [front.edge_px for _, _, front in [*growing, *kernel]]
    assert not has_left(edges[:12])
    assert has_left(edges)
    assert list(while_growing([*growing, *kernel])) == growing
    one_wrong = [*growing[:6], seen(6, 2.0), *growing[7:]]
    assert list(while_growing(one_wrong)) == one_wrong
    assert list(while_growing([])) == []


def test_frames_are_taken_evenly() -> None:
    assert evenly(3, 9, 100) == [3, 4, 5, 6, 7, 8, 9]
    thinned = evenly(0, 999, 120)
    assert len(thinned) <= 120
    assert set(np.diff(thinned)) == {9}


def test_loudness_is_found_wherever_it_is() -> None:
    envelope = np.zeros(8000, np.float32)
    envelope[2000] = 0.5
    scale = TimeScale.of(0.0, 8.0, 1.0)
    drawn = loudness_at(envelope, scale, 400)
    assert drawn.shape == (400,)
    assert drawn.max() == pytest.approx(1.0)
    assert np.argmax(drawn) == 100
    closer = scale.zoomed(0.01, 2.0, 1e-3)
    near = loudness_at(envelope, closer, 400)
    middle = (2.0 - closer.start) / (closer.end - closer.start) * 400
    assert abs(float(np.argmax(near)) - middle) <= 6
    assert loudness_at(np.zeros(100, np.float32), scale, 50).max() == 0.0


def test_names_that_are_taken_get_a_number(tmp_path: Path) -> None:
    assert free_name(tmp_path, "event", ".mp4") == tmp_path / "event.mp4"
    (tmp_path / "event.mp4").touch()
    (tmp_path / "event_2.mp4").touch()
    assert free_name(tmp_path, "event", ".mp4") == tmp_path / "event_3.mp4"
    (tmp_path / "event.npy.json").touch()  # somebody's: a stack would have its description there
    assert free_name(tmp_path, "event", ".npy") == tmp_path / "event_2.npy"


def test_days_are_named_unless_it_is_today() -> None:
    at = "2031-05-06T07:08:09.25+00:00"
    assert when_words(at, date(2031, 5, 6)) == "07:08:09"
    assert when_words(at, date(2031, 5, 7)) == "6\u2009May 2031, 07:08:09"
    assert when_words("", date(2031, 5, 7)) == "time not known"
