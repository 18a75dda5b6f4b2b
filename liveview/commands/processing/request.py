"""What was asked for: arguments, settings file and event snapshot joined and checked."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from liveview.commands.plan import setup_path
from liveview.errors import BadRequest
from liveview.model import CalibrationKind
from liveview.settings import Settings, load_settings, validated
from liveview.units import parse_quantity

_NUMBER = r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_STRETCH = re.compile(rf"\s*({_NUMBER})?\s*:\s*({_NUMBER})?\s*")

_OPTIONS: tuple[tuple[str, str, str, str], ...] = (
    ("transfer", "camera", "transfer", ""),
    ("rate", "camera", "rate_hz", "Hz"),
    ("white", "camera", "white", ""),
    ("row_time", "camera", "row_time_s", "s"),
    ("exposure", "camera", "exposure_s", "s"),
    ("blade_side", "blade", "side", ""),
    ("mirror_diameter", "rig", "mirror_diameter_m", "m"),
    ("blade_distance", "blade", "distance_m", "m"),
    ("catch", "catch", "on", ""),
    ("mic_distance", "catch", "mic_distance_m", "m"),
)
"""Argument, section and key it overrides, and its unit."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Seconds of the recording, from its first frame; ``until_s`` is not included."""

    since_s: float
    until_s: float

    def holds(self, time_s: float) -> bool:
        """True for times in the stretch."""
        return self.since_s <= time_s < self.until_s


@dataclass(frozen=True, slots=True)
class Request:
    """Everything ``process`` was asked to do.

    ``pictures`` has a stretch, or the address of a picture, for each calibration picture that
    was asked for. ``given`` names the settings (``"rig.mirror_diameter_m"``) somebody stated; the
    others are defaults, from which no measurement may be derived. ``on_command_line`` are those
    stated by options.
    """

    recording: str
    out: Path
    settings: Settings
    given: frozenset[str]
    pictures: Mapping[CalibrationKind, Stretch | str]
    sound: str | None = None
    seconds: float | None = None
    contrast: bool = False
    picture: bool = False
    every: int = 1
    json: bool = False
    overwrite: bool = False
    on_command_line: frozenset[str] = frozenset()

    @property
    def inputs(self) -> tuple[str, ...]:
        """Addresses of all that is read."""
        pictures = [wanted for wanted in self.pictures.values() if isinstance(wanted, str)]
        return (self.recording, *pictures, *([self.sound] if self.sound else []))

    def handled_at(self, since_first_s: float) -> bool:
        """True in the stretches named as dark or open: lamp or blade are not as they will be."""
        wanted = (self.pictures.get(kind) for kind in (CalibrationKind.DARK, CalibrationKind.OPEN))
        return any(isinstance(w, Stretch) and w.holds(since_first_s) for w in wanted)

    @property
    def lamp_is_known(self) -> bool:
        """True when the lamp image's width at the blade follows from what was stated."""
        rig = {"rig.mirror_diameter_m", "rig.focal_length_m"} <= self.given
        return "lamp.image_width_m" in self.given or ("lamp.width_m" in self.given and rig)

    @property
    def place_is_known(self) -> bool:
        """True when mirror diameter and blade distance follow from what was stated."""
        there = {"blade.distance_m", "rig.focal_length_m"} & self.given
        return "rig.mirror_diameter_m" in self.given and bool(there)


def read_request(args: argparse.Namespace) -> Request:
    """Check the arguments and join them with the settings.

    Raises
    ------
    BadRequest
        One line that names the option.
    """
    settings, given = _base_settings(args)
    stated_here = set()
    for argument, section, key, unit in _OPTIONS:
        text = getattr(args, argument)
        if text is not None:
            settings = _override(settings, option_name(argument), section, {key: text}, unit)
            stated_here |= {f"{section}.{key}"}
    if args.lamp is not None:
        settings = _with_lamp(settings, args.lamp)
        stated_here |= {"lamp.shape", "lamp.image_width_m"}
    kinds = {kind: getattr(args, kind.value) for kind in CalibrationKind}
    return Request(
        recording=args.recording,
        out=args.out,
        settings=settings,
        given=frozenset(given | stated_here),
        pictures={
            kind: read_stretch(text, f"--{kind.value}")
            for kind, text in kinds.items()
            if text is not None
        },
        sound=args.sound,
        seconds=_positive(args.seconds, "--seconds", "s"),
        contrast=args.contrast,
        picture=args.picture,
        every=_every(args.every),
        json=args.json,
        overwrite=args.overwrite,
        on_command_line=frozenset(stated_here),
    )


