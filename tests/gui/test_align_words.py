"""What the Align page says."""

from __future__ import annotations

import math

import pytest

from liveview.bench.exercise import Finding, Verdict
from liveview.engine.aids import AidsReading, SteadyUncut, Target
from liveview.engine.guide import HOW, Step, StepState
from liveview.gui.align_words import (
    askew_deg,
    askew_words,
    axial_words,
    focus_words,
    instruction,
    next_words,
    spot_words,
    steady_words,
    travel_to_go_m,
    travel_words,
    verdict_words,
    walk_words,
)
from liveview.imaging.focus import FocusReading
from liveview.imaging.spot import Spot, Walk
from liveview.model import BladeReading, CalibrationKind, Side
from liveview.settings import Settings

SETTINGS = Settings()


def blade(uncut: float | None, across: float | None = 0.0, along: float = 0.0, **more):
    return BladeReading(
        Side.LEFT, uncut, tilt_across=across, tilt_along=along, tilt_sigma=0.002, **more
    )


def test_travel_to_go_for_a_slit() -> None:
    # One mirror at twice its focal length images the 1 mm slit at its own size.
    assert travel_to_go_m(0.7, SETTINGS) == pytest.approx(0.2e-3)
    assert travel_to_go_m(0.5, SETTINGS) == pytest.approx(0.0, abs=1e-9)
    assert travel_to_go_m(None, SETTINGS) is None
    assert travel_to_go_m(1.0, SETTINGS) is None
    impossible = SETTINGS.replaced("rig", lamp_distance_m=0.5)
    assert travel_to_go_m(0.7, impossible) is None
    assert travel_words(0.2e-3) == "0.20\u2009mm further in"
    assert travel_words(-0.05e-3) == "0.05\u2009mm back out"
    assert travel_words(None) == ""


def test_axial_words_have_the_right_direction_and_size() -> None:
    assert axial_words(blade(0.5)) == "Darkens evenly: in the focus."
    near = axial_words(blade(0.5, 0.1, axial_offset_m=4.2e-3))
    assert near == "Blade too near to the mirror: move it away about 4\u2009mm."
    assert "too far" in axial_words(blade(0.5, -0.1))
    assert "move it nearer." in axial_words(blade(0.5, -0.1))
    assert "less than 1" in axial_words(blade(0.5, 0.1, axial_offset_m=0.4e-3))
    assert axial_words(blade(0.99, 0.1)) == ""
    assert axial_words(blade(None)) == ""


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("turn", [-20.0, 12.0, 30.0])
def test_askew_edge_on_either_side_of_the_focus(sign: float, turn: float) -> None:
    tilt = 0.3 * sign
    reading = blade(0.5, tilt * math.cos(math.radians(turn)), tilt * math.sin(math.radians(turn)))
    assert askew_deg(reading) == pytest.approx(turn)
    assert ("anticlockwise" in askew_words(reading)) is (turn > 0)


def test_a_hand_in_the_light_is_not_taken_for_the_blade() -> None:
    shaded = blade(0.32, 0.01, 0.5)
    assert "not from the blade" in axial_words(shaded)
    assert askew_words(shaded) == ""


def test_faint_or_straight_shadow_says_nothing_of_the_angle() -> None:
    assert askew_deg(blade(0.5, 0.02, 0.02)) is None
    assert askew_words(blade(0.5, 0.4, 0.01)) == ""


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (blade(None), "Take dark and open"),
        (blade(0.001), "Draw the blade back"),
        (blade(0.99), "Bring the blade in from the left"),
        (blade(0.5, 0.2, axial_offset_m=3e-3), "Move it 3\u2009mm away from the mirror"),
        (blade(0.5, -0.2), "Move it nearer to the mirror"),
        (blade(0.32, 0.01, 0.5), "Clear the light's way"),
        (blade(0.52), "Hold it there"),
        (blade(0.7), "0.20\u2009mm further in"),
        (blade(0.3), "0.20\u2009mm back out"),
    ],
)
def test_one_instruction_at_a_time(reading: BladeReading, words: str) -> None:
    assert instruction(reading, reading.uncut, SETTINGS) == words


