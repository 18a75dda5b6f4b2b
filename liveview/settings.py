"""Typed, validated settings: TOML in, TOML out. The shipped ones are in ``configs/``.

A settings file may hold any of the sections below; what is missing has the default. Lengths and
times are numbers in SI units or text with a unit (``"114 mm"``, ``"1/8 in"`` is not: write
``"0.125 in"``). Keys in the file carry no unit: ``mirror_diameter`` in the file is
``mirror_diameter_m`` in the program.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from liveview.errors import BadRequest, OutputFailed
from liveview.model import Side
from liveview.toml_text import read_toml
from liveview.units import parse_quantity, quantity_text

SCHEMA = 1
"""Version of the settings file; files of a newer one are refused in words."""


def _quantity(unit: str) -> Callable[[object], object]:
    def read(value: object) -> object:
        if value is None:
            return None
        try:
            return parse_quantity(value, unit)
        except BadRequest as error:
            raise ValueError(str(error)) from error

    return read


Metres = Annotated[float, BeforeValidator(_quantity("m"))]
Seconds = Annotated[float, BeforeValidator(_quantity("s"))]
Kelvins = Annotated[float, BeforeValidator(_quantity("K"))]
Hertz = Annotated[float, BeforeValidator(_quantity("Hz"))]
SpeedMS = Annotated[float, BeforeValidator(_quantity("m/s"))]


LONGEST_SHOWN = 60
"""Characters of a wrong value that a message repeats."""


_UNITS = {"_m_s": "m/s", "_m": "m", "_s": "s", "_k": "K", "_hz": "Hz"}
"""Endings of the program's names and the unit they stand for."""


def file_key(name: str) -> str:
    """The key used in files for an attribute: without its unit."""
    for suffix in _UNITS:
        if name.endswith(suffix):
            name = name.removesuffix(suffix)
    return name


def _with_unit(name: str, value: Any) -> Any:
    """A value as it stands in a file, with the unit that the attribute's name tells."""
    unit = next((unit for suffix, unit in _UNITS.items() if name.endswith(suffix)), None)
    return value if unit is None else quantity_text(value, unit)


class Section(BaseModel):
    """Base of all sections: unknown keys refused, values frozen, keys without units in files."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=file_key, populate_by_name=True
    )


class Rig(Section):
    """Mirror and distances. See ``optics.rig`` for what follows from them."""

    name: str = "unnamed rig"
    kind: Literal["one mirror", "two mirrors", "lenses"] = "one mirror"
    mirror_diameter_m: Metres = Field(0.150, gt=0, le=10)
    focal_length_m: Metres = Field(1.2, gt=0, le=100)
    """Of the mirror; of the second mirror (or lens) with two."""
    first_focal_length_m: Metres | None = Field(None, gt=0, le=100)
    """Of the collimating mirror or lens in rigs with two; the same as the second when absent."""
    lamp_distance_m: Metres | None = Field(None, gt=0, le=1000)
    """Lamp to mirror; twice the focal length when absent (one mirror)."""
    object_distance_m: Metres = Field(0.0, ge=0, le=1000)
    """Test object in front of the mirror; 0 means at the mirror or not known."""
    temperature_k: Kelvins = Field(293.15, gt=150, lt=400)
    pressure_pa: float = Field(101325.0, gt=1e3, lt=1e6)


class Lamp(Section):
    """The lamp, or the slit in front of it."""

    shape: Literal["slit", "round"] = "slit"
    width_m: Metres = Field(0.001, gt=0, le=0.1)
    """Across the blade's edge, at the lamp. Its image is this times the magnification."""
    image_width_m: Metres | None = Field(None, gt=0, le=0.1)
    """Measured width of the image at the blade; overrides the computed one."""
    wavelength_m: Metres = Field(550e-9, gt=100e-9, lt=20e-6)


class Blade(Section):
    """The knife edge."""

    side: Side = Side.LEFT
    """Side of the picture from which it comes in."""
    distance_m: Metres | None = Field(None, gt=0, le=1000)
    """Mirror to blade; where the lamp's image is, when absent."""
    target_uncut: float = Field(0.5, gt=0, lt=1)
    """Half cut is common practice."""
    target_band: float = Field(0.05, gt=0, lt=0.5)
    """Readings within target ± this count as reached."""


