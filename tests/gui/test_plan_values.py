"""Reading, showing and turning of numbers on the Plan page; where parts stand in the drawing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import BadRequest
from liveview.gui.plan_sketch import sketch
from liveview.gui.plan_values import SPOTS, Measure, Spot, changed, nudged, read, shown
from liveview.model import Side
from liveview.optics.rig import resolve
from liveview.settings import Settings

LENGTH = Spot("rig.focal_length_m", "focal length", Measure.LENGTH)
AUTO = Spot("blade.distance_m", "blade distance", Measure.LENGTH, True)
SHARE = Spot("blade.target_uncut", "uncut fraction", Measure.SHARE)


@pytest.mark.parametrize("spot", SPOTS, ids=lambda spot: spot.key)
def test_every_spot_is_a_setting(spot: Spot) -> None:
    section = getattr(Settings(), spot.section)
    assert spot.attribute in type(section).model_fields
    if spot.automatic:
        assert type(section).model_fields[spot.attribute].default is None


@pytest.mark.parametrize(
    ("text", "unit", "metres"),
    [
        ("120", "mm", 0.12),
        ("120", "in", 3.048),
        ("48 in", "mm", 1.2192),
        ("1.2 m", "cm", 1.2),
        ("1,5", "mm", 0.0015),
        ("1,5 mm", "in", 0.0015),
    ],
)
def test_a_bare_length_is_in_the_unit_of_the_screen(text: str, unit: str, metres: float) -> None:
    assert read(text, LENGTH, unit) == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "share"),
    [("50 %", 0.5), ("50", 0.5), ("0.5", 0.5), ("0,5", 0.5), ("7%", 0.07), ("2,5 %", 0.025)],
)
def test_shares(text: str, share: float) -> None:
    assert read(text, SHARE, "mm") == pytest.approx(share)


def test_emptied() -> None:
    assert read("  ", AUTO, "mm") is None
    with pytest.raises(BadRequest, match="cannot be left empty"):
        read("", LENGTH, "mm")


@pytest.mark.parametrize("text", ["wide", "3 kg", "nan", "1 2", "1,200", "1 200 mm"])
def test_unreadable(text: str) -> None:
    with pytest.raises(BadRequest):
        read(text, LENGTH, "mm")


def test_out_of_range_is_said_by_name() -> None:
    with pytest.raises(BadRequest, match="uncut fraction: must be less than 1"):
        changed(Settings(), SHARE, 1.5)


@given(value=st.floats(1e-4, 50.0), unit=st.sampled_from(["mm", "cm", "m", "in"]))
def test_what_is_shown_reads_back(value: float, unit: str) -> None:
    text = shown(value, Measure.LENGTH, unit)
    # four figures are shown
    assert read(text, LENGTH, unit) == pytest.approx(value, rel=5.1e-4)


@given(value=st.floats(1e-5, 1e3), steps=st.sampled_from([-1, 1]))
def test_turning_moves_by_a_few_percent(value: float, steps: int) -> None:
    there = nudged(value, steps, Measure.LENGTH)
    # a step of at most 2 %, and up to half of one to reach a round number
    assert 0.0 <= (there - value) * steps <= 0.0305 * value


def test_turning_reaches_round_numbers() -> None:
    assert nudged(1.2, 1, Measure.LENGTH) == pytest.approx(1.22)
    assert nudged(1.2031, 1, Measure.LENGTH) == pytest.approx(1.22)
    assert nudged(1, -1, Measure.WHOLE) == 1
    assert nudged(4, 1, Measure.WHOLE) == 5
    assert nudged(0.0, 1, Measure.LENGTH) > 0.0


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("kind", ["one mirror", "two mirrors", "lenses"])
def test_sketch_is_to_scale(kind: str, side: Side) -> None:
    rig = resolve(kind, 0.15, 1.2, first_focal_length_m=0.9, object_distance_m=0.3)
    s = sketch(rig, 0.03, side, 0.05)
    first, last = s.glasses[0], s.glasses[-1]
    assert abs(s.lamp[0] - first.at[0]) == pytest.approx(rig.lamp_distance_m)
    assert abs(s.image[0] - last.at[0]) == pytest.approx(rig.image_distance_m)
    assert abs(s.blade[0] - last.at[0]) == pytest.approx(rig.blade_distance_m)
    assert abs(s.object[0] - last.at[0]) == pytest.approx(rig.object_distance_m)
    assert s.camera[0] == pytest.approx(s.blade[0] - 0.03 * s.looks)
    assert s.looks * (last.at[0] - s.camera[0]) > 0.0
    assert s.from_above == (side in (Side.LEFT, Side.RIGHT))
    assert s.left <= s.camera[0] <= s.right


def test_light_beyond_the_image_opens_as_it_came() -> None:
    rig = resolve("one mirror", 0.15, 1.2)
    s = sketch(rig, 0.24, Side.TOP, 0.0)
    beyond = s.light[-1]
    assert abs(beyond[1][1] - beyond[2][1]) == pytest.approx(0.15 * 0.24 / 2.4)


def test_blade_from_the_pictures_left_is_up_seen_from_above() -> None:
    """The camera of one mirror looks right: its left is up. That of lenses looks left."""
    one, lens = resolve("one mirror", 0.15, 1.2), resolve("lenses", 0.15, 1.2)
    assert sketch(one, 0.03, Side.LEFT, 0.1).blade_from == 1
    assert sketch(lens, 0.03, Side.LEFT, 0.1).blade_from == -1
    for rig in (one, lens):
        assert sketch(rig, 0.03, Side.TOP, 0.1).blade_from == 1
