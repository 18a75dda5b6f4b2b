"""The raw spool: what is on the disk from the first moment of an event.

``NAME.part/spool/`` holds::

    start.json      the event's description, written whole before anything else
    dark.npy ...    calibration pictures (float32 light), dark_clipped.npy ... their masks
    frames.raw      pixels, one frame after another, as they came
    frames.idx      one record of 48 bytes a frame: number, times, checksum of the pixels
    sound.raw       float32 samples, interleaved
    sound.idx       one record of 52 bytes a block: place, times, losses, checksum
    marks.jsonl     further sparks, one line each
    end.json        written whole at the end

A record is written after the data it speaks of, and carries its own checksum (CRC-32), so what a
crash or a full disk leaves is known exactly: everything up to the first record that does not
hold. All numbers are little-endian.
"""

from __future__ import annotations

import errno
import json
import math
import os
import struct
import zlib
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from liveview.model import (
    Average,
    CalibrationKind,
    EventStart,
    Frame,
    SoundBlock,
    Spotted,
)
from liveview.recorder import pictures
from liveview.recorder.description import (
    describe_spotted,
    describe_start,
)
from liveview.recorder.files import Room, sync_file, sync_folder, write_at, write_json

SPOOL = "spool"
NS = 1_000_000_000

FRAME_FORM = struct.Struct("<4sqqqqB3xI")
SOUND_FORM = struct.Struct("<4sqqqqqI")
CHECK_FORM = struct.Struct("<I")
FRAME_MARK, SOUND_MARK = b"LVF1", b"LVS1"
FRAME_RECORD = FRAME_FORM.size + CHECK_FORM.size
SOUND_RECORD = SOUND_FORM.size + CHECK_FORM.size
_GROWING = ("frames.raw", "frames.idx", "sound.raw", "sound.idx", "marks.jsonl")


def to_ns(seconds: float) -> int:
    """Seconds to whole nanoseconds."""
    return round(seconds * NS)


def _sealed(body: bytes) -> bytes:
    return body + CHECK_FORM.pack(zlib.crc32(body))


class ReadBackFailed(OSError):
    """What was written to a spool cannot be read back."""


