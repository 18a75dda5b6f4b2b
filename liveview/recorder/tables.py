"""``times.csv`` and ``sound.csv``: the exact times beside the recording.

``times.csv`` has one row per frame of ``frames.mkv`` in order::

    index         0, 1, 2 ... in the file
    frame         the frame's number at its source; a jump is a loss
    time_ns       start of its exposure on the session's clock, nanoseconds
    error_ns      how wrong that may be
    device_ns     the driver's own clock, empty where there is none
    lost_before   frames lost just before this one
    byte_offset   where its coded data start in frames.mkv
    byte_size     and how long they are
    byte_crc32    their CRC-32

``sound.csv`` has one row per block of sound: ``first_sample`` (in the sound track), ``samples``,
``start_ns``, ``error_ns``, ``lost_before`` (samples missing before it; the track holds silence
there so that it stays in step with the pictures).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from liveview.errors import InputUnreadable
from liveview.model import FrameStamp
from liveview.recorder.files import write_whole
from liveview.recorder.matroska import Place
from liveview.recorder.spool import NS, to_ns
from liveview.recorder.unspool import SoundRecord

TIMES = (
    "index",
    "frame",
    "time_ns",
    "error_ns",
    "device_ns",
    "lost_before",
    "byte_offset",
    "byte_size",
    "byte_crc32",
)
SOUND = ("first_sample", "samples", "start_ns", "error_ns", "lost_before")


def lost_before(stamps: Sequence[FrameStamp]) -> list[int]:
    """For each frame, how many numbers are missing just before it."""
    numbers = [stamp.number for stamp in stamps]
    pairs = zip(numbers[1:], numbers[:-1], strict=True)
    return [0, *(max(0, b - a - 1) for b, a in pairs)][: len(numbers)]


def median_rate_hz(stamps: Sequence[FrameStamp]) -> float | None:
    """Median frame rate from the exact times, Hz; None for fewer than two frames."""
    steps = np.diff([stamp.time_s for stamp in stamps])
    steps = steps / np.maximum(1, np.diff([stamp.number for stamp in stamps]))
    steps = steps[steps > 0]
    return float(1.0 / np.median(steps)) if len(steps) else None


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(header)
    table.writerows(rows)
    write_whole(path, text.getvalue().encode("ascii"))


def write_times(path: Path, stamps: Sequence[FrameStamp], places: Sequence[Place]) -> None:
    """Write ``times.csv``."""
    lost = lost_before(stamps)
    rows = (
        (
            index,
            stamp.number,
            to_ns(stamp.time_s),
            to_ns(stamp.error_s),
            "" if stamp.device_ns is None else stamp.device_ns,
            lost[index],
            place.offset,
            place.size,
            place.check,
        )
        for index, (stamp, place) in enumerate(zip(stamps, places, strict=True))
    )
    _write(path, TIMES, rows)


def write_sound(path: Path, records: Iterable[SoundRecord]) -> None:
    """Write ``sound.csv``."""
    rows = ((r.first_sample, r.samples, r.start_ns, r.error_ns, r.lost_before) for r in records)
    _write(path, SOUND, rows)


def _read(path: Path) -> list[dict[str, str]]:
    try:
        with path.open(newline="", encoding="ascii") as file:
            return list(csv.DictReader(file))
    except (OSError, ValueError, csv.Error) as error:
        raise InputUnreadable("cannot read this table", str(path)) from error


def read_times(path: Path) -> tuple[list[FrameStamp], list[Place]]:
    """Read ``times.csv`` back.

    Raises
    ------
    InputUnreadable
        Missing or damaged; names the line.
    """
    stamps, places = [], []
    for line, row in enumerate(_read(path), start=2):
        try:
            device = row["device_ns"]
            stamps.append(
                FrameStamp(
                    int(row["frame"]),
                    int(row["time_ns"]) / NS,
                    int(row["error_ns"]) / NS,
                    int(device) if device else None,
                )
            )
            places.append(Place(*(int(row[name]) for name in TIMES[-3:])))
        except (KeyError, ValueError, TypeError, OverflowError) as error:
            raise InputUnreadable(f"line {line} is damaged", str(path)) from error
    return stamps, places


def read_sound_table(path: Path) -> list[SoundRecord]:
    """Read ``sound.csv`` back; empty when there is none.

    Raises
    ------
    InputUnreadable
        Damaged; names the line.
    """
    if not path.exists():
        return []
    records = []
    for line, row in enumerate(_read(path), start=2):
        try:
            records.append(SoundRecord(*(int(row[name]) for name in SOUND)))
        except (KeyError, ValueError, TypeError, OverflowError) as error:
            raise InputUnreadable(f"line {line} is damaged", str(path)) from error
    return records
