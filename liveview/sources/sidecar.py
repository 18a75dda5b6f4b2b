"""Exact frame times from a table beside a recording (``times.csv``).

The first line names the columns. One column holds the time: ``time_s``, ``time_ms``, ``time_us``
or ``time_ns`` (also ``time``, ``t`` or ``seconds``, in seconds). ``frame`` or ``number``, where
present, counts frames including lost ones; ``device_ns`` is the camera's own clock.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path

from liveview.errors import InputUnreadable
from liveview.model import FrameStamp

_TIME_COLUMNS = {
    "time_ns": Decimal("1e-9"),
    "time_us": Decimal("1e-6"),
    "time_ms": Decimal("1e-3"),
    "time_s": Decimal(1),
    "time": Decimal(1),
    "t": Decimal(1),
    "seconds": Decimal(1),
}
_NUMBER_COLUMNS = ("frame", "number", "index")
_WALL_CLOCK_S = Decimal(1_000_000)
"""Times from here on are those of a wall clock (or of a computer on for eleven days)."""
MAX_ROWS = 50_000_000


@dataclass(frozen=True, slots=True)
class Times:
    """Time, number and camera clock of every stored frame."""

    seconds: tuple[float, ...]
    numbers: tuple[int, ...]
    device_ns: tuple[int | None, ...]

    def __len__(self) -> int:
        return len(self.seconds)

    @property
    def rate_hz(self) -> float | None:
        """Mean frame rate over the numbers; None for fewer than two frames."""
        if len(self.seconds) < 2 or self.seconds[-1] <= self.seconds[0]:
            return None
        return (self.numbers[-1] - self.numbers[0]) / (self.seconds[-1] - self.seconds[0])

    def stamp(self, index: int, rate_hz: float | None = None) -> FrameStamp:
        """Stamp of the stored frame at ``index``; beyond the end, counted on at the mean rate.

        Parameters
        ----------
        index : int
        rate_hz : float, optional
            For a table of one line, which has no rate.
        """
        if index < len(self.seconds):
            return FrameStamp(self.numbers[index], self.seconds[index], 0.0, self.device_ns[index])
        beyond, step = 1 + index - len(self.seconds), 1.0 / (self.rate_hz or rate_hz or 1.0)
        return FrameStamp(self.numbers[-1] + beyond, self.seconds[-1] + beyond * step, step)


def find_times(recording: Path) -> Path | None:
    """The table that belongs to a recording, or None.

    ``clip.times.csv`` beside ``clip.mkv``; ``times.csv`` inside a folder of images, or beside a
    file that is the only video there.
    """
    if recording.is_dir():
        inside = recording / "times.csv"
        return inside if inside.is_file() else None
    own = (recording.with_suffix(".times.csv"), recording.with_name(recording.name + ".times.csv"))
    for path in own:
        if path.is_file():
            return path
    shared = recording.with_name("times.csv")
    if shared.is_file() and _only_video(recording):
        return shared
    return None


_VIDEO_SUFFIXES = frozenset(
    f".{kind}"
    for kind in re.findall(r"\w+", "mkv mp4 avi mov webm nut m4v mpg mpeg ts mjpg tif tiff")
)


def _only_video(recording: Path) -> bool:
    others = (p for p in recording.parent.iterdir() if p.suffix.lower() in _VIDEO_SUFFIXES)
    return all(p.name == recording.name for p in others)


def read_times(path: Path) -> Times:
    """Read a table of frame times. Those of a wall clock are counted from the first frame.

    Raises
    ------
    InputUnreadable
        Not a table, no time column, or a line that is not a number or runs backwards.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            return _parse(csv.reader(file), str(path))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputUnreadable(f"the table of times cannot be read ({error})", str(path)) from error


def _parse(lines: Iterator[list[str]], where: str) -> Times:
    head = [name.strip().lower() for name in next(lines, [])]
    time_at, unit = _time_column(head, where)
    number_at = next((head.index(n) for n in _NUMBER_COLUMNS if n in head), None)
    device_at = head.index("device_ns") if "device_ns" in head else None
    seconds: list[float] = []
    numbers: list[int] = []
    device: list[int | None] = []
    start: Decimal | None = None
    for line, row in enumerate(lines, start=2):
        if not any(cell.strip() for cell in row):
            continue
        if any(cell.strip() for cell in row[len(head) :]):
            # Decimal commas: their first parts alone would pass for times.
            raise InputUnreadable(
                f"line {line} has more cells than the first", where, "write decimals with a point"
            )
        try:
            exact = Decimal(row[time_at].strip()) * unit
            if start is None:
                start = exact if exact >= _WALL_CLOCK_S else Decimal(0)
            value = float(exact - start)
            number = len(seconds) if number_at is None else int(row[number_at])
            clock = row[device_at].strip() if device_at is not None else ""
            device.append(int(clock) if clock else None)
        except (ValueError, IndexError, InvalidOperation) as error:
            raise InputUnreadable(
                f"line {line} is not a frame's time", where, "correct or remove the table"
            ) from error
        if not abs(value) < 1e12 or (numbers and (number <= numbers[-1] or value < seconds[-1])):
            raise InputUnreadable(
                f"line {line} runs backwards", where, "sort the table, or remove it"
            )
        numbers.append(number)
        seconds.append(value)
        if len(seconds) > MAX_ROWS:
            raise InputUnreadable(f"has over {MAX_ROWS} lines", where, "remove the table")
    if not seconds:
        raise InputUnreadable("holds no times", where, "remove or correct the table")
    return Times(tuple(seconds), tuple(n - numbers[0] for n in numbers), tuple(device))


def _time_column(head: Sequence[str], where: str) -> tuple[int, Decimal]:
    for name, unit in _TIME_COLUMNS.items():
        if name in head:
            return head.index(name), unit
    raise InputUnreadable(
        "has no column with times", where, "name it time_s, time_ms, time_us or time_ns"
    )
