"""Reading a raw spool back, finished or left by a crash; see ``spool`` for its layout."""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.model import Calibration, EventStart, FrameStamp, Pixels, Spotted
from liveview.recorder.description import (
    DAMAGE,
    check_schema,
    parsed,
    read_average,
    read_spotted,
    read_start,
)
from liveview.recorder.spool import (
    CHECK_FORM,
    FRAME_FORM,
    FRAME_MARK,
    NS,
    SOUND_FORM,
    SOUND_MARK,
    SPOOL,
)


@dataclass(frozen=True, slots=True)
class SoundRecord:
    """Where a block of sound stands in the track and when it was taken."""

    first_sample: int
    samples: int
    start_ns: int
    error_ns: int
    lost_before: int


def _unsealed(record: bytes, form: struct.Struct, mark: bytes) -> tuple[Any, ...] | None:
    body, check = record[: form.size], record[form.size :]
    if len(check) < CHECK_FORM.size or CHECK_FORM.unpack(check)[0] != zlib.crc32(body):
        return None
    values = form.unpack(body)
    return values[1:] if values[0] == mark else None


class SpoolReader:
    """Reads a spool, finished or not; everything whose record holds.

    Parameters
    ----------
    part : Path
        The unfinished event folder.
    verify : bool
        Check all pixels and samples now and leave out what is damaged; else a damaged frame is
        found when it is read.

    Raises
    ------
    InputUnreadable
        The description is missing or damaged.
    """

    def __init__(self, part: Path, *, verify: bool = False) -> None:
        self.part = part
        self._folder = part / SPOOL
        self.data = self._description()
        self.start = self._start()
        self._frame_bytes = int(np.prod(self.start.source.shape)) * self.start.source.dtype.itemsize
        self.damaged_blocks = 0
        self._raw: IO[bytes] | None = None
        self._sound: IO[bytes] | None = None
        try:
            self._raw = self._open("frames.raw")
            self._sound = self._open("sound.raw")
            self.stamps, self._checks = self._frame_records()
            self.sound_records = self._sound_records()
            self._slots = list(range(len(self.stamps)))
            if verify:
                self._drop_damaged()
            self.marks = self._marks()
            self.end = self._end()
        except BaseException:
            self.close()
            raise

    def _open(self, name: str) -> IO[bytes] | None:
        path = self._folder / name
        return path.open("rb") if path.exists() else None

    def _description(self) -> dict[str, Any]:
        path = self._folder / "start.json"
        try:
            data = parsed(path.read_bytes())
        except (OSError, ValueError) as error:
            raise InputUnreadable("the event's description is missing", str(path)) from error
        return dict(check_schema(data, str(path)))

    def _start(self) -> EventStart:
        try:
            return read_start(self.data, self._calibration())
        except DAMAGE as error:
            raise InputUnreadable(
                f"the event's description is damaged ({error})", str(self._folder / "start.json")
            ) from error

    def _calibration(self) -> Calibration:
        pictures = {}
        for kind, data in self.data.get("calibration", {}).items():
            light = self._load(f"{kind}.npy")
            if light is not None:
                pictures[kind] = read_average(data, light, self._load(f"{kind}_clipped.npy"))
        return Calibration(**pictures)

    def _load(self, name: str) -> NDArray[Any] | None:
        path = self._folder / name
        if not path.exists():
            return None
        try:
            return np.asarray(np.load(path, allow_pickle=False))
        except (OSError, ValueError) as error:
            raise InputUnreadable("damaged calibration picture", str(path)) from error

    def _records(self, name: str, form: struct.Struct, mark: bytes) -> Iterator[tuple[Any, ...]]:
        path = self._folder / name
        raw = path.read_bytes() if path.exists() else b""
        size = form.size + CHECK_FORM.size
        for at in range(0, len(raw) - size + 1, size):
            values = _unsealed(raw[at : at + size], form, mark)
            if values is None:
                return
            yield values

    def _frame_records(self) -> tuple[list[FrameStamp], list[int]]:
        stamps: list[FrameStamp] = []
        checks: list[int] = []
        room = self._size(self._raw) // self._frame_bytes
        for number, time, error, device, has_device, check in self._records(
            "frames.idx", FRAME_FORM, FRAME_MARK
        ):
            if len(stamps) >= room:
                break
            stamp = FrameStamp(number, time / NS, error / NS, device if has_device else None)
            stamps.append(stamp)
            checks.append(check)
        return stamps, checks

    def _sound_records(self) -> list[tuple[SoundRecord, int]]:
        room = self._size(self._sound) // (4 * self.channels)
        records: list[tuple[SoundRecord, int]] = []
        for *values, check in self._records("sound.idx", SOUND_FORM, SOUND_MARK):
            record = SoundRecord(*values)
            if record.first_sample + record.samples > room:
                break
            records.append((record, check))
        return records

    @staticmethod
    def _size(file: IO[bytes] | None) -> int:
        return 0 if file is None else os.fstat(file.fileno()).st_size

    def _drop_damaged(self) -> None:
        """After a power cut the records may be there and their data not: leave those out."""
        good = [slot for slot in self._slots if self._holds(slot)]
        self.stamps = [self.stamps[slot] for slot in good]
        self._slots = good
        records = self.sound_records
        self.sound_records = [
            (record, check)
            for record, check in records
            if zlib.crc32(self._sound_data(record)) == check
        ]
        self.damaged_blocks = len(records) - len(self.sound_records)

    def _holds(self, slot: int) -> bool:
        return zlib.crc32(self._frame_data(slot)) == self._checks[slot]

    def _marks(self) -> list[Spotted]:
        path = self._folder / "marks.jsonl"
        marks = []
        for line in path.read_bytes().split(b"\n")[:-1] if path.exists() else ():
            try:
                marks.append(read_spotted(parsed(line)))
            except DAMAGE:
                break
        return marks

    def _end(self) -> dict[str, Any] | None:
        path = self._folder / "end.json"
        try:
            data = parsed(path.read_bytes())
        except (OSError, ValueError):
            return None
        return data if isinstance(data, dict) else None

    @property
    def channels(self) -> int:
        """Channels of the sound, 1 without sound."""
        return self.start.sound.channels if self.start.sound else 1

    @property
    def complete(self) -> bool:
        """True when it was ended properly and all that was written of it is readable."""
        if self.end is None or not self.end.get("complete") or self.damaged_blocks:
            return False
        return self.end.get("frames") == len(self.stamps)

    @property
    def damaged(self) -> int:
        """Frames whose record is there but whose pixels are not (found with ``verify``)."""
        return len(self._checks) - len(self.stamps)

    @property
    def dropped(self) -> int:
        """Frames of the event that the recorder could not keep."""
        return int((self.end or {}).get("dropped_frames", 0))

    def _frame_data(self, slot: int) -> bytes:
        assert self._raw is not None
        self._raw.seek(slot * self._frame_bytes)
        return self._raw.read(self._frame_bytes)

    def _sound_data(self, record: SoundRecord) -> bytes:
        assert self._sound is not None
        self._sound.seek(record.first_sample * 4 * self.channels)
        return self._sound.read(record.samples * 4 * self.channels)

    def pixels(self, index: int) -> Pixels:
        """Pixels of frame ``index`` (0 .. len(stamps) - 1), read-only.

        Raises
        ------
        InputUnreadable
            The checksum does not hold.
        """
        slot = self._slots[index]
        data = self._frame_data(slot)
        if zlib.crc32(data) != self._checks[slot]:
            raise InputUnreadable(f"frame {index} is damaged", str(self._folder / "frames.raw"))
        source = self.start.source
        return np.frombuffer(data, source.dtype).reshape(source.shape)

    def samples(self, record: SoundRecord) -> NDArray[np.float32]:
        """Samples of one block, (samples, channels)."""
        data = self._sound_data(record)
        return np.frombuffer(data, "<f4").reshape(-1, self.channels).astype(np.float32, copy=False)

    def close(self) -> None:
        """Close the files; harmless when called twice."""
        for file in (self._raw, self._sound):
            if file is not None:
                file.close()