def option_name(argument: str) -> str:
    """``--row-time`` for ``row_time``."""
    return "--" + argument.replace("_", "-")


def read_stretch(text: str, option: str) -> Stretch | str:
    """A stretch of seconds, or the text itself where it is an address.

    Raises
    ------
    BadRequest
        A stretch that is empty or runs backwards.
    """
    found = _STRETCH.fullmatch(text)
    if found is None:
        return text
    since = float(found[1]) if found[1] else 0.0
    until = float(found[2]) if found[2] else float("inf")
    if not since < until:
        raise BadRequest(
            f"'{text}' is an empty stretch", option, "write it like 0.5:2, the earlier time first"
        )
    return Stretch(since, until)


def _base_settings(args: argparse.Namespace) -> tuple[Settings, set[str]]:
    """Settings of ``--setup``, else those an event was recorded with, else the defaults."""
    if args.setup is not None:
        settings = load_settings(setup_path(args.setup))
        return settings, stated(settings)
    snapshot = _event_snapshot(args.recording)
    if snapshot is None:
        return Settings(), set()
    return snapshot, differing(snapshot)


def _event_snapshot(recording: str) -> Settings | None:
    from liveview.recorder.reading import StoredEvent, is_event

    path = Path(recording)
    if not is_event(path):
        return None
    with StoredEvent.open(path) as event:
        return validated(event.start.settings, str(path))


def stated(settings: Settings) -> set[str]:
    """Names of the values that a settings file gave."""
    return {
        f"{section}.{key}"
        for section in settings.model_fields_set
        for key in getattr(getattr(settings, section), "model_fields_set", ())
    }


def differing(settings: Settings) -> set[str]:
    """Names of the values in the sections that somebody changed from the defaults.

    A snapshot holds every value; a rig that nobody described stands there with the defaults.
    """
    names = set()
    for section in type(settings).model_fields:
        value, default = getattr(settings, section), getattr(Settings(), section)
        if value != default and hasattr(value, "model_dump"):
            names |= {f"{section}.{key}" for key in value.model_dump(exclude_none=True)}
    return names


def _override(
    settings: Settings,
    option: str,
    section: str,
    values: Mapping[str, Any],
    unit: str = "",
    written: str | None = None,
) -> Settings:
    """A copy with values from the command line; the message of an error names the option.

    ``written`` is what stands after the option, where it is not the value itself.
    """
    checked = {
        key: parse_quantity(value, unit, option) if unit else value for key, value in values.items()
    }
    try:
        return settings.replaced(section, **checked)
    except BadRequest as error:
        text = written or next(iter(values.values()))
        what = error.what.split(": ", 1)[-1]
        raise BadRequest(what, f"{option} {text}", "see 'liveview process --help'") from error


def _with_lamp(settings: Settings, text: str) -> Settings:
    shape, colon, width = text.partition(":")
    if shape not in ("slit", "round") or not colon:
        raise BadRequest(
            f"cannot read '{text}'", "--lamp", "write slit:W or round:W, W like 0.5 mm"
        )
    settings = _override(settings, "--lamp", "lamp", {"image_width_m": width}, "m", text)
    return _override(settings, "--lamp", "lamp", {"shape": shape})


def _positive(text: str | None, option: str, unit: str) -> float | None:
    if text is None:
        return None
    value = parse_quantity(text, unit, option)
    if value <= 0:
        raise BadRequest(f"'{text}' is not above 0", option)
    return value


def _every(text: str | None) -> int:
    if text is None:
        return 1
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise BadRequest(f"'{text}' is not a whole number above 0", "--every", "write it like 10")
    return int(text)
