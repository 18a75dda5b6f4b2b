from __future__ import annotations

import pytest
from support.readings import histogram

from liveview.gui import words
from liveview.gui.words import MINUS, THIN
from liveview.model import (
    BladeReading,
    Cause,
    Counters,
    SessionStatus,
    Side,
    SourceInfo,
    SourceKind,
    Spotted,
    StoreStatus,
)
from liveview.settings import Catch


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0.0"), (-0.04, "0.0"), (1.26, "+1.3"), (-1.24, f"{MINUS}1.2")],
)
def test_signed(value: float, shown: str) -> None:
    assert words.signed(value) == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0 s"),
        (0.0003, "300 µs"),
        (0.35, "350 ms"),
        (0.9999, "1.0 s"),
        (9.99, "10 s"),
        (42.4, "42 s"),
        (200.0, "3 min 20 s"),
    ],
)
def test_seconds(value: float, shown: str) -> None:
    assert words.seconds(value).replace(THIN, " ") == shown


def test_values_carry_their_unit() -> None:
    assert words.with_unit(0.04, "contrast", sign=True) == f"+4.0{THIN}%"
    assert words.with_unit(-0.004, "contrast", sign=True) == f"{MINUS}0.40{THIN}%"
    assert words.with_unit(25.3, "arcsec") == "25\u2033"
    assert words.with_unit(3.0, "sigma") == f"3.0{THIN}σ"


def test_the_blade_line_says_what_to_do() -> None:
    def line(uncut: float | None) -> str:
        return words.blade_line(BladeReading(Side.LEFT, uncut=uncut), 0.5, 0.05)

    assert line(0.62).startswith("cut more: 12 points")
    assert line(0.40).startswith("cut less: 10 points")
    assert line(0.53).startswith("within target")
    assert "dark and open" in line(None)


def test_a_name_at_the_front_keeps_its_case() -> None:
    assert words.first_up("dark picture") == "Dark picture"
    assert words.first_up("gone.mkv: not there") == "gone.mkv: not there"
    assert words.first_up("camera:0: busy") == "camera:0: busy"
    assert words.first_up("trail: of the last seconds") == "Trail: of the last seconds"
    assert words.first_up("") == ""


def test_advice_says_how_far_where_that_is_known() -> None:
    near = BladeReading(Side.LEFT, axial_offset_m=0.0042, advice="move the blade away")
    assert words.advice_line(near).replace(THIN, " ") == "Move the blade away, about 4 mm."
    unknown = BladeReading(Side.LEFT, advice="move the blade away")
    assert words.advice_line(unknown) == "Move the blade away."


def test_without_sound_the_line_says_so() -> None:
    assert words.catch_line(Catch(on="either"), True) == "on a flash or a crack"
    assert "no sound" in words.catch_line(Catch(on="both"), False)
    assert "no sound" not in words.catch_line(Catch(on="flash"), False)


def test_lost_frames_are_those_before_and_inside_the_program() -> None:
    status = SessionStatus(counters=Counters(captured=100, lost_source=2, lost_ring=3))
    assert words.lost_line(status) == "5 frames lost"
    assert words.lost_line(SessionStatus()) == "0 frames lost"


def test_frames_that_the_trigger_missed_are_said() -> None:
    assert words.warnings(SessionStatus(), ()) == ()
    (said,) = words.warnings(SessionStatus(counters=Counters(missed_watch=3)), ())
    assert said.startswith("3 frames not seen by the trigger")


def test_warnings_come_once_and_the_source_first() -> None:
    status = SessionStatus(
        words=("no frame for 2 s",),
        calibration_words=("dark no longer holds",),
        store=StoreStatus(words=("disk is full",)),
    )
    found = words.warnings(status, ("dark no longer holds", "clipped"))
    assert found == ("no frame for 2 s", "disk is full", "dark no longer holds", "clipped")


def test_the_verdict_is_a_sentence() -> None:
    assert words.verdict(histogram(verdict="nothing above the noise")) == "Nothing above the noise."
    assert words.verdict(histogram(verdict="Too dark.")) == "Too dark."
    assert words.verdict(histogram(verdict="2% dark, 3 % open")) == f"2{THIN}% dark, 3{THIN}% open."
    assert words.verdict(histogram()) == ""


def test_source_line_and_spot() -> None:
    source = SourceInfo(
        SourceKind.CAMERA, "x", 1280, 720, 1, 12, 4095, True, rate_hz=60.0, exposure_s=0.002
    )
    shown = words.source_line(source, 59.94).replace(THIN, " ")
    assert shown == "1280 × 720 · 12 bit · 60 Hz · 1/500 s"
    spot = Spotted(1.25, 0.001, Cause.FLASH, 18.4)
    assert words.spotted_line(spot).replace(THIN, " ") == "flash, 1.250 s, 18 σ"
    strong = Spotted(1.25, 0.0, Cause.FLASH, 7952.0)
    assert words.spotted_line(strong).replace(THIN, " ") == "flash, 1.250 s, 7952 σ"
    assert "σ" not in words.spotted_line(Spotted(1.0, 0.0, Cause.HAND, 0.0))
