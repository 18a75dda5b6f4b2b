"""Names of event folders from the user's pattern."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from liveview.errors import BadRequest
from liveview.model import Cause
from liveview.recorder.files import PART_SUFFIX

FIELDS = ("date", "time", "cause", "number")
LONGEST = 120

_FIELD = re.compile(r"\{([^{}]*)\}")
_DEVICE_NAMES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def check_pattern(pattern: str) -> None:
    """Refuse a pattern with fields that do not exist.

    Raises
    ------
    BadRequest
        Names the wrong field.
    """
    for field in _FIELD.findall(pattern):
        if field not in FIELDS:
            raise BadRequest(
                f"name pattern has an unknown field '{{{field}}}'",
                "store.name",
                "use {date}, {time}, {cause} or {number}",
            )


def safe_name(text: str) -> str:
    """A folder name that stays where it is put and works on every system.

    Separators, control characters and what Windows forbids become ``-``; leading dots, names of
    devices and overlong names are mended; an empty one becomes ``event``.
    """
    name = re.sub(r'[\x00-\x1f\x7f/\\:*?"<>|]+', "-", text)
    name = name.strip(" ").lstrip(".").rstrip(". ")
    while name.lower().endswith(PART_SUFFIX):
        name = name[: -len(PART_SUFFIX)].rstrip(". ")
    while len(name.encode("utf-8")) > LONGEST:
        name = name[:-1]
    name = name.rstrip(". ")
    if not name.strip("-"):
        return "event"
    return f"event-{name}" if _DEVICE_NAMES.fullmatch(name) else name


def _when(started_at: str) -> datetime:
    try:
        return datetime.fromisoformat(started_at)
    except ValueError:
        return datetime.now().astimezone()


def event_names(pattern: str, started_at: str, cause: Cause) -> Callable[[int], str]:
    """A function that gives the n-th candidate (n >= 1) for an event's name.

    With ``{number}`` in the pattern n is the number; else from the second on ``_2``, ``_3`` ...
    are appended.
    """
    when = _when(started_at)
    words = {"date": f"{when:%Y-%m-%d}", "time": f"{when:%H-%M-%S}", "cause": cause.value}

    def candidate(n: int) -> str:
        values = {**words, "number": f"{n:04d}"}
        text = _FIELD.sub(lambda match: values[match[1]], pattern)
        name = safe_name(text)
        return name if n == 1 or "{number}" in pattern else f"{name}_{n}"

    return candidate


def claim_part(folder: Path, candidate: Callable[[int], str]) -> Path:
    """Create ``NAME.part`` for the first candidate that is free, and return it.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    n = 1
    while True:
        name = candidate(n)
        part = folder / (name + PART_SUFFIX)
        if not (folder / name).exists():
            try:
                part.mkdir()
                return part
            except FileExistsError:
                pass
        n += 1


def final_path(part: Path) -> Path:
    """The name an unfinished event gets at its end: free, whatever has appeared meanwhile."""
    plain = part.with_name(part.name.removesuffix(PART_SUFFIX))
    path, n = plain, 2
    while path.exists() or path.is_symlink():
        path = plain.with_name(f"{plain.name}_{n}")
        n += 1
    return path
