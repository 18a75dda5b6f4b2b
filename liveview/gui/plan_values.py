"""What can be edited on the Plan page: how it is read, shown, changed and turned."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from liveview.errors import BadRequest
from liveview.settings import Settings
from liveview.units import METRES_PER_UNIT, bare_number, length_text, number_text, parse_quantity


class Measure(Enum):
    """What a number measures: how it is read and shown."""

    LENGTH = "m"
    TIME = "s"
    SPEED = "m/s"
    SHARE = "%"
    NUMBER = ""
    WHOLE = "whole"
    WORDS = "words"


@dataclass(frozen=True, slots=True)
class Spot:
    """One setting that can be edited.

    ``key`` is like ``"rig.focal_length_m"``; ``name`` what it is called; ``automatic`` that
    clearing it lets the program choose.
    """

    key: str
    name: str
    measure: Measure
    automatic: bool = False

    @property
    def section(self) -> str:
        """Section of the settings."""
        return self.key.split(".")[0]

    @property
    def attribute(self) -> str:
        """Name within the section."""
        return self.key.split(".")[1]


SPOTS = (
    Spot("rig.name", "name of the set-up", Measure.WORDS),
    Spot("rig.mirror_diameter_m", "diameter", Measure.LENGTH),
    Spot("rig.focal_length_m", "focal length", Measure.LENGTH),
    Spot("rig.first_focal_length_m", "focal length of the first", Measure.LENGTH, True),
    Spot("rig.lamp_distance_m", "lamp distance", Measure.LENGTH, True),
    Spot("rig.object_distance_m", "object distance", Measure.LENGTH),
    Spot("blade.distance_m", "blade distance", Measure.LENGTH, True),
    Spot("lamp.width_m", "width of the lamp or slit", Measure.LENGTH),
    Spot("lamp.image_width_m", "width of the lamp's image", Measure.LENGTH, True),
    Spot("blade.target_uncut", "uncut fraction", Measure.SHARE),
    Spot("camera.distance_from_blade_m", "camera lens behind the blade", Measure.LENGTH),
    Spot("camera.lens_focal_length_m", "focal length of the camera's lens", Measure.LENGTH),
    Spot("camera.f_number", "aperture number", Measure.NUMBER),
    Spot("camera.sensor_width_m", "width of the sensor", Measure.LENGTH),
    Spot("camera.sensor_height_m", "height of the sensor", Measure.LENGTH),
    Spot("camera.width", "pixels across", Measure.WHOLE, True),
    Spot("camera.height", "pixels down", Measure.WHOLE, True),
    Spot("camera.exposure_s", "exposure", Measure.TIME, True),
    Spot("expect.speed_m_s", "speed of the flow", Measure.SPEED, True),
    Spot("expect.open_snr", "open picture over its noise", Measure.NUMBER),
    Spot("enhance.average_frames", "frames averaged", Measure.WHOLE),
)
"""All that can be edited on the Plan page, in the order of the Tab key."""


def shown(value: float | str | None, measure: Measure, length_unit: str) -> str:
    """A value as it stands on the drawing; empty where there is none."""
    if value is None or isinstance(value, str):
        return value or ""
    if measure is Measure.LENGTH:
        return length_text(value, length_unit)
    if measure is Measure.TIME:
        unit, size = (
            ("s", 1.0) if value >= 1.0 else ("ms", 1e-3) if value >= 1e-3 else ("\u00b5s", 1e-6)
        )
        return f"{number_text(value / size, 3)} {unit}"
    factor, unit = {Measure.SHARE: (100.0, " %"), Measure.SPEED: (1.0, " m/s")}.get(
        measure, (1.0, "")
    )
    return number_text(value * factor, 4) + unit


def read(text: str, spot: Spot, length_unit: str) -> float | int | str | None:
    """What the user wrote, in SI units; None for an emptied automatic one.

    A bare length is in the unit of the screen.

    Raises
    ------
    BadRequest
        It cannot be read.
    """
    text = text.strip()
    if not text and spot.automatic:
        return None
    if not text:
        raise BadRequest("cannot be left empty", spot.name)
    if spot.measure is Measure.WORDS:
        return text
    if spot.measure is Measure.LENGTH:
        bare = bare_number(text, "m", spot.name)
        return (
            parse_quantity(text, "m", spot.name)
            if bare is None
            else (bare * METRES_PER_UNIT[length_unit])
        )
    if spot.measure in (Measure.TIME, Measure.SPEED):
        return parse_quantity(text, spot.measure.value, spot.name)
    if spot.measure is Measure.SHARE:
        bare = bare_number(text.removesuffix("%"), "%", spot.name)
        if bare is None:
            raise BadRequest(f"cannot read '{text}'", spot.name, "write a share like 50 %")
        return bare / 100.0 if text.endswith("%") or bare >= 1.0 else bare
    number = parse_quantity(text, "1", spot.name)
    return round(number) if spot.measure is Measure.WHOLE else number


def changed(settings: Settings, spot: Spot, value: float | int | str | None) -> Settings:
    """Settings with this value.

    Raises
    ------
    BadRequest
        Out of range; the message names the value as people call it.
    """
    try:
        return settings.replaced(spot.section, **{spot.attribute: value})
    except BadRequest as error:
        what = error.what.split(": ", 1)[-1].replace("Input should be", "must be")
        raise BadRequest(what, spot.name) from error


def nudged(value: float, steps: int, measure: Measure) -> float:
    """The next rounder value: steps of 1, 2 or 5 in a decimal place, about 2 % of the value."""
    if measure is Measure.WHOLE:
        return max(1, round(value) + steps)
    if value <= 0.0:
        return 0.01 if steps > 0 else value
    size = 0.02 * value
    decade = 10.0 ** math.floor(math.log10(size))
    step = next(k * decade for k in (5.0, 2.0, 1.0) if k * decade <= size * 1.0001)
    return round(value / step + steps) * step