class Camera(Section):
    """The camera, its numbers and what is known of its shutter."""

    source: str = ""
    """``camera:0``, a path, an address; empty: first camera that answers, else simulated."""
    transfer: str = Field("srgb", pattern=r"^(srgb|bt709|linear|gamma:\d+(\.\d+)?)$")
    channel: Literal["luminance", "red", "green", "blue"] = "luminance"
    white: int | None = Field(None, ge=1, le=65535)
    exposure_s: Seconds | None = Field(None, gt=0, le=60)
    row_time_s: Seconds | None = Field(None, ge=0, le=0.1)
    delay_s: Seconds = Field(0.0, ge=-1, le=10)
    """How late the camera's stamps are: taken off every one of them."""
    gain: float | None = Field(None, ge=0, le=1e6)
    """Gain asked of the camera, in its driver's own units."""
    white_balance_k: Kelvins | None = Field(None, ge=1000, le=20000)
    """Colour temperature asked of the camera."""
    focus: float | None = Field(None, ge=0, le=1e6)
    """Focus asked of the camera, in its driver's own units."""
    hold: bool = False
    """Lock exposure, white balance and focus as the camera has found them when it is opened."""
    format: str = Field("", pattern=r"^([A-Za-z0-9 ]{1,4})?$")
    """Four-letter code of the pixel format asked of the camera, such as MJPG, YUYV or GREY."""
    rate_hz: Hertz | None = Field(None, gt=0, le=1e6)
    width: int | None = Field(None, ge=16, le=20000)
    height: int | None = Field(None, ge=16, le=20000)
    lens_focal_length_m: Metres = Field(0.050, gt=0, le=2)
    f_number: float = Field(4.0, gt=0.3, le=128)
    sensor_width_m: Metres = Field(0.0072, gt=0, le=0.2)
    sensor_height_m: Metres = Field(0.00405, gt=0, le=0.2)
    distance_from_blade_m: Metres = Field(0.03, ge=0, le=10)


class DiscPlace(Section):
    """The disc set by hand, pixels; found by itself when absent."""

    cx: float
    cy: float
    radius: float = Field(gt=1)


View = Literal["plain", "lifted", "signed", "movement", "trail", "arrows", "significance"]


class Enhance(Section):
    """How the picture is made visible."""

    view: View = "lifted"
    gain_contrast: float | None = Field(None, gt=0, le=10)
    """Contrast at the palette's end; automatic when absent."""
    background: Literal["reference", "running", "median"] = "reference"
    background_time_s: Seconds = Field(20.0, gt=0, le=3600)
    lamp_correction: Literal["off", "frame", "rows"] = "frame"
    steady: bool = False
    average_frames: int = Field(1, ge=1, le=256)
    smooth_px: float = Field(0.0, ge=0, le=32)
    unit: Literal["contrast", "arcsec", "sigma"] = "contrast"


class Catch(Section):
    """What is kept when a spark is seen or heard."""

    on: Literal["off", "flash", "sound", "either", "both"] = "either"
    pre_trigger_s: Seconds = Field(1.0, ge=0, le=600)
    post_trigger_s: Seconds = Field(2.0, ge=0, le=600)
    sensitivity_sigma: float = Field(6.0, ge=2, le=100)
    """Threshold in units of the detector's own noise."""
    refractory_s: Seconds = Field(0.05, ge=0, le=60)
    longest_event_s: Seconds = Field(20.0, gt=0, le=600)
    mic_distance_m: Metres = Field(0.5, ge=0, le=100)
    again: bool = True
    """Arm again after an event."""
    learn_s: Seconds = Field(2.0, gt=0, le=60)
    after_frames: int | None = Field(None, ge=1)
    """Keep an event so many frames after arming, whatever is seen or heard; with ``again`` so many
    frames after each event, too."""


class Sound(Section):
    """The microphone."""

    device: str = ""
    """Name of the input; the system's default when empty."""
    enabled: bool = True
    rate_hz: Hertz | None = Field(None, gt=1000, le=1e6)
    channel: int | None = Field(None, ge=1, le=64)
    """The one that is heard, from 1; the mean of the first two when absent."""
    delay_s: Seconds = Field(0.0, ge=-1, le=10)
    """How late the sound comes beyond what its arrival shows: taken off every time."""
    error_s: Seconds = Field(0.01, ge=0, le=1)
    """How wrong its times may still be: flash and crack may be so far apart."""


