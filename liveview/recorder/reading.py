"""Reading events back: finished folders, and unfinished ones straight from their raw spool."""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.model import (
    Average,
    Calibration,
    CalibrationKind,
    EventStart,
    Frame,
    FrameStamp,
    Pixels,
    SoundBlock,
    Spotted,
)
from liveview.recorder import pictures, tables
from liveview.recorder.convert import CLIPPED_BITS, spark_index
from liveview.recorder.description import (
    DAMAGE,
    check_schema,
    parsed,
    read_average,
    read_spotted,
    read_start,
)
from liveview.recorder.files import PART_SUFFIX
from liveview.recorder.matroska import Place, RandomFrames, read_sound
from liveview.recorder.names import safe_name
from liveview.recorder.spool import NS, SPOOL
from liveview.recorder.unspool import SoundRecord, SpoolReader


class _Frames(Protocol):
    """Pixels by index."""

    def pixels(self, index: int) -> Pixels: ...

    def close(self) -> None: ...


class _NoFrames:
    """An event that kept sound only."""

    def pixels(self, index: int) -> Pixels:
        raise InputUnreadable(f"holds no frame {index}", "event")

    def close(self) -> None:
        pass


def is_event(path: Path) -> bool:
    """True for a folder that looks like an event, finished or not."""
    return (path / "event.json").is_file() or (path / SPOOL / "start.json").is_file()


class StoredEvent:
    """One event on the disk. Frames by index, exact times, sound, and all that goes with it.

    Open it with :meth:`open`, close it or use it in a ``with``. Methods may be called from any
    thread; one frame at a time is decoded, while frames read before are given out at once.

    Attributes
    ----------
    path : Path
        The folder.
    start : EventStart
        Cause, source, sound source, calibration, settings and disc as they were at the trigger.
    spotted : tuple of Spotted
        All sparks, the one that started the event first.
    stamps : tuple of FrameStamp
        Number and exact time of each frame, in order.
    complete : bool
        False when the event was cut short, is not finished yet, or frames are damaged.
    raw : bool
        True while only the raw spool is there.
    data : mapping
        The whole ``event.json``.
    """

    def __init__(
        self,
        path: Path,
        start: EventStart,
        spotted: tuple[Spotted, ...],
        stamps: tuple[FrameStamp, ...],
        frames: _Frames,
        data: Mapping[str, Any],
        *,
        complete: bool,
        raw: bool,
        cache_frames: int = 8,
    ) -> None:
        self.path = path
        self.start = start
        self.spotted = spotted
        self.stamps = stamps
        self.complete = complete
        self.raw = raw
        self.data = data
        self._frames = frames
        self._cache: OrderedDict[int, Pixels] = OrderedDict()
        self._cache_frames = cache_frames
        self._lock = threading.Lock()
        self._decoding = threading.Lock()
        self._times = [stamp.time_s for stamp in stamps]

    @classmethod
    def open(cls, path: Path | str) -> StoredEvent:
        """Open an event folder, or a ``.part`` one with its raw spool.

        Raises
        ------
        InputUnreadable
            Not an event, damaged, or of a newer version; one line that says which.
        """
        path = Path(path)
        try:
            if (path / "event.json").is_file():
                return _open_finished(path)
            if (path / SPOOL).is_dir():
                return _open_spool(path)
        except OSError as error:
            raise InputUnreadable(
                f"cannot be read ({error.strerror or error})", str(path), "check the folder"
            ) from error
        raise InputUnreadable(
            "is not an event folder", str(path), "give a folder that holds an event.json"
        )

    def __enter__(self) -> StoredEvent:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __len__(self) -> int:
        return len(self.stamps)

    @property
    def name(self) -> str:
        """The event's name, without ``.part``."""
        return self.path.name.removesuffix(PART_SUFFIX)

    @property
    def duration_s(self) -> float:
        """From the first frame's start to the last's, seconds."""
        return self._times[-1] - self._times[0] if self._times else 0.0

    @property
    def rate_hz(self) -> float | None:
        """Median frame rate from the exact times; of fewer than two frames the source's."""
        return tables.median_rate_hz(self.stamps) or self.start.source.rate_hz

    @property
    def lost_before(self) -> list[int]:
        """For each frame, how many were lost just before it."""
        return tables.lost_before(self.stamps)

    @property
    def spark_index(self) -> int:
        """Index of the frame that shows the spark that started the event."""
        return spark_index(self.start.spotted, self.stamps)

    def index_at(self, time_s: float) -> int:
        """Index of the last frame begun at or before ``time_s`` (session clock), at least 0."""
        return max(0, bisect_right(self._times, time_s) - 1)

    def frame(self, index: int) -> Frame:
        """Frame ``index``; its pixels are read-only and stay valid.

        Raises
        ------
        IndexError
            Not in 0 .. len - 1.
        InputUnreadable
            The frame is damaged; others may still be read.
        """
        if not 0 <= index < len(self.stamps):
            raise IndexError(f"frame {index} of {len(self.stamps)}")
        pixels = self._cached(index)
        if pixels is None:
            with self._decoding:
                # Another thread may have read it in the meantime.
                pixels = self._cached(index)
                if pixels is None:
                    pixels = self._decoded(index)
        return Frame(pixels, self.stamps[index], self.start.source.white)

    def _cached(self, index: int) -> Pixels | None:
        with self._lock:
            pixels = self._cache.get(index)
            if pixels is not None:
                self._cache.move_to_end(index)
            return pixels

    def _decoded(self, index: int) -> Pixels:
        pixels = self._frames.pixels(index)
        source = self.start.source
        if pixels.shape != source.shape or pixels.dtype != source.dtype:
            raise InputUnreadable(
                f"frame {index} is of another size or kind than the event says", str(self.path)
            )
        pixels.flags.writeable = False
        with self._lock:
            self._cache[index] = pixels
            if len(self._cache) > self._cache_frames:
                self._cache.popitem(last=False)
        return pixels

    def frames(self, first: int = 0, last: int | None = None) -> Iterator[Frame]:
        """Frames ``first`` .. ``last`` - 1 in order."""
        for index in range(first, len(self.stamps) if last is None else last):
            yield self.frame(index)

    def sound(self) -> tuple[SoundBlock, ...]:
        """The sound in blocks with their exact times; empty without.

        Raises
        ------
        InputUnreadable
            The track is damaged.
        """
        info = self.start.sound
        if info is None:
            return ()
        blocks = _spool_sound(self.path) if self.raw else _track_sound(self.path)
        return tuple(
            SoundBlock(
                samples,
                info.rate_hz,
                record.start_ns / NS,
                record.error_ns / NS,
                record.lost_before,
            )
            for record, samples in blocks
        )

    def close(self) -> None:
        """Close the files; harmless when called twice."""
        with self._decoding:
            self._frames.close()


