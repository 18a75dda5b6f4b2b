"""The folder of events as a list, without opening any recording; the bin, with undo."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from liveview.errors import OutputFailed
from liveview.model import Cause
from liveview.recorder.files import PART_SUFFIX
from liveview.recorder.names import final_path
from liveview.recorder.reading import is_event

BIN = ".bin"
"""Folder beside the events that binned ones are moved to."""


@dataclass(frozen=True, slots=True)
class EventCard:
    """What a list shows of one event.

    ``seconds`` is None and ``poster`` missing while the event is not converted yet;
    ``words`` says what is wrong with a damaged one.
    """

    path: Path
    name: str
    cause: Cause | None
    strength: float | None
    sparks: int
    started_at: str
    frames: int | None
    complete: bool
    converted: bool
    poster: Path | None
    words: str = ""


def list_events(folder: Path) -> tuple[EventCard, ...]:
    """All events in a folder, oldest trigger first; none for a folder that is not there.

    Raises
    ------
    OutputFailed
        The folder cannot be looked into.
    """
    try:
        entries = [entry for entry in folder.iterdir() if is_event(entry)]
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise OutputFailed(
            f"cannot be looked into ({error.strerror or error})", str(folder), "check the folder"
        ) from error
    return tuple(sorted(map(read_card, entries), key=lambda card: (_moment(card), card.name)))


def _moment(card: EventCard) -> float:
    """When it was, whatever the clocks of the place were set to; before all others if unknown."""
    try:
        return datetime.fromisoformat(card.started_at).timestamp()
    except (ValueError, OverflowError, OSError):
        return -math.inf


def read_card(path: Path) -> EventCard:
    """What a list shows of the event at ``path``; a damaged one says so in its words."""
    name = path.name.removesuffix(PART_SUFFIX)
    converted = (path / "event.json").is_file()
    spool = path / "spool"
    where = path / "event.json" if converted else spool / "start.json"
    try:
        data: dict[str, Any] = json.loads(where.read_bytes())
        spotted = data["spotted"]
        frames = data.get("frames")
        poster = path / "poster.png"
        return EventCard(
            path=path,
            name=name,
            cause=Cause(data["cause"]),
            strength=float(spotted[0]["strength"]),
            sparks=len(spotted) + (0 if converted else _further_sparks(spool)),
            started_at=str(data["started_at"]),
            frames=None if frames is None else int(frames["count"]),
            complete=bool(data.get("complete", False)),
            converted=converted,
            poster=poster if poster.is_file() else None,
            words="" if converted else "not compressed yet",
        )
    except (OSError, ValueError, KeyError, TypeError, IndexError, OverflowError) as error:
        words = f"cannot be read ({error!r})"
        return EventCard(path, name, None, None, 0, "", None, False, converted, None, words)


def _further_sparks(spool: Path) -> int:
    """Sparks that came while the event was under way: whole lines of their file."""
    marks = spool / "marks.jsonl"
    return marks.read_bytes().count(b"\n") if marks.is_file() else 0


def to_bin(path: Path) -> Path:
    """Move an event into the bin beside it; returns where it is now, for :func:`restore`.

    Raises
    ------
    OutputFailed
        It cannot be moved.
    """
    return _moved(path, path.parent / BIN)


def restore(binned: Path) -> Path:
    """Undo :func:`to_bin`; nothing is overwritten, a taken name gets a number.

    Raises
    ------
    OutputFailed
        It cannot be moved.
    """
    return _moved(binned, binned.parent.parent)


def _moved(path: Path, folder: Path) -> Path:
    try:
        folder.mkdir(exist_ok=True)
        return path.rename(final_path(folder / path.name))
    except OSError as error:
        raise OutputFailed(
            f"cannot be moved ({error.strerror or error})", str(path), "check the folder"
        ) from error
