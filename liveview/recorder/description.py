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
from collections.abc import Mapping
from typing import Any, TypeVar

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


def _build(kind: type[T], data: Mapping[str, Any]) -> T:
    known = {field.name for field in dataclasses.fields(kind)}  # type: ignore[arg-type]
    return kind(**{name: value for name, value in data.items() if name in known})


def read_source(data: Mapping[str, Any]) -> SourceInfo:
    """Back from :func:`describe_source`."""
    return _build(SourceInfo, {**data, "kind": SourceKind(data["kind"])})


def read_sound(data: Mapping[str, Any] | None) -> SoundInfo | None:
    """A sound source's description."""
    return None if data is None else _build(SoundInfo, data)


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
    return Average(light, int(data["frames"]), data["taken_s"], data["taken_at"], camera, clipped)


def read_start(data: Mapping[str, Any], calibration: Calibration) -> EventStart:
    """Back from :func:`describe_start`.

    Raises
    ------
    KeyError, ValueError, TypeError
        The data is not what :func:`describe_start` wrote; callers translate.
    """
    return EventStart(
        cause=Cause(data["cause"]),
        spotted=read_spotted(data["spotted"][0]),
        source=read_source(data["source"]),
        sound=read_sound(data["sound"]),
        calibration=calibration,
        settings=data["settings"],
        disc=read_disc(data["disc"]),
        started_at=data["started_at"],
        wall_minus_session_s=data["wall_minus_session_s"],
        set_up=data.get("set_up", {}),
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
