"""Show files: settings with a section ``[show]``, found by name or path, built on a set-up.

A show file may build on the settings of a rig (``setup`` in its ``[show]`` section); what the show
file says itself goes before. Named ones stand in ``configs/shows``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from liveview.errors import BadRequest
from liveview.settings import Settings, validated
from liveview.shipped import shipped_folder
from liveview.toml_text import read_toml

SUFFIX = ".toml"


def show_names() -> tuple[str, ...]:
    """Names of the shipped shows."""
    return tuple(sorted(path.stem for path in (shipped_folder("configs") / "shows").glob("*.toml")))


def find_show(wanted: str) -> Path:
    """The file of a show, given its name or its path.

    Raises
    ------
    BadRequest
        Neither a file nor the name of a shipped show.
    """
    path = Path(wanted).expanduser()
    if path.is_file():
        return path
    named = shipped_folder("configs") / "shows" / f"{wanted}{SUFFIX}"
    if wanted in show_names():
        return named
    raise BadRequest(
        f"no show file of this name; shipped are {', '.join(show_names())}",
        wanted or "--show",
        "give one of these names or a path to a TOML file",
    )


def load_show(wanted: str) -> Settings:
    """The settings of a show, its rig's set-up filled in below.

    Parameters
    ----------
    wanted : str
        Name of a shipped show, or a path.

    Raises
    ------
    BadRequest
        One line: the file cannot be found or read, has no ``[show]``, or a key is wrong.
    """
    path = find_show(wanted)
    return validated(_told(path), str(path))


OF_THE_PLACE = ("screen", "store", "sound")
"""Sections that stay as they are when a show is opened in a running session."""


def show_over(wanted: str, session: Settings) -> Settings:
    """The settings of a show that is opened in a running session.

    A show with a source of its own brings its rig along, as at the start of the program; one
    without goes on with the session's camera and rig. What the file says goes before.

    Parameters
    ----------
    wanted : str
        As for :func:`load_show`.
    session : Settings
        Those in force.

    Raises
    ------
    BadRequest
        As :func:`load_show`.
    """
    path = find_show(wanted)
    told, below = _told(path), session.to_mapping()
    below["camera"].pop("source")
    camera = told.get("camera")
    own = isinstance(camera, Mapping) and camera.get("source")
    kept = {
        name: values
        for name, values in below.items()
        if name in OF_THE_PLACE or (not own and name != "show")
    }
    return validated(_over(kept, told), str(path))


def _told(path: Path) -> dict[str, Any]:
    """What a show file says, over its set-up."""
    data = read_toml(path, "show")
    show = data.get("show")
    if not isinstance(show, dict):
        raise BadRequest("is no show file: it has no section [show]", str(path), "add [show] to it")
    setup = show.get("setup")
    if isinstance(setup, str) and setup:
        data = _over(read_toml(_setup_of(setup, path), "settings"), data)
    return data


def _setup_of(name: str, show: Path) -> Path:
    """A set-up named in a show: a path from the show file, or a shipped set-up."""
    shipped = shipped_folder("configs")
    candidates = (show.parent / Path(name).expanduser(), shipped / name, shipped / (name + SUFFIX))
    for path in candidates:
        if path.is_file():
            return path
    raise BadRequest(
        f"show.setup = '{name}': there is no such file beside it or among the shipped set-ups",
        str(show),
        "correct the name or take the key out",
    )


def _over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Both, section by section; what is above goes first."""
    merged = dict(below)
    for key, value in above.items():
        there = merged.get(key)
        both = isinstance(there, Mapping) and isinstance(value, Mapping)
        merged[key] = _over(there, value) if both else value  # type: ignore[arg-type]
    return merged
