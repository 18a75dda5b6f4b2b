"""Text with units to SI and back."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import BadRequest
from liveview.units import (
    ARCSEC_RAD,
    arcsec_to_rad,
    celsius_to_kelvin,
    length_text,
    number_text,
    parse_quantity,
    quantity_text,
    rad_to_arcsec,
)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("114 mm", "m", 0.114),
        ("11.4cm", "m", 0.114),
        ("48 in", "m", 1.2192),  # the inch is 25.4 mm exactly
        ("0.125 in", "m", 0.003175),
        ("550 nm", "m", 550e-9),
        ("25 us", "s", 25e-6),
        ("2 ms", "s", 2e-3),
        ("1 min", "s", 60.0),
        ("20 degC", "K", 293.15),
        ("60 Hz", "Hz", 60.0),
        ("1013.25 hPa", "Pa", 101325.0),
        ("1.5", "m", 1.5),
        (1.5, "m", 1.5),
        (2, "s", 2.0),
        ("1e-3", "s", 1e-3),
        ("-3 mm", "m", -0.003),
    ],
)
def test_text_to_si(text: object, unit: str, value: float) -> None:
    # 1e-12: only the rounding of one or two multiplications
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-12)


def test_a_unit_costs_no_digit() -> None:
    assert parse_quantity("50 us", "s") == 5e-5
    assert parse_quantity("3.6 mm", "m") == 0.0036
    with pytest.raises(BadRequest, match="finite"):
        parse_quantity("1e99999999999 mm", "m")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("2 s", "m"),
        ("long", "m"),
        ("", "m"),
        ("12 parsnips", "m"),
        ("1/0", "m"),
        ("nan", "m"),
        ("inf", "s"),
        (math.nan, "m"),
        (True, "m"),
        (None, "m"),
        ([1], "m"),
        ("1 mm; import os", "m"),
        ("(" * 50, "m"),
    ],
)
def test_nonsense_is_refused_in_one_line(text: object, unit: str) -> None:
    with pytest.raises(BadRequest) as refused:
        parse_quantity(text, unit, "--option")
    assert str(refused.value).startswith("--option: ")
    assert "\n" not in str(refused.value)


@given(st.floats(-1e6, 1e6))
def test_millimetres_round_trip(value: float) -> None:
    # one rounding up and one down: 4 units in the last place
    assert parse_quantity(f"{value!r} mm", "m") == pytest.approx(value / 1e3, rel=1e-15, abs=1e-300)


@given(st.floats(-1e9, 1e9))
def test_arcseconds_round_trip(value: float) -> None:
    assert arcsec_to_rad(rad_to_arcsec(value)) == pytest.approx(value, rel=1e-15, abs=1e-300)


def test_a_full_turn_has_1296000_arcseconds() -> None:
    assert 2 * math.pi / ARCSEC_RAD == pytest.approx(1_296_000, rel=1e-15)


def test_ice_melts_at_273_15() -> None:
    assert celsius_to_kelvin(0.0) == 273.15


def test_usual_units_do_not_load_the_units_library() -> None:
    code = (
        "import sys; from liveview.units import parse_quantity as q; "
        "q('3 mm', 'm'); q('2 ms', 's'); q('7', 'Hz'); print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1200.0, "1200"),
        (0.00123, "0.00123"),
        (123456.0, "123500"),
        (-2.40001, "-2.4"),
        (0.0, "0"),
        (2.5e7, "2.5e+07"),
    ],
)
def test_numbers_for_the_screen(value: float, text: str) -> None:
    assert number_text(value) == text


@pytest.mark.parametrize(
    ("unit", "text"), [("mm", "1219 mm"), ("cm", "121.9 cm"), ("m", "1.219 m"), ("in", "48 in")]
)
def test_lengths_for_the_screen(unit: str, text: str) -> None:
    assert length_text(1.2192, unit) == text


@pytest.mark.parametrize("text", ["3 um", "3 \u00b5m", "3000 nm"])
def test_small_lengths(text: str) -> None:
    assert parse_quantity(text, "m") == pytest.approx(3e-6)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (3.6 * 1e-3, "m", "3.6 mm"),
        (1.9, "m", "1.9 m"),
        (0.32, "m", "320 mm"),
        (550e-9, "m", "550 nm"),
        (0.0, "m", "0 mm"),
        (1e-3, "s", "1 ms"),
        (50e-6, "s", "50 us"),
        (120.0, "Hz", "120 Hz"),
        (293.15, "K", "293.15 K"),
        (1.0, "m/s", "1 m/s"),
    ],
)
def test_quantities_are_written_as_people_do(value: float, unit: str, text: str) -> None:
    assert quantity_text(value, unit) == text


@given(st.floats(1e-9, 1e4), st.sampled_from(["m", "s", "Hz", "K", "m/s"]))
def test_what_is_written_is_read_again(value: float, unit: str) -> None:
    # 1e-15: the rounding of one multiplication
    assert parse_quantity(quantity_text(value, unit), unit) == pytest.approx(value, rel=1e-15)