class SpoolWriter:
    """Writes one event's spool. Every method may raise OSError and may then be tried again.

    ::

        SpoolWriter(part, start) --add_*, mark--> ... --end()--> files closed

    Parameters
    ----------
    part : Path
        Existing folder, name ending in ``.part``.
    start : EventStart
        Its source fixes the shape and type of the frames.
    room : Room
        Asked before anything is written.
    """

    def __init__(self, part: Path, start: EventStart, room: Room) -> None:
        self.part = part
        self.start = start
        self._room = room
        self._folder = part / SPOOL
        self._folder.mkdir(exist_ok=True)
        self._frame_bytes = int(np.prod(start.source.shape)) * start.source.dtype.itemsize
        self.frames = 0
        self._shows, self._named = 0, False
        """Which of its frames shows the spark, and whether the trigger named that one."""
        self._blocks = 0
        self._samples = 0
        self._marks_size = 0
        self._write_start()
        self._files = {name: self._create(name) for name in _GROWING}
        sync_folder(self._folder)
        sync_folder(part)

    def _write_start(self) -> None:
        for kind in CalibrationKind:
            picture: Average | None = getattr(self.start.calibration, kind.value)
            if picture is not None:
                self._save(f"{kind.value}.npy", picture.light.astype("<f4", copy=False))
                if picture.clipped is not None:
                    self._save(f"{kind.value}_clipped.npy", picture.clipped)
        write_json(self._folder / "start.json", describe_start(self.start))

    def _save(self, name: str, array: NDArray[Any]) -> None:
        self._room.take(array.nbytes)
        with (self._folder / name).open("wb") as file:
            np.save(file, array, allow_pickle=False)
            file.flush()
            sync_file(file)

    def _create(self, name: str) -> IO[bytes]:
        return (self._folder / name).open("w+b", buffering=0)

    def add_frame(self, frame: Frame) -> None:
        """Append a frame: pixels first, then its record."""
        pixels = np.ascontiguousarray(frame.pixels)
        source = self.start.source
        if pixels.shape != source.shape or pixels.dtype != source.dtype:
            raise ValueError(
                f"frame {frame.number} is {pixels.shape} {pixels.dtype}, the event began with "
                f"{source.shape} {source.dtype}"
            )
        data = memoryview(pixels.data).cast("B")
        self._room.take(len(data) + FRAME_RECORD)
        write_at(self._files["frames.raw"], self.frames * self._frame_bytes, data)
        stamp = frame.stamp
        record = FRAME_FORM.pack(
            FRAME_MARK,
            stamp.number,
            to_ns(stamp.time_s),
            to_ns(stamp.error_s),
            stamp.device_ns or 0,
            stamp.device_ns is not None,
            zlib.crc32(data),
        )
        place = self.frames * FRAME_RECORD
        write_at(self._files["frames.idx"], place, memoryview(_sealed(record)))
        if stamp.time_s <= self.start.spotted.time_s and not self._named:
            self._shows = self.frames
        if stamp.number == self.start.spotted.frame:
            self._shows, self._named = self.frames, True
        self.frames += 1

    def add_sound(self, block: SoundBlock) -> None:
        """Append a block of sound."""
        samples = np.ascontiguousarray(block.samples, dtype="<f4")
        data = memoryview(samples.data).cast("B") if samples.size else memoryview(b"")
        channels = self.start.sound.channels if self.start.sound else samples.shape[1]
        if samples.ndim != 2 or samples.shape[1] != channels:
            raise ValueError(f"sound of shape {samples.shape}, expected (samples, {channels})")
        if self.start.sound and block.rate_hz != self.start.sound.rate_hz:
            raise ValueError(
                f"sound of {block.rate_hz:g} Hz, the event began with {self.start.sound.rate_hz:g}"
            )
        self._room.take(len(data) + SOUND_RECORD)
        write_at(self._files["sound.raw"], self._samples * channels * 4, data)
        record = SOUND_FORM.pack(
            SOUND_MARK,
            self._samples,
            len(samples),
            to_ns(block.start_s),
            to_ns(block.error_s),
            block.lost_before,
            zlib.crc32(data),
        )
        place = self._blocks * SOUND_RECORD
        write_at(self._files["sound.idx"], place, memoryview(_sealed(record)))
        self._blocks += 1
        self._samples += len(samples)

    def mark(self, spotted: Spotted) -> None:
        """Note a further spark."""
        line = (json.dumps(describe_spotted(spotted)) + "\n").encode("utf-8")
        self._room.take(len(line))
        write_at(self._files["marks.jsonl"], self._marks_size, memoryview(line))
        self._marks_size += len(line)

    def sync(self) -> None:
        """Put what is written on the disk."""
        for file in self._files.values():
            sync_file(file)

    def check_place(self) -> None:
        """Raise OSError (ENOENT) when the files are no longer where they were made."""
        path = self._folder / "frames.raw"
        here, there = os.fstat(self._files["frames.raw"].fileno()), path.stat()
        if (here.st_ino, here.st_dev) != (there.st_ino, there.st_dev):
            raise FileNotFoundError(2, "replaced by another file", str(path))

    def end(self, complete: bool, dropped: int) -> None:
        """Finish: everything on the disk, then the end mark.

        Parameters
        ----------
        complete : bool
            False when the event was cut short.
        dropped : int
            Frames of the event that could not be kept.
        """
        self.check_place()
        self.sync()
        end = {"complete": complete, "dropped_frames": dropped, "frames": self.frames}
        write_json(self._folder / "end.json", end)
        sync_folder(self._folder)
        self.close()

    def close(self) -> None:
        """Close the files; harmless when called twice."""
        for file in self._files.values():
            file.close()

    def write_poster(self) -> None:
        """``poster.png``, for lists, until the conversion makes it again; after ``end``."""
        if not self.frames:
            return
        source = self.start.source
        offset = self._shows * self._frame_bytes
        path, codes = self._folder / "frames.raw", math.prod(source.shape)
        raw = np.fromfile(path, source.dtype, codes, offset=offset)
        if raw.size < codes:
            raise OSError(errno.EIO, "was cut short", str(path))
        small = pictures.poster(raw.reshape(source.shape), source.white)
        pictures.write_png(self.part / "poster.png", small)

    def copy_into(self, other: SpoolWriter) -> None:
        """Give a fresh writer at another place all that was written here.

        Reads through the open files, so it works even after the folder was deleted.

        Raises
        ------
        ReadBackFailed
            What was written cannot be read any more (the disk is gone); the other is as fresh
            as it was.
        OSError
            The other place refuses.
        """
        sizes = {
            "frames.raw": self.frames * self._frame_bytes,
            "frames.idx": self.frames * FRAME_RECORD,
            "sound.raw": self._samples * 4 * self._channels,
            "sound.idx": self._blocks * SOUND_RECORD,
            "marks.jsonl": self._marks_size,
        }
        try:
            for name, size in sizes.items():
                other._copy(self._files[name], name, size)
        except ReadBackFailed:
            for file in other._files.values():
                file.truncate(0)
            raise
        other.frames, other._blocks, other._samples = self.frames, self._blocks, self._samples
        other._shows, other._named = self._shows, self._named
        other._marks_size = self._marks_size

    @property
    def _channels(self) -> int:
        return self.start.sound.channels if self.start.sound else 1

    def _copy(self, source: IO[bytes], name: str, size: int) -> None:
        done = 0
        while done < size:
            try:
                source.seek(done)
                chunk = source.read(min(1 << 22, size - done))
            except OSError as error:
                raise ReadBackFailed(error.errno, str(error)) from error
            if not chunk:
                raise ReadBackFailed(errno.EIO, f"{name} is shorter than what was written")
            self._room.take(len(chunk))
            write_at(self._files[name], done, memoryview(chunk))
            done += len(chunk)
