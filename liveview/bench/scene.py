"""Scenes of the simulated rig: typed, validated, read from TOML.

A scene file holds what a settings file says about rig, lamp and blade, and besides what a real rig
simply has: flaws of the mirror, a sensor, a room, flows, and the steps a person takes at it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError

from liveview.bench.flows.candle import CandleSettings
from liveview.bench.flows.cold_gas import ColdGasSettings
from liveview.bench.flows.door import DoorSettings
from liveview.bench.flows.hand import HandSettings
from liveview.bench.flows.jet import JetSettings
from liveview.bench.flows.lighter import LighterSettings
from liveview.bench.flows.spark import SparkSettings
from liveview.errors import BadRequest
from liveview.settings import (
    Blade,
    Hertz,
    Lamp,
    Metres,
    Rig,
    Seconds,
    Section,
    Settings,
    first_fault,
)
from liveview.shipped import shipped_folder
from liveview.toml_text import read_toml

FLOW_FADE_S = 0.4
"""Gas comes and goes so softly when a flow is switched."""
SWITCHED = ("spark", "door")
"""Flows that are switched at once."""


class Light(Section):
    """How the lamp shines."""

    length_m: Metres = Field(0.003, gt=0, le=0.2)
    """Of a slit's image, along the blade's edge; matters when the blade is turned."""
    unevenness: float = Field(0.0, ge=-0.9, le=0.9)
    """Change of brightness across the lamp's image, see ``CutCurve``."""
    falloff: float = Field(0.12, ge=0, lt=1)
    """How much less light the mirror's rim gets than its middle."""
    lean: float = Field(0.06, ge=-0.9, le=0.9)
    """Change of brightness across the mirror, left to right."""
    ripple: float = Field(0.0, ge=0, le=1)
    """Share of the light that pulses at twice the mains frequency."""
    drift: float = Field(0.0, ge=0, le=0.5)
    """Slow wander of the brightness, rms share."""
    open_level: float = Field(0.78, gt=0, le=5)
    """Brightest part of the open picture against the top code at the scene's own exposure."""


class Mirror(Section):
    """What is wrong with the mirror."""

    figure_rad: float = Field(2.0e-6, ge=0, le=1e-3)
    """Slope errors of the glass, rms."""
    turned_edge_rad: float = Field(1.0e-5, ge=-1e-3, le=1e-3)
    """Slope error at the very rim, outwards."""
    dust: int = Field(110, ge=0, le=20000)
    scratches: int = Field(5, ge=0, le=500)
    smudges: int = Field(2, ge=0, le=50)
    seed: int = Field(11, ge=0)


class View(Section):
    """Where the mirror is in the picture."""

    disc_radius: float = Field(0.45, gt=0.02, le=5)
    """In picture heights."""
    disc_x: float = Field(0.5, ge=-1, le=2)
    """In picture widths."""
    disc_y: float = Field(0.5, ge=-1, le=2)
    """In picture heights."""
    blur_px: float = Field(0.9, ge=0, le=50)
    """Focus blur of the mirror, standard deviation at 720 rows; scales with the picture."""
    pass_offset_m: Metres = Field(0.0016, ge=-0.2, le=0.2)
    """Between where the outward and the return pass cross the air, along the picture's rows."""


class Sensor(Section):
    """The camera."""

    width: int = Field(1280, ge=16, le=8192)
    height: int = Field(720, ge=16, le=8192)
    rate_hz: Hertz = Field(60.0, gt=0, le=1e6)
    bits: Literal[8, 10, 12, 16] = 8
    transfer: str = Field("srgb", pattern=r"^(srgb|bt709|linear|gamma:\d+(\.\d+)?)$")
    shutter: Literal["rolling", "global"] = "rolling"
    readout: float = Field(0.72, gt=0, le=1)
    """Of a rolling shutter: share of the frame time from the first row to the last."""
    exposure_s: Seconds | None = Field(None, gt=0, le=10)
    """An eighth of the frame time when absent."""
    gain: float = Field(1.0, ge=0.1, le=64)
    full_well_e: float = Field(9000.0, ge=100, le=1e6)
    """Electrons at the top code with gain 1."""
    dark_level: float = Field(0.004, ge=0, lt=0.5)
    """Light-linear level without light, share of the top code."""
    read_noise_e: float = Field(6.0, ge=0, le=1000)
    dark_current_e_s: float = Field(400.0, ge=0, le=1e6)
    hot_pixels: int = Field(60, ge=0, le=100000)
    sub_exposures: int = Field(4, ge=1, le=64)
    """Moments per exposure that a recording averages, for motion blur; live uses one."""
    auto_exposure: bool = False
    stamp_delay_s: Seconds = Field(0.0, ge=0, le=1)
    """How late the camera's stamps are, as those of real ones are by their buffers."""

    @property
    def row_time_s(self) -> float:
        """From one row to the next, seconds; 0 with a global shutter."""
        return 0.0 if self.shutter == "global" else self.readout / (self.rate_hz * self.height)

    @property
    def own_exposure_s(self) -> float:
        """The exposure the scene begins with."""
        return self.exposure_s or 0.125 / self.rate_hz

    @property
    def white(self) -> int:
        """Top code."""
        return int(2**self.bits) - 1


class Room(Section):
    """Everything around the rig."""

    light: float = Field(0.0015, ge=0, le=1)
    """Room light that reaches the sensor, share of the top code at the scene's own exposure."""
    mains_hz: Hertz = Field(50.0, gt=1, le=1000)
    ripple: float = Field(0.6, ge=0, le=1)
    """Share of the room light that pulses."""
    shake: float = Field(0.0, ge=0, le=50)
    """Of camera and mirror, pixels rms."""


