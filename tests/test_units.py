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
    bare_number,
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
        ("\u22123\u2009mm", "m", -0.003),  # the minus and the thin space of the screen
        ("1,5 mm", "m", 0.0015),
        ("0,5 mm", "m", 0.0005),
        (",5 in", "m", 0.0127),
        ("2,4 m", "m", 2.4),
        ("2,4", "m", 2.4),
        ("1,2e3 mm", "m", 1.2),
        ("0,500 mm", "m", 0.0005),  # nobody divides off thousands of nothing
        ("1234,567 mm", "m", 1.234567),  # nor after four digits
        ("1,2345 m", "m", 1.2345),
        ("1/250 s", "s", 0.004),
        ("1/250", "s", 0.004),
        ("3/8 in", "m", 0.009525),
        ("18 km/h", "m/s", 5.0),
        ("120 /min", "Hz", 2.0),
        ("20 \u00b0C", "K", 293.15),
        ("50 %", "1", 0.5),
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
        ("1/0 s", "s"),
        ("1, mm", "m"),
        ("1,2,3 mm", "m"),
        ("1,200,000 mm", "m"),
        ("1,200.5 mm", "m"),
        ("1.200,5 mm", "m"),
        ("1'200 mm", "m"),
        ("1_200 mm", "m"),
        ("mm", "m"),
        ("2 ft 3 in", "m"),
        ("2 mm mm", "m"),
        ("0x10 m", "m"),
        ("\u0663 mm", "m"),
        pytest.param("9" * 5000 + "/" + "9" * 5000, "m", id="endless"),
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


@pytest.mark.parametrize("text", ["1 200 mm", "2 5 mm", "1 1/2 in", "1 , 5 mm", "1\u202f200 mm"])
def test_a_space_inside_a_number_is_refused(text: str) -> None:
    with pytest.raises(BadRequest, match="has a space inside the number; write it like"):
        parse_quantity(text, "m")


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("1,200 mm", "write 1200 mm or 1.200 mm"),
        ("-12,500 m", "write -12500 m or -12.500 m"),
        ("100,000", "write 100000 or 100.000"),
    ],
)
def test_a_comma_that_may_divide_off_thousands_is_refused(text: str, remedy: str) -> None:
    with pytest.raises(BadRequest, match="its comma may divide off thousands or decimals") as no:
        parse_quantity(text, "m")
    assert no.value.remedy == remedy


@pytest.mark.parametrize(
    ("unit", "kind"),
    [
        ("m", "a length"),
        ("s", "a time"),
        ("Hz", "a rate"),
        ("K", "a temperature"),
        ("m/s", "a speed"),
        ("Pa", "a pressure"),
        ("rad", "an angle"),
        ("1", "a plain number"),
        ("J", "a quantity in J"),
    ],
)
def test_messages_say_what_kind_is_wanted(unit: str, kind: str) -> None:
    with pytest.raises(BadRequest, match=f"expected {kind}, got True"):
        parse_quantity(True, unit)
    with pytest.raises(BadRequest, match=f"'3 kg' is not {kind};"):
        parse_quantity("3 kg", unit)


@pytest.mark.parametrize(("text", "number"), [("1,5", 1.5), (" 1/4 ", 0.25), ("1.5 mm", None)])
def test_a_number_without_a_unit(text: str, number: float | None) -> None:
    assert bare_number(text) == number


def test_a_bare_number_is_one_number() -> None:
    with pytest.raises(BadRequest, match="ambiguous"):
        bare_number("1,200")
    with pytest.raises(BadRequest, match="cannot read 'wide' as a number"):
        bare_number("wide")


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
        "q('3 mm', 'm'); q('1,5 mm', 'm'); q('2 ms', 's'); q('7', 'Hz'); "
        "print('pint' in sys.modules)"
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
