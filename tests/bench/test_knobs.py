from __future__ import annotations

import pytest

from liveview.bench.knobs import Knob, Knobs
from liveview.errors import BadRequest


def knobs() -> Knobs:
    return Knobs([Knob("gain", 1.0, 0.1, 64.0), Knob("blade_x_m", 0.0, -1.0, 1.0)])


def test_untouched_knobs_keep_their_first_value() -> None:
    assert knobs().all_at(3.0) == {"gain": 1.0, "blade_x_m": 0.0}


def test_a_turn_counts_from_its_moment_on() -> None:
    rig = knobs()
    rig.turn("gain", 4.0, 2.0)
    assert rig.at("gain", 1.999) == 1.0
    assert rig.at("gain", 2.0) == 4.0


def test_a_slow_turn_is_even() -> None:
    rig = knobs()
    rig.turn("blade_x_m", 1.0, 1.0, over_s=2.0)
    assert rig.at("blade_x_m", 1.5) == pytest.approx(0.25)
    assert rig.at("blade_x_m", 9.0) == 1.0


def test_a_turn_in_the_middle_of_another_starts_where_that_was() -> None:
    rig = knobs()
    rig.turn("blade_x_m", 1.0, 0.0, over_s=2.0)
    rig.turn("blade_x_m", 0.0, 1.0, over_s=1.0)
    assert rig.at("blade_x_m", 1.0) == pytest.approx(0.5)
    assert rig.at("blade_x_m", 1.5) == pytest.approx(0.25)
    assert rig.at("blade_x_m", 5.0) == 0.0


def test_many_turns_are_not_kept_for_ever() -> None:
    rig = knobs()
    for number in range(5000):
        rig.turn("blade_x_m", (number % 7) / 10, number * 0.01)
    assert rig.at("blade_x_m", 49.99) == (4999 % 7) / 10


@pytest.mark.parametrize(("name", "value"), [("gian", 1.0), ("gain", 65.0), ("gain", float("nan"))])
def test_wrong_turns_are_refused_in_one_line(name: str, value: float) -> None:
    with pytest.raises(BadRequest) as caught:
        knobs().turn(name, value, 0.0)
    assert "\n" not in str(caught.value)