_SoundBlocks = list[tuple[SoundRecord, NDArray[np.float32]]]


def _spool_sound(path: Path) -> _SoundBlocks:
    reader = SpoolReader(path)
    try:
        return [(record, reader.samples(record)) for record, _ in reader.sound_records]
    finally:
        reader.close()


def _track_sound(path: Path) -> _SoundBlocks:
    records = tables.read_sound_table(path / "sound.csv")
    if not records:
        return []
    runs = list(read_sound(path / "frames.mkv"))
    track = np.concatenate(runs) if runs else np.zeros((0, 1), np.float32)
    blocks = []
    for record in records:
        end = record.first_sample + record.samples
        if not 0 <= record.first_sample <= end <= len(track):
            raise InputUnreadable("the sound track is too short", str(path / "frames.mkv"))
        blocks.append((record, track[record.first_sample : end]))
    return blocks


def _open_spool(path: Path) -> StoredEvent:
    reader = SpoolReader(path)
    spotted = (reader.start.spotted, *reader.marks)
    stamps = tuple(reader.stamps)
    return StoredEvent(
        path, reader.start, spotted, stamps, reader, reader.data, complete=False, raw=True
    )


def _open_finished(path: Path) -> StoredEvent:
    where = path / "event.json"
    try:
        data = check_schema(parsed(where.read_bytes()), str(where))
    except ValueError as error:
        raise InputUnreadable("is damaged (not JSON)", str(where)) from error
    try:
        start = read_start(data, _calibration(path, data["calibration"]))
        spotted = tuple(read_spotted(item) for item in data["spotted"])
        expected, size = int(data["frames"]["count"]), int(data["frames"]["file_bytes"])
        complete = bool(data["complete"])
    except DAMAGE as error:
        raise InputUnreadable(f"is damaged ({error!r})", str(where)) from error
    stamps, places = tables.read_times(path / "times.csv")
    frames: _Frames = _NoFrames()
    if stamps:
        frames = _random_frames(path / "frames.mkv", places, size)
        assert isinstance(frames, RandomFrames)
        whole = len(stamps) == expected == len(frames)
        complete = complete and whole
        stamps = stamps[: len(frames)]
    return StoredEvent(
        path, start, spotted, tuple(stamps), frames, data, complete=complete, raw=False
    )


def _random_frames(path: Path, places: list[Place], size: int) -> RandomFrames:
    """Use the stored places when the file is the one they were made for."""
    try:
        same = path.stat().st_size == size and all(place.offset >= 0 for place in places)
    except OSError as error:
        raise InputUnreadable("the recording is missing", str(path)) from error
    return RandomFrames(path, places if same else None)


def _calibration(path: Path, described: Mapping[str, Any]) -> Calibration:
    mask = None
    if "clipped" in described:
        mask = pictures.read_png(path / _own_name(described["clipped"]["file"]))
    found: dict[str, Average] = {}
    for kind in CalibrationKind:
        data = described.get(kind.value)
        if data is None:
            continue
        light = pictures.codes_to_light(
            pictures.read_png(path / f"{kind.value}.png"), float(data["full_scale"])
        )
        clipped = None if mask is None else (mask & CLIPPED_BITS[kind.value]) != 0
        found[kind.value] = read_average(data, light, clipped)
    return Calibration(**found)


def _own_name(name: str) -> str:
    """The name of a file of the event's own; ValueError when it points elsewhere."""
    if name != safe_name(name):
        raise ValueError(f"names a file outside of the event: {name[:40]!r}")
    return name
