"""A plan as a table for the terminal and as plain data."""

from __future__ import annotations

import math
import textwrap
from typing import Any

from liveview.optics.plan import Plan
from liveview.optics.plan_figures import Figure, Kind
from liveview.optics.visibility import Visibility, verdict_words, whole_words
from liveview.units import ARCSEC_RAD, length_text, number_text, rad_to_arcsec

SCHEMA = 1
"""Version of the JSON form."""

_LABEL = 38
_VALUE = 16
_WIDTH = 100


def value_text(figure: Figure, length_unit: str) -> str:
    """A figure's value with its unit as shown to people; a dash where it is not known."""
    value = figure.value
    if value is None:
        return "-"
    if figure.kind is Kind.LENGTH:
        small = abs(value) < 0.05e-3 and value != 0.0
        return f"{number_text(value * 1e6, 3)} um" if small else length_text(value, length_unit)
    if figure.kind is Kind.TIME:
        return time_text(value)
    if figure.kind is Kind.CONTRAST_SLOPE:
        return f"{number_text(value * ARCSEC_RAD * 100.0, 3)} %/arcsec"
    units = {
        Kind.ANGLE: (rad_to_arcsec(1.0), " arcsec", 3),
        Kind.SPEED: (1.0, " m/s", 4),
        Kind.SHARE: (1.0, "", 4),
        Kind.PIXELS: (1.0, " px", 4),
    }
    factor, name, digits = units[figure.kind]
    return number_text(value * factor, digits) + name


def time_text(seconds: float) -> str:
    """A duration in s, ms or us."""
    for unit, size in (("s", 1.0), ("ms", 1e-3)):
        if abs(seconds) >= size:
            return f"{number_text(seconds / size, 3)} {unit}"
    return f"{number_text(seconds * 1e6, 3)} us"


def table(plan: Plan) -> str:
    """The plan as lines for a terminal, cautions first."""
    unit = plan.settings.screen.length_unit
    rig = plan.rig
    size = length_text(rig.mirror_diameter_m, unit)
    focal = length_text(rig.focal_length_m, unit)
    lines = [plan.settings.rig.name, f"{rig.kind}, {size} wide, focal length {focal}"]
    for caution in plan.cautions:
        head = "CANNOT WORK: " if caution.stops else "CARE: "
        lines += ["", *_wrapped(f"{head}{caution.text}; {caution.remedy} [{caution.setting}]", 2)]
    group = ""
    for figure in plan.figures:
        if figure.group != group:
            group = figure.group
            lines += ["", group.upper()]
        value = value_text(figure, unit)
        note = f"  {figure.note}" if figure.note else ""
        lines.append(f"  {figure.label:<{_LABEL}}{value:>{_VALUE}}{note}".rstrip())
    lines += [
        "",
        "WHAT WILL BE SEEN, and when it is seen whole",
        *(_seen_line(seen) for seen in plan.flows),
    ]
    lines += ["", "ASSUMED", *(f"  {words}" for words in plan.assumptions)]
    return "\n".join(lines)


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent=" " * indent)


def _seen_line(seen: Visibility) -> str:
    angle = number_text(rad_to_arcsec(seen.flow.angle_rad), 2)
    whole = whole_words(seen).removeprefix("whole ")
    line = f"  {seen.flow.name:<28}{angle:>6} arcsec  {verdict_words(seen):<31}  {whole}"
    return line.rstrip()


def flow_lines(plan: Plan) -> list[str]:
    """The named flows with their angles and where those come from."""
    lines = []
    for seen in plan.flows:
        angle = number_text(rad_to_arcsec(seen.flow.angle_rad), 2)
        lines.append(f"{seen.flow.name}: {angle} arcsec")
        lines += textwrap.wrap(
            seen.flow.origin, _WIDTH, initial_indent="    ", subsequent_indent="    "
        )
    return lines


def as_mapping(plan: Plan) -> dict[str, Any]:
    """The plan as plain data in SI units, for JSON."""
    return {
        "schema": SCHEMA,
        "name": plan.settings.rig.name,
        "kind": plan.rig.kind,
        "figures": {
            figure.key: {
                "label": figure.label,
                "value": _finite(figure.value),
                "unit": figure.kind.value,
                "note": figure.note,
            }
            for figure in plan.figures
        },
        "cautions": [
            {
                "stops": caution.stops,
                "setting": caution.setting,
                "text": caution.text,
                "remedy": caution.remedy,
            }
            for caution in plan.cautions
        ],
        "flows": [_seen_mapping(seen) for seen in plan.flows],
        "expected": plan.expected.flow.name,
        "assumptions": list(plan.assumptions),
        "setup": plan.settings.to_mapping(),
    }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _seen_mapping(seen: Visibility) -> dict[str, Any]:
    return {
        "name": seen.flow.name,
        "angle_rad": seen.flow.angle_rad,
        "origin": seen.flow.origin,
        "contrast": seen.contrast,
        "signal_over_noise": seen.signal,
        "k": seen.k,
        "verdict": seen.verdict.value,
        "below_diffraction": seen.below_diffraction,
        "uncut_from": seen.uncut_from,
        "uncut_to": seen.uncut_to,
    }
