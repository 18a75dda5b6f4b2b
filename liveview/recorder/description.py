"""The parts of an event as plain JSON data, and back. The layout of ``event.json`` is here.

Schema 1 holds: ``schema``, ``program`` (name, version), ``complete``, ``recovered``, ``cause``,
``started_at``, ``wall_minus_session_s``, ``source``, ``sound``, ``disc``, ``settings``,
``set_up`` (steps reached and when), ``spotted`` (the first is what started the event),
``calibration`` (one entry per picture), ``frames`` and ``sound_track`` (how the files are laid
out) and ``lost`` (what is missing).
Times are seconds on the session's clock.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from liveview import __version__
from liveview.errors import InputUnreadable
from liveview.model import (
    Average,
    Calibration,
    CalibrationKind,
    CameraState,
    Cause,
    Disc,
    EventStart,
    Light,
    SoundInfo,
    SourceInfo,
    SourceKind,
    Spotted,
)

SCHEMA = 1

DAMAGE = (KeyError, IndexError, ValueError, TypeError, AttributeError, OverflowError)
"""What reading a damaged description may raise; callers translate."""

MOST_PIXELS = 100_000_000
MOST_SIDE = 20_000
MOST_CHANNELS = 64
"""Of sound."""

T = TypeVar("T")


def describe_start(start: EventStart) -> dict[str, Any]:
    """Everything of an event's start but the calibration pictures' pixels."""
    return {
        "schema": SCHEMA,
        "program": {"name": "liveview", "version": __version__},
        "cause": start.cause.value,
        "started_at": start.started_at,
        "wall_minus_session_s": start.wall_minus_session_s,
        "source": describe_source(start.source),
        "sound": None if start.sound is None else dataclasses.asdict(start.sound),
        "disc": None if start.disc is None else dataclasses.asdict(start.disc),
        "settings": dict(start.settings),
        "set_up": dict(start.set_up),
        "spotted": [describe_spotted(start.spotted)],
        "calibration": {
            kind.value: describe_average(picture)
            for kind in CalibrationKind
            if (picture := getattr(start.calibration, kind.value)) is not None
        },
    }


def describe_source(info: SourceInfo) -> dict[str, Any]:
    """A source's description as plain data."""
    return {**dataclasses.asdict(info), "kind": info.kind.value}


def describe_spotted(spotted: Spotted) -> dict[str, Any]:
    """A spark as plain data."""
    data = dataclasses.asdict(spotted)
    rows = None if spotted.rows is None else list(spotted.rows)
    return {**data, "cause": spotted.cause.value, "rows": rows}


def describe_average(picture: Average) -> dict[str, Any]:
    """A calibration picture without its pixels."""
    return {
        "frames": picture.frames,
        "taken_s": picture.taken_s,
        "taken_at": picture.taken_at,
        "camera": dataclasses.asdict(picture.camera),
    }


def parsed(text: bytes) -> Any:
    """JSON from a file.

    Raises
    ------
    ValueError
        It is none, or nested too deeply.
    """
    try:
        return json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


_CHECKERS: dict[Any, TypeAdapter[Any]] = {}


def _checker(kind: Any) -> TypeAdapter[Any]:
    """Made when first needed, for that takes milliseconds."""
    if kind not in _CHECKERS:
        _CHECKERS[kind] = TypeAdapter(kind)
    return _CHECKERS[kind]


def _build(kind: type[T], data: Mapping[str, Any]) -> T:
    known = {field.name for field in dataclasses.fields(kind)}  # type: ignore[arg-type]
    values = {name: value for name, value in data.items() if name in known}
    try:
        built: T = _checker(kind).validate_python(values)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ValueError(f"{key}: {first['msg']}") from error
    return built


def read_source(data: Mapping[str, Any]) -> SourceInfo:
    """Back from :func:`describe_source`."""
    info = _build(SourceInfo, {**data, "kind": SourceKind(data["kind"])})
    sides = (info.width, info.height)
    if min(sides) < 1 or max(sides) > MOST_SIDE or math.prod(sides) > MOST_PIXELS:
        raise ValueError(f"pictures of {info.width} x {info.height} pixels")
    if info.channels not in (1, 3) or not 1 <= info.bits <= 16 or not 1 <= info.white < 1 << 16:
        raise ValueError(
            f"pictures of {info.channels} channels, {info.bits} bits, white {info.white}"
        )
    return info


def read_sound(data: Mapping[str, Any] | None) -> SoundInfo | None:
    """A sound source's description."""
    if data is None:
        return None
    info = _build(SoundInfo, data)
    if not (0 < info.rate_hz < math.inf and 1 <= info.channels <= MOST_CHANNELS):
        raise ValueError(f"sound of {info.channels} channels at {info.rate_hz} Hz")
    return info


def read_disc(data: Mapping[str, Any] | None) -> Disc | None:
    """A disc."""
    return None if data is None else _build(Disc, data)


def read_spotted(data: Mapping[str, Any]) -> Spotted:
    """Back from :func:`describe_spotted`."""
    rows = data.get("rows")
    return _build(
        Spotted,
        {**data, "cause": Cause(data["cause"]), "rows": None if rows is None else tuple(rows)},
    )


def read_average(data: Mapping[str, Any], light: Light, clipped: Any) -> Average:
    """A calibration picture from its description and pixels."""
    camera = _build(CameraState, data["camera"])
    if clipped is not None and clipped.shape != light.shape:
        raise ValueError("the mask of clipped pixels is of another size than its picture")
    taken_s, taken_at = float(data["taken_s"]), str(data["taken_at"])
    return Average(light, int(data["frames"]), taken_s, taken_at, camera, clipped)


def read_start(data: Mapping[str, Any], calibration: Calibration) -> EventStart:
    """Back from :func:`describe_start`.

    Raises
    ------
    DAMAGE
        The data is not what :func:`describe_start` wrote; callers translate.
    """
    source = read_source(data["source"])
    for kind in CalibrationKind:
        picture = getattr(calibration, kind.value)
        if picture is not None and picture.light.shape != (source.height, source.width):
            raise ValueError(f"the {kind.value} picture is of another size than the frames")
    return EventStart(
        cause=Cause(data["cause"]),
        spotted=read_spotted(data["spotted"][0]),
        source=source,
        sound=read_sound(data["sound"]),
        calibration=calibration,
        settings=dict(data["settings"]),
        disc=read_disc(data["disc"]),
        started_at=str(data["started_at"]),
        wall_minus_session_s=float(data["wall_minus_session_s"]),
        set_up={str(step): float(at_s) for step, at_s in data.get("set_up", {}).items()},
    )


def check_schema(data: object, where: str) -> Mapping[str, Any]:
    """Refuse what is not an event's description or comes from a newer program.

    Raises
    ------
    InputUnreadable
        Says which.
    """
    if not isinstance(data, dict) or not isinstance(data.get("schema"), int):
        raise InputUnreadable("is not the description of an event", where, "choose another folder")
    if data["schema"] > SCHEMA:
        raise InputUnreadable(
            f"was written by a newer version (schema {data['schema']}, this program reads up to "
            f"{SCHEMA})",
            where,
            "update liveview",
        )
    return data