def test_card() -> None:
    spot = Spot(1, 1, 31.0, 29.0, 0, 0.5, 0.0, False)
    found = AidsReading(0.0, Target.CARD, spot=spot, walk=Walk.BACK, smallest=spot)
    assert walk_words(found) == "Go back: it was smaller"
    assert spot_words(found) == "30.0\u2009px wide, smallest so far 30.0\u2009px"
    bright = AidsReading(0.0, Target.CARD, spot=Spot(1, 1, 31, 29, 0, 1.0, 0, True))
    assert "expose less" in walk_words(bright)
    mirror = AidsReading(0.0, Target.CARD, no_spot=True)
    assert walk_words(mirror) == "This is the mirror: look at a card"
    nothing = AidsReading(0.0, Target.CARD)
    assert walk_words(nothing) == "No bright spot on the card"
    assert spot_words(nothing) == ""


def test_steadiness_and_focus() -> None:
    aids = AidsReading(
        0.0,
        Target.MIRROR,
        uncut=SteadyUncut(0.5, 0.15, 0.001, True),
        focus=FocusReading(0.8, 1.0),
    )
    assert steady_words(aids) == "steady, 150\u2009ms late"
    assert "80" in focus_words(aids)
    assert steady_words(None) == ""
    assert "\u2013" in focus_words(None)


def finding(knob: str, off: float, grade: str, hidden: bool) -> Finding:
    return Finding(knob, off, grade, hidden)


def test_how_an_exercise_ended() -> None:
    good = Verdict((finding("blade_x_m", 1e-6, "right", True),), True, 0.5, 0.5)
    assert verdict_words(good) == "Solved: the cut is right."
    bad = Verdict(
        (
            finding("blade_z_m", -4e-3, "off", True),
            finding("blade_angle_rad", 0.0, "right", False),
            finding("exposure_s", 1e-3, "nearly", False),
        ),
        False,
        0.4,
        0.5,
    )
    words = verdict_words(bad)
    assert words.startswith("Not yet right: the blade along the beam is off, by 4")
    assert "angle" not in words
    assert "nearly right, by 1\u2009ms" in words


def test_next_step() -> None:
    def states(**reached: float) -> tuple[StepState, ...]:
        return tuple(StepState(s, None, reached.get(s.name)) for s in Step)

    assert next_words(states()) == HOW[Step.LAMP_IMAGE]
    assert next_words(states(LAMP_IMAGE=1.0)) == HOW[Step.MIRROR]
    assert next_words(states(CUT=1.0)) == HOW[Step.MIRROR]
    assert next_words(states(**{s.name: 1.0 for s in Step})) == ""


def held(*false: Step, never: tuple[Step, ...] = (), unknown: tuple[Step, ...] = ()) -> tuple:
    """All steps true, but for those that no longer hold, were never reached or cannot be told."""

    def one(step: Step) -> StepState:
        true = None if step in unknown else step not in (*false, *never)
        return StepState(step, true, None if step in never else 1.0)

    return tuple(one(step) for step in Step)


def test_the_reference_is_not_asked_for_while_the_blade_is_not_set() -> None:
    missing = (Step.REFERENCE,)
    assert next_words(held(never=missing)) == HOW[Step.REFERENCE]
    assert next_words(held(Step.CUT, never=missing)) == HOW[Step.CUT]
    assert next_words(held(Step.EVEN, never=missing)) == HOW[Step.EVEN]
    assert next_words(held(Step.CUT, Step.EVEN)) == ""
    # Pictures that were taken and no longer hold are to be taken again.
    assert next_words(held(Step.OPEN, Step.CUT, never=missing)) == HOW[Step.OPEN]
    assert next_words(held(Step.REFERENCE)) == HOW[Step.REFERENCE]
    # What was once right and hard to judge in passing is left alone.
    assert next_words(held(Step.FOCUS, Step.EXPOSURE, unknown=(Step.LAMP_IMAGE,))) == ""


def test_no_light_is_the_dark_pictures_turn_or_its_end() -> None:
    every = tuple(Step)
    assert next_words(held(never=every), dark=True) == HOW[Step.DARK]
    assert "uncap" in next_words(held(Step.MIRROR, Step.OPEN), dark=True)
    assert next_words((), dark=True) == ""


@pytest.mark.parametrize(
    ("has", "dark", "words"),
    [
        ("", False, "Take dark and open"),
        ("", True, "Take dark and open"),
        ("dark", True, "Uncap the lens; take open"),
        ("dark", False, "Blade out; take open"),
        ("open", True, "Take dark"),
        ("open", False, "Cap the lens; take dark"),
        ("dark open", True, "No light comes"),
        ("dark open", False, "Point the camera at the mirror"),
    ],
)
def test_what_is_missing_to_read_the_cut(has: str, dark: bool, words: str) -> None:
    kinds = frozenset(CalibrationKind(name) for name in has.split())
    assert instruction(blade(None), None, SETTINGS, kinds, dark) == words