class Store(Section):
    """Where events go and how much memory the pre-trigger may take."""

    folder: str = ""
    """Folder of events; the user's Videos folder when empty."""
    name: str = "{date}_{time}_{cause}"
    ring_mb: int = Field(1024, ge=8, le=262144)
    reserve_mb: int = Field(500, ge=0)
    """Disk space never used."""


class Screen(Section):
    """How values are shown."""

    length_unit: Literal["mm", "cm", "m", "in"] = "mm"
    text_scale: float = Field(1.0, ge=0.5, le=1.25)
    """Size of all words, which grow with the window besides; there is no room for more."""


class Expect(Section):
    """What is to be seen; only planning uses it."""

    flow: str = "warm air rising from a hand"
    """One of the named flows of ``optics.visibility``."""
    speed_m_s: SpeedMS | None = Field(None, ge=0, le=1e5)
    """The flow's own typical speed when absent."""
    open_snr: float = Field(100.0, gt=1, le=1e5)
    """Mean over standard deviation of one pixel of one frame, blade out."""


def _caption(value: object) -> object:
    return {"text": value} if isinstance(value, str) else value


def _keys(value: object) -> object:
    return (value,) if isinstance(value, str) else value


def _rate(value: object) -> str:
    """A part of real time, as text; ValueError in words."""
    try:
        rate = Fraction(str(value))
    except (ValueError, ZeroDivisionError):
        raise ValueError("give a part of real time, such as '1/40' or '0.025'") from None
    if not Fraction(1, 1000) <= rate <= 4:
        raise ValueError("is not between 1/1000 and 4 of real time")
    return str(value)


class Caption(Section):
    """Words for the audience. Plain text in a file stands for ``text`` alone."""

    text: str = Field("", max_length=400)
    view: View | None = None
    """View that comes up with it; the one that is there stays when absent."""
    note: str = Field("", max_length=400)
    """For the presenter only."""


class Show(Section):
    """A demonstration for an audience. A settings file with this section is a show file."""

    title: str = Field("", max_length=80)
    setup: str = ""
    """Settings file of the rig that this file builds on: a path from here, or a shipped name."""
    captions: tuple[Annotated[Caption, BeforeValidator(_caption)], ...] = ()
    caption_first: bool = False
    """The first caption is there from the start; else the next-key brings it."""
    screen: str = ""
    """Name of the audience's screen; a second one when empty, else the only one."""
    clock: bool = False
    legend: bool = True
    explanation: bool = False
    """The animated drawing of the rig in a corner."""
    replay_rate: Annotated[str, BeforeValidator(_rate)] = "1/40"
    """Of the slow replay, as a part of real time."""
    replay_before_s: Seconds = Field(0.1, ge=0, le=10)
    replay_after_s: Seconds = Field(0.3, ge=0, le=10)
    replay_by_itself: bool = False
    """Every spark is replayed as soon as it is over, then the picture is live again."""
    more_gain: float = Field(3.0, gt=1, le=100)
    more_gain_for_s: Seconds = Field(4.0, gt=0, le=600)
    spotlight_size: float = Field(0.35, ge=0.05, le=1)
    """Diameter of the spotlight as a share of the disc's."""
    keys: dict[str, Annotated[tuple[str, ...], BeforeValidator(_keys)]] = {}
    """Keys instead of the usual ones, by what they do; see ``gui.show_keys``."""


ALWAYS_WRITTEN = {
    "rig": ("name", "kind", "mirror_diameter_m", "focal_length_m", "object_distance_m"),
    "lamp": ("shape", "width_m"),
    "blade": ("side", "target_uncut"),
    "camera": (
        "transfer",
        "lens_focal_length_m",
        "f_number",
        "sensor_width_m",
        "sensor_height_m",
        "distance_from_blade_m",
    ),
    "expect": ("flow",),
}
"""What belongs to a rig and stands in a saved file also where it is the default."""


