"""Numbers of the Review page as words: quantities with their uncertainty, and what they assume."""

from __future__ import annotations

import math

from liveview.gui.words import MINUS, THIN, first_up
from liveview.review.measure import Measurement, Quantity
from liveview.units import METRES_PER_UNIT

NAMES = {
    "speed": "Speed",
    "speed_by_flow": "By optical flow",
    "speed_by_diagram": "Along the line",
    "mach": "Mach number",
    "pressure_ratio": "Pressure over the front",
    "density_ratio": "Density over the front",
    "temperature_ratio": "Temperature over the front",
    "blast_exponent": "Exponent of the radius",
    "blast_energy": "Energy",
    "length": "Length",
    "angle": "Angle",
    "frequency": "Frequency",
    "width": "Width of the peak",
    "depth": "Depth",
    "temperature": "Temperature",
    "noise_part": "of which noise",
    "rig_part": "of which the rig",
    "scale": "Scale",
}
"""What results are called."""


def shown_unit(quantity: Quantity, length_unit: str = "mm") -> tuple[float, float, str]:
    """Factor, offset and unit in which a quantity is read well: shown = value * factor + offset."""
    size = abs(quantity.value)
    match quantity.unit:
        case "m":
            return 1 / METRES_PER_UNIT[length_unit], 0.0, length_unit
        case "m/px":
            return 1e3, 0.0, "mm/px"
        case "rad":
            return 180 / math.pi, 0.0, "\u00b0"
        case "J" if size < 1:
            return 1e3, 0.0, "mJ"
        case "1":
            return 1.0, 0.0, ""
    return 1.0, 0.0, quantity.unit


def quantity_words(quantity: Quantity, length_unit: str = "mm", *, celsius: bool = False) -> str:
    """``12.31 ± 0.08 mm``; an uneven interval as ``12.3 (11.9 to 13.1) mm``."""
    factor, offset, unit = shown_unit(quantity, length_unit)
    if celsius and quantity.unit == "K":
        offset, unit = -273.15, "\u00b0C"
    value, low, high = (v * factor + offset for v in (quantity.value, quantity.low, quantity.high))
    gap = "" if unit in ("", "\u00b0") else THIN
    below, above = value - low, high - value
    if not (math.isfinite(below) and math.isfinite(above)) or max(below, above) <= 0:
        return f"{_significant(value, 3)}{gap}{unit}"
    digits = decimals(max(below, above))
    if abs(below - above) <= 0.15 * max(below, above):
        half = _number((below + above) / 2, digits)
        return f"{_number(value, digits)} \u00b1 {half}{gap}{unit}"
    ends = f"{_number(low, digits)} to {_number(high, digits)}"
    return f"{_number(value, digits)} ({ends}){gap}{unit}"


def decimals(spread: float) -> int:
    """Decimals that show two figures of an uncertainty; negative for tens and hundreds."""
    return 1 - math.floor(math.log10(spread))


def _number(value: float, digits: int) -> str:
    rounded = round(value, digits)
    text = f"{abs(rounded):.{max(digits, 0)}f}"
    return text if rounded >= 0 or float(text) == 0 else MINUS + text


def _significant(value: float, figures: int) -> str:
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    return _number(value, figures - 1 - math.floor(math.log10(abs(value))))


def result_lines(measurement: Measurement, length_unit: str = "mm") -> list[tuple[str, str]]:
    """Each result: what it is called, and its value with the uncertainty."""
    lines = []
    for name, quantity in measurement.results.items():
        if name.endswith("_part"):
            half = Quantity.exact((quantity.high - quantity.low) / 2, quantity.unit)
            lines.append((NAMES[name], f"\u00b1 {_significant(half.value, 2)}{THIN}{half.unit}"))
            continue
        if name == "depth":
            lines.append((NAMES[name], f"{_significant(quantity.value * 100, 3)}{THIN}%"))
            continue
        celsius = name == "temperature"
        words = quantity_words(quantity, length_unit, celsius=celsius)
        lines.append((NAMES.get(name, first_up(name.replace("_", " "))), words))
    return lines


def short_line(measurement: Measurement, length_unit: str = "mm") -> str:
    """One line for the list of what was kept: kind and first result."""
    first = next(iter(measurement.results.items()), None)
    if first is None:
        return first_up(measurement.kind)
    words = quantity_words(first[1], length_unit, celsius=first[0] == "temperature")
    return f"{first_up(measurement.kind)}: {words}"
