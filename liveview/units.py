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

_PLAIN = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([A-Za-z\u00b5/]+)\s*")


@lru_cache(maxsize=1)
def _registry() -> Any:
    """The units library, imported only when text with an unusual unit comes in (it is slow)."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def parse_quantity(value: object, unit: str, where: str = "") -> float:
    """Turn ``"120 mm"``, ``"48 in"``, ``"20 degC"`` or a plain number (already SI) into SI.

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
        Not a number, not finite, or a unit of another kind.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise BadRequest(f"expected a length of the kind '{unit}', got {value!r}", where)
    if isinstance(value, (int, float)):
        return _finite(float(value), value, where)
    plain = _PLAIN.fullmatch(value)
    factor = _PLAIN_SI.get(unit, {}).get(plain[2]) if plain else None
    if plain and factor is not None:
        return _finite(_product(plain[1], factor), value, where)
    try:
        return _finite(float(value), value, where)
    except ValueError:
        pass
    return _finite(_parse_with_library(value, unit, where), value, where)


def _product(number: str, factor: float) -> float:
    """Rounded once, so that ``50 us`` is 5e-05 and not its neighbour."""
    try:
        return float(Decimal(number) * Decimal(repr(factor)))
    except ArithmeticError:  # an exponent of millions
        return float(number) * factor


def _parse_with_library(value: str, unit: str, where: str) -> float:
    import pint

    registry = _registry()
    try:
        quantity = registry.Quantity(value)
        return float(quantity.to(unit).magnitude)
    except pint.DimensionalityError as error:
        raise BadRequest(
            f"'{value}' is not of the kind '{unit}'", where, f"write it like {_example(unit)}"
        ) from error
    except Exception as error:  # the parser raises tokenizer, syntax and attribute errors
        raise BadRequest(
            f"cannot read '{value}' as a number with a unit",
            where,
            f"write it like {_example(unit)}",
        ) from error


def _finite(number: float, value: object, where: str) -> float:
    if not math.isfinite(number):
        raise BadRequest(f"{value!r} is not a finite number", where)
    return number


def _example(unit: str) -> str:
    return {"m": '"120 mm" or "48 in"', "s": '"2 ms"', "K": '"20 degC"', "Hz": '"60 Hz"'}.get(
        unit, f'"1 {unit}"'
    )


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