class Settings(Section):
    """All sections. Frozen: change it by ``replaced``."""

    schema_version: int = Field(SCHEMA, alias="schema", ge=1)
    rig: Rig = Rig()
    lamp: Lamp = Lamp()
    blade: Blade = Blade()
    camera: Camera = Camera()
    disc: DiscPlace | None = None
    enhance: Enhance = Enhance()
    catch: Catch = Catch()
    sound: Sound = Sound()
    store: Store = Store()
    screen: Screen = Screen()
    expect: Expect = Expect()
    show: Show = Show()

    def replaced(self, section: str, **values: Any) -> Settings:
        """A validated copy with some values of one section changed.

        Raises
        ------
        BadRequest
            Unknown section or key, or a value out of range.
        """
        data = self.model_dump(by_alias=False)
        data[section] = {**(data.get(section) or {}), **values}
        return validated(data, "settings")

    def to_file(self) -> dict[str, Any]:
        """What a person would write into a file: the rig, and what differs from the defaults.

        Lengths, times and the like carry their unit.
        """
        usual = Settings().to_mapping()
        written: dict[str, Any] = {}
        for name, value in self.to_mapping().items():
            if not isinstance(value, dict):
                written[name] = value
                continue
            section: Section = getattr(self, name)
            keys = {file_key(n): n for n in type(section).model_fields}
            told = {
                key: _with_unit(keys[key], one)
                for key, one in value.items()
                if keys[key] in ALWAYS_WRITTEN.get(name, ()) or one != usual.get(name, {}).get(key)
            }
            if told:
                written[name] = told
        return written

    def to_mapping(self) -> dict[str, Any]:
        """Plain data with the keys of the file; absent (None) values are left out."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)


def validated(data: Mapping[str, Any], where: str) -> Settings:
    """Settings from plain data.

    Raises
    ------
    BadRequest
        One line that names the first wrong key, its value and what is expected.
    """
    schema = data.get("schema", SCHEMA)
    if isinstance(schema, int) and schema > SCHEMA:
        raise BadRequest(
            f"written by a newer version (schema {schema}, this program reads up to {SCHEMA})",
            where,
            "update liveview or remove the newer keys",
        )
    try:
        return Settings.model_validate(dict(data))
    except ValidationError as error:
        raise first_fault(error, where) from error


def first_fault(error: ValidationError, where: str) -> BadRequest:
    """The first wrong key of a validated file as one line for the user."""
    first = error.errors()[0]
    key = ".".join(str(part) for part in first["loc"])
    if first["type"] == "extra_forbidden":
        return BadRequest(f"unknown key '{key}'", where, "remove it or correct its spelling")
    message = _plain_words(key, first["type"], first.get("ctx", {})) or first["msg"]
    message = message.removeprefix("Value error, ")
    given = repr(first.get("input"))
    given = given if len(given) <= LONGEST_SHOWN else f"{given[:LONGEST_SHOWN]}..."
    return BadRequest(f"{key} = {given}: {message}", where, "correct this value")


_FAULTS = {
    "greater_than": "must be greater than {gt:g}",
    "greater_than_equal": "must be greater than or equal to {ge:g}",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be less than or equal to {le:g}",
    "literal_error": "must be {expected}",
    "enum": "must be {expected}",
    "int_parsing": "must be a whole number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_parsing": "must be a number",
    "float_type": "must be a number",
    "bool_parsing": "must be true or false",
    "bool_type": "must be true or false",
}
_FORMS = {
    "camera.transfer": "must be srgb, bt709, linear or gamma:G, such as gamma:2.2",
    "camera.format": "must be a four-letter code, such as MJPG",
}


def _plain_words(key: str, kind: str, limits: Mapping[str, Any]) -> str:
    """What is wrong with a value in words of everyday; empty where there are none for it."""
    if kind == "string_pattern_mismatch":
        return _FORMS.get(key, "")
    return _FAULTS.get(kind, "").format(**limits)


def load_settings(path: Path) -> Settings:
    """Read a TOML settings file.

    Raises
    ------
    BadRequest
        Missing, unreadable, not TOML, unknown key or wrong value.
    """
    return validated(read_toml(path, "settings"), str(path))


def save_settings(settings: Settings, path: Path) -> None:
    """Write a TOML settings file as people write them, replacing it in one step.

    Raises
    ------
    OutputFailed
        The folder cannot be written.
    """
    import tomli_w

    partial = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        partial.write_bytes(tomli_w.dumps(settings.to_file()).encode("utf-8"))
        partial.replace(path)
    except OSError as error:
        raise OutputFailed(
            f"cannot write the settings ({error.strerror})", str(path), "choose another folder"
        ) from error
