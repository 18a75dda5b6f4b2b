"""Units at the edges: text to SI on the way in, the user's choice on the way out."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from functools import lru_cache
from typing import Any

from liveview.errors import BadRequest

ARCSEC_RAD = math.pi / (180.0 * 3600.0)
"""One arcsecond in radians (4.84814e-6)."""

_PLAIN_SI = {
    "m": {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "um": 1e-6, "\u00b5m": 1e-6, "nm": 1e-9, "in": 0.0254},
    "s": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "\u00b5s": 1e-6},
    "Hz": {"Hz": 1.0, "kHz": 1e3},
    "K": {"K": 1.0},
    "m/s": {"m/s": 1.0},
}
"""Usual units of each kind, read without the units library."""

KINDS = {
    "m": "a length",
    "s": "a time",
    "Hz": "a rate",
    "K": "a temperature",
    "m/s": "a speed",
    "Pa": "a pressure",
    "rad": "an angle",
    "1": "a plain number",
    "%": "a share",
}
"""What a quantity in each unit is called in messages."""

_DIGITS = r"(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+)"
_NUMBER = rf"[-+\u2212]?{_DIGITS}(?:[eE][-+]?[0-9]+)?(?:/[0-9]{{1,9}})?"
_NAME = r"[^\W\d_][^\W\d]*(?:(?:\^|\*\*)-?[0-9])?"
_UNIT = rf"%|[\u00b0]?(?:/\s*)?{_NAME}(?:\s*(?:[/*\u00b7]|\bper\b)\s*{_NAME})*|\u00b0"
_QUANTITY = re.compile(rf"({_NUMBER})\s*({_UNIT})?")
"""One number, ``-1.5``, ``1,5``, ``2e-3`` or a fraction ``1/250``, and at most one unit."""

_GROUPED = re.compile(r"[-+\u2212]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
"""A comma here may divide off thousands as well as decimals."""

_APART = re.compile(r"[0-9.,]\s+[-+\u2212]?[0-9.,]")
"""A space within a number."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    """The units library, imported only when text with an unusual unit comes in (it is slow)."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def parse_quantity(value: object, unit: str, where: str = "") -> float:
    """Turn ``"120 mm"``, ``"48 in"``, ``"20 degC"`` or a plain number (already SI) into SI.

    A text is one number and at most one unit. A comma is a decimal point, unless it could also
    divide off thousands: ``"1,200 mm"`` is refused.

    Parameters
    ----------
    value : float, int or str
        What the user wrote.
    unit : str
        The SI unit wanted: ``"m"``, ``"s"``, ``"K"``, ``"Hz"``, ``"rad"`` ...
    where : str
        Key or option, for the message.

    Raises
    ------
    BadRequest
        Not one number, not finite, ambiguous, or a unit of another kind.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise BadRequest(f"expected {_kind(unit)}, got {value!r}", where, _remedy(unit))
    if isinstance(value, (int, float)):
        return _finite(float(value), value, where)
    number, its_unit = _parted(value, unit, where)
    factor = _PLAIN_SI.get(unit, {}).get(its_unit) if its_unit else 1.0
    if factor is not None:
        return _finite(_product(number, factor), value, where)
    return _finite(_with_library(number, its_unit, value, unit, where), value, where)


def _product(number: float, factor: float) -> float:
    """Rounded once, so that ``50 us`` is 5e-05 and not its neighbour."""
    try:
        return float(Decimal(repr(number)) * Decimal(repr(factor)))
    except ArithmeticError:  # an exponent of millions
        return number * factor


def bare_number(text: str, unit: str = "1", where: str = "") -> float | None:
    """The number of a text without a unit, read as ``parse_quantity`` reads it; None with one.

    Raises
    ------
    BadRequest
        Neither; ``unit`` is for the message.
    """
    number, its_unit = _parted(text, unit, where)
    return None if its_unit else _finite(number, text, where)


def _parted(text: str, unit: str, where: str) -> tuple[float, str]:
    """Number and unit of a text; the unit empty where there is none."""
    found = _QUANTITY.fullmatch(text.strip())
    if found is None:
        if _APART.search(text):
            raise BadRequest(f"'{text}' has a space inside the number", where, _remedy(unit))
        wanted = "a number" if unit == "1" else "one number with a unit"
        raise BadRequest(f"cannot read '{text}' as {wanted}", where, _remedy(unit))
    digits, its_unit = found[1].replace("\u2212", "-"), found[2] or ""
    if _GROUPED.match(digits):
        readings = (f"{digits.replace(',', by)} {its_unit}".strip() for by in ("", "."))
        raise BadRequest(
            f"'{text}' is ambiguous: its comma may divide off thousands or decimals",
            where,
            "write {} or {}".format(*readings),
        )
    top, _, below = digits.replace(",", ".").partition("/")
    if below and not int(below):
        raise BadRequest(f"'{text}' divides by zero", where, _remedy(unit))
    return float(top) / int(below or 1), its_unit


def _with_library(number: float, its_unit: str, text: str, unit: str, where: str) -> float:
    import pint

    per_one = f"1{its_unit}" if its_unit.startswith("/") else its_unit
    try:
        return float(_registry().Quantity(number, per_one).to(unit).magnitude)
    except pint.DimensionalityError as error:
        raise BadRequest(f"'{text}' is not {_kind(unit)}", where, _remedy(unit)) from error
    except Exception as error:  # the parser raises tokenizer, syntax and attribute errors
        raise BadRequest(f"'{text}' has a unit that is not known", where, _remedy(unit)) from error


def _kind(unit: str) -> str:
    return KINDS.get(unit, f"a quantity in {unit}")


def _remedy(unit: str) -> str:
    return f"write it like {_example(unit)}"


def _finite(number: float, value: object, where: str) -> float:
    if not math.isfinite(number):
        raise BadRequest(f"{value!r} is not a finite number", where)
    return number


def _example(unit: str) -> str:
    examples = {
        "m": '"120 mm" or "48 in"',
        "s": '"2 ms"',
        "K": '"20 degC"',
        "Hz": '"60 Hz"',
        "1": '"1.5"',
        "%": '"50 %"',
    }
    return examples.get(unit, f'"1 {unit}"')


_WRITTEN = {
    "m": ("m", "mm", "um", "nm"),
    "s": ("s", "ms", "us"),
    "Hz": ("Hz",),
    "K": ("K",),
    "m/s": ("m/s",),
}
"""Units in which files are written, the largest first."""


def quantity_text(value: float, unit: str) -> str | float:
    """A value as a person would write it into a file: ``"3.6 mm"``.

    Read by :func:`parse_quantity` it is the same value; a value that is a hair beside a round one,
    as products are, becomes the round one.

    Parameters
    ----------
    value : float
        In SI units.
    unit : str
        Kind of unit, ``"m"``, ``"s"``, ``"Hz"``, ``"K"`` or ``"m/s"``.
    """
    sizes = {name: _PLAIN_SI[unit][name] for name in _WRITTEN[unit]}
    shown = next((name for name in sizes if abs(value) >= sizes[name] * (1 - 1e-9)), "")
    if not shown:  # zero, or smaller than the smallest
        shown = list(sizes)[min(1, len(sizes) - 1)] if value == 0.0 else list(sizes)[-1]
    for digits in range(4, 18):
        text = f"{value / sizes[shown]:.{digits}g} {shown}"
        again = parse_quantity(text, unit)
        if again == value or (digits < 14 and math.isclose(again, value, rel_tol=3e-16)):
            return text
    return value


METRES_PER_UNIT = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
"""The length units a user may choose for the screen."""


def length_text(value_m: float, unit: str = "mm", digits: int = 4) -> str:
    """A length for the screen in the user's unit, ``"1200 mm"``, without needless zeros."""
    return f"{number_text(value_m / METRES_PER_UNIT[unit], digits)} {unit}"


def number_text(value: float, digits: int = 4) -> str:
    """A number with so many significant digits, never in powers of ten below a million."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    if abs(value) >= 1e6 or places > 9:
        return f"{value:.{digits}g}"
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def rad_to_arcsec(angle_rad: float) -> float:
    """Radians to arcseconds."""
    return angle_rad / ARCSEC_RAD


def arcsec_to_rad(angle_arcsec: float) -> float:
    """Arcseconds to radians."""
    return angle_arcsec * ARCSEC_RAD


def celsius_to_kelvin(celsius: float) -> float:
    """Degrees Celsius to kelvin."""
    return celsius + 273.15