class Microphone(Section):
    """What the microphone hears."""

    rate_hz: Hertz = Field(48000.0, ge=8000, le=1e6)
    distance_m: Metres = Field(0.5, gt=0, le=100)
    """From the spark."""
    noise: float = Field(0.004, ge=0, le=0.5)
    """Room noise, rms, full scale 1."""
    hum: float = Field(0.002, ge=0, le=0.5)
    buzz: float = Field(0.012, ge=0, le=0.5)
    """Of the coil while it works."""
    crack: float = Field(0.7, ge=0, le=10)
    """Peak of a crack at half a metre."""
    claps_per_minute: float = Field(0.0, ge=0, le=600)
    speech: float = Field(0.0, ge=0, le=0.5)
    """Somebody talking now and then, rms."""


class Flows(Section):
    """The flows and where they are."""

    candle: CandleSettings = CandleSettings()
    hand: HandSettings = HandSettings()
    lighter: LighterSettings = LighterSettings()
    cold_gas: ColdGasSettings = ColdGasSettings()
    jet: JetSettings = JetSettings()
    spark: SparkSettings = SparkSettings()
    door: DoorSettings = DoorSettings()


class Step(Section):
    """Something a person does at a moment of a recording."""

    at_s: Seconds = Field(ge=0)
    knob: str
    value: float
    over_s: Seconds = Field(0.0, ge=0)


class Prelude(Section):
    """What a careful person does first in a recording: three quiet stretches, in this order.

    All flows are off until the last of them ends.
    """

    dark_s: Seconds = Field(0.0, ge=0, le=600)
    """Lens capped."""
    open_s: Seconds = Field(0.0, ge=0, le=600)
    """Blade out."""
    reference_s: Seconds = Field(0.0, ge=0, le=600)
    """Blade set, air quiet."""

    @property
    def ends_s(self) -> float:
        """When the flows begin."""
        return self.dark_s + self.open_s + self.reference_s


class Scene(Section):
    """Everything about one simulated recording."""

    schema_version: int = Field(1, alias="schema", ge=1, le=1)
    title: str = "simulated rig"
    notes: str = ""
    seconds: Seconds = Field(10.0, gt=0, le=86400)
    rig: Rig = Rig()
    lamp: Lamp = Lamp()
    blade: Blade = Blade()
    light: Light = Light()
    mirror: Mirror = Mirror()
    view: View = View()
    sensor: Sensor = Sensor()
    room: Room = Room()
    microphone: Microphone = Microphone()
    flows: Flows = Flows()
    prelude: Prelude = Prelude()
    steps: tuple[Step, ...] = ()

    def all_steps(self) -> tuple[Step, ...]:
        """The prelude's steps, then the scene's own, in order of time."""
        begun: list[Step] = []
        dark, opened, ends = self.prelude.dark_s, self.prelude.open_s, self.prelude.ends_s
        if dark:
            begun += [Step(at_s=0, knob="lens_capped", value=1)]
            begun += [Step(at_s=dark, knob="lens_capped", value=0)]
        if opened:
            begun += [Step(at_s=dark, knob="blade_out", value=1)]
            begun += [Step(at_s=dark + opened, knob="blade_out", value=0)]
        for name in type(self.flows).model_fields:
            if ends and getattr(self.flows, name).on:
                begun += [Step(at_s=0, knob=f"flow_{name}", value=0)]
                fade_s = 0.0 if name in SWITCHED else FLOW_FADE_S
                begun += [Step(at_s=ends, knob=f"flow_{name}", value=1, over_s=fade_s)]
        return tuple(sorted([*begun, *self.steps], key=lambda step: step.at_s))

    @property
    def settings(self) -> Settings:
        """The part a settings file shares with a scene."""
        return Settings(rig=self.rig, lamp=self.lamp, blade=self.blade)

    def replaced(self, section: str, **values: Any) -> Scene:
        """A validated copy with some values of one section changed.

        Raises
        ------
        BadRequest
            Unknown section or key, or a value out of range.
        """
        return with_values(self, {section: values}, "scene")


def scene_names() -> tuple[str, ...]:
    """Names of the shipped scenes."""
    return tuple(
        sorted(path.stem for path in (shipped_folder("configs") / "scenes").glob("*.toml"))
    )


def load_scene(name: str) -> Scene:
    """A shipped scene by its name, or a TOML file by its path.

    Raises
    ------
    BadRequest
        No such scene, unreadable, not TOML, unknown key or wrong value; one line.
    """
    path = Path(name)
    if path.suffix != ".toml":
        if name not in scene_names():
            known = ", ".join(scene_names())
            raise BadRequest(f"there is no scene '{name}'", "scene", f"use {known} or a .toml file")
        path = shipped_folder("configs") / "scenes" / f"{name}.toml"
    return _validated(read_toml(path, "scene"), str(path))


def scene_like(settings: Settings) -> Scene:
    """The default scene on the rig of the user's settings."""
    return Scene(rig=settings.rig, lamp=settings.lamp, blade=settings.blade)


def with_values(scene: Scene, changes: Mapping[str, Any], where: str) -> Scene:
    """A validated copy with some values changed.

    Parameters
    ----------
    changes : mapping
        Names (as in the program) and values; a mapping changes some values of a section.

    Raises
    ------
    BadRequest
        Unknown name, or a value out of range; ``where`` is named.
    """
    data = scene.model_dump(by_alias=False)
    for name, value in changes.items():
        data[name] = {**data[name], **value} if isinstance(value, Mapping) else value
    return _validated(data, where)


def _validated(data: Mapping[str, Any], where: str) -> Scene:
    try:
        return Scene.model_validate(dict(data))
    except ValidationError as error:
        raise first_fault(error, where) from error
