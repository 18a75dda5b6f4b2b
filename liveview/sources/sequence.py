"""What sequences of stills have in common: their times and what they say of themselves."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from liveview.model import FrameStamp, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.limits import checked_white
from liveview.sources.picture import Picture
from liveview.sources.sidecar import Times, find_times, read_times

ASSUMED_RATE_HZ = 1.0
"""Pictures a second where nothing tells; only the order then means anything, and it is said."""


@dataclass(frozen=True, slots=True)
class Clock:
    """Times of the pictures of a sequence: from a table, a rate, or assumed."""

    table: Times | None
    rate_hz: float | None

    def stamp(self, index: int) -> FrameStamp:
        """Number and time of the picture at ``index`` (from 0)."""
        if self.table is not None:
            return self.table.stamp(index, self.rate_hz)
        return FrameStamp(index, index / (self.rate_hz or ASSUMED_RATE_HZ))

    @property
    def known_rate_hz(self) -> float | None:
        """The frame rate, None where it is only assumed."""
        return self.table.rate_hz if self.table is not None else self.rate_hz

    def note(self, pictures: int) -> str:
        """Where the times come from, in words."""
        if self.table is not None:
            if len(self.table) != pictures:
                return f"the table of times has {len(self.table)} lines for {pictures} pictures"
            return "times from the table beside the pictures"
        if self.rate_hz is not None:
            return ""
        return (
            f"no times are given: counted at {ASSUMED_RATE_HZ:g} picture a second; "
            "set camera.rate (--rate)"
        )


def clock_for(place: Path, camera: Camera) -> Clock:
    """The times of the pictures in a folder or file.

    Raises
    ------
    InputUnreadable
        A table of times is there but wrong.
    """
    table = find_times(place)
    return Clock(None if table is None else read_times(table), camera.rate_hz)


def sequence_info(
    kind: SourceKind,
    name: str,
    first: Picture,
    camera: Camera,
    clock: Clock,
    pictures: int,
    where: str,
    more: str = "",
    *,
    span: int | None = None,
) -> SourceInfo:
    """What a sequence of stills says of itself; ``span`` counts missing ``pictures``, too.

    Raises
    ------
    BadRequest
        ``camera.white`` is larger than the codes can be.
    """
    height, width = first.pixels.shape[:2]
    top = 255 if first.bits <= 8 else 65535
    rate = clock.known_rate_hz
    return SourceInfo(
        kind=kind,
        name=name,
        width=width,
        height=height,
        channels=first.channels,
        bits=first.bits,
        white=checked_white(camera.white, first.white, top, where),
        live=False,
        rate_hz=rate,
        frames=pictures,
        seconds=None if rate is None else (span or pictures) / rate,
        row_time_s=camera.row_time_s,
        exposure_s=camera.exposure_s,
        note="; ".join(filter(None, (more, clock.note(pictures)))),
    )


_DIGITS = re.compile(r"(\d+)")


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key by which ``frame2`` comes before ``frame10``."""
    parts = _DIGITS.split(name.casefold())
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part)
