"""From the raw spool to the finished event folder, verified before the spool is deleted.

::

    spool only --frames.mkv, tables, pictures--> verified --event.json--> spool deleted --> renamed

``event.json`` is written last and whole; once it is there the rest is right, so an interrupted
conversion is either finished or begun anew, never mixed.
"""

from __future__ import annotations

import dataclasses
import json
import math
import shutil
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import LiveviewError, OutputFailed
from liveview.model import Average, Calibration, CalibrationKind, FrameStamp, Spotted
from liveview.recorder import pictures, tables
from liveview.recorder.description import describe_spotted
from liveview.recorder.files import Lock, Room, sync_file, sync_folder, write_json
from liveview.recorder.matroska import (
    MOST_CHANNELS,
    EventFile,
    Place,
    SoundForm,
    exact_bits,
    pixel_format,
    read_frames,
    read_sound,
)
from liveview.recorder.names import final_path
from liveview.recorder.spool import NS, SPOOL, to_ns
from liveview.recorder.unspool import SoundRecord, SpoolReader

LOCK = "lock"
SOUND_HOLE_S = 0.1
"""Times of blocks that are farther apart than their samples tell by this are a hole."""
LONGEST_FILL_S = 60.0
"""Longer gaps in the sound are not filled with silence."""

CLIPPED_BITS = {"dark": 1, "open": 2, "reference": 4}


class Interrupted(LiveviewError):
    """The conversion was asked to stop; the spool is untouched and waits for the next time."""


def _never() -> bool:
    return False


def finish_part(part: Path, *, stop: Callable[[], bool] = _never, reserve_bytes: int = 0) -> Path:
    """Turn ``NAME.part`` into the finished event folder and return its path.

    Can be called again at any time after any interruption.

    Raises
    ------
    BlockingIOError
        Another program (or an event still being caught) holds it.
    Interrupted
        ``stop`` said so.
    OSError
        Disk full and the like; the spool stays.
    InputUnreadable, OutputFailed
        Damaged beyond reading; not bit-exact when read back. The spool stays.
    """
    lock = Lock(part / LOCK)
    try:
        if not _described(part):
            _convert(part, stop, Room(part, reserve_bytes))
        if (part / SPOOL).exists():
            shutil.rmtree(part / SPOOL)
    finally:
        lock.release()
    (part / LOCK).unlink(missing_ok=True)
    path = final_path(part)
    part.rename(path)
    sync_folder(path.parent)
    return path


def _described(part: Path) -> bool:
    try:
        return isinstance(json.loads((part / "event.json").read_bytes()), dict)
    except (OSError, ValueError):
        return False


def _convert(part: Path, stop: Callable[[], bool], room: Room) -> None:
    reader = SpoolReader(part, verify=True)
    try:
        forms: list[str | None] = [None]
        if reader.stamps:
            source = reader.start.source
            narrow, wide = pixel_format(source), pixel_format(source, wide=True)
            forms = [narrow] if narrow == wide else [narrow, wide]
        for form in forms:
            conversion = _Conversion(part, reader, form, stop, room)
            if conversion.run():
                return
        raise OutputFailed("did not read back bit for bit; kept raw", str(part))
    except BaseException:
        (part / "frames.mkv").unlink(missing_ok=True)
        raise
    finally:
        reader.close()


class _Conversion:
    """One attempt with one pixel format."""

    def __init__(
        self,
        part: Path,
        reader: SpoolReader,
        form: str | None,
        stop: Callable[[], bool],
        room: Room,
    ) -> None:
        self._part = part
        self._reader = reader
        self._form = form
        self._stop = stop
        self._room = room
        self._records = [record for record, _ in reader.sound_records]
        self._sound = self._sound_form()
        starts = [to_ns(stamp.time_s) for stamp in reader.stamps[:1]]
        starts += [record.start_ns for record in self._records[:1]]
        self._zero_ns = min(starts, default=0)

    def run(self) -> bool:
        """Write everything; False when the frames did not read back the same."""
        places: list[Place] = []
        track: list[SoundRecord] = []
        if self._form or self._sound:
            self._reserve()
            track = self._write_file()
            found = self._verified_places()
            if found is None or not self._sound_holds():
                return False
            places = found
        tables.write_times(self._part / "times.csv", self._reader.stamps, places)
        if track:
            tables.write_sound(self._part / "sound.csv", track)
        calibration = self._write_calibration()
        self._write_poster()
        sync_folder(self._part)
        write_json(self._part / "event.json", self._description(calibration, track))
        sync_folder(self._part)
        return True

    def _reserve(self) -> None:
        """The disk must have room for about half the raw size, the usual share or more."""
        source = self._reader.start.source
        frame = int(np.prod(source.shape)) * source.dtype.itemsize
        self._room.take(len(self._reader.stamps) * frame // 2)

    def _check_stop(self) -> None:
        if self._stop():
            raise Interrupted("conversion interrupted", str(self._part))

    def _sound_form(self) -> SoundForm | None:
        info = self._reader.start.sound
        if info is None or not self._records:
            return None
        if info.channels > MOST_CHANNELS:
            raise OutputFailed(
                f"sound of {info.channels} channels fits no track; kept raw", str(self._part)
            )
        bits = exact_bits(self._reader.samples(record) for record in self._records)
        return SoundForm(max(1, round(info.rate_hz)), info.channels, bits)

    def _track(self) -> Iterator[tuple[SoundRecord, list[NDArray[np.float32]]]]:
        """Blocks with their place in the track, and the runs (silence, samples) they need."""
        assert self._sound is not None
        longest = round(LONGEST_FILL_S * self._sound.rate)
        at = 0
        for before, record in zip([None, *self._records], self._records, strict=False):
            lost = missing_samples(before, record, self._sound.rate)
            fill = 0 if before is None else min(lost, longest)
            silence = np.zeros((fill, self._sound.channels), np.float32)
            at += fill
            yield (
                dataclasses.replace(record, first_sample=at, lost_before=lost),
                [silence, self._reader.samples(record)],
            )
            at += record.samples

    def _write_file(self) -> list[SoundRecord]:
        path = self._part / "frames.mkv"
        source = self._reader.start.source
        rate_hz = tables.median_rate_hz(self._reader.stamps) or source.rate_hz
        file = EventFile(path, source, self._form, self._sound, rate_hz=rate_hz)
        try:
            track = self._feed(file)
            file.finish()
        finally:
            file.close()
        with path.open("rb+") as written:
            sync_file(written)
        return track

    def _feed(self, file: EventFile) -> list[SoundRecord]:
        """Frames and sound in the order of their times, so that the file interleaves them."""
        written: list[SoundRecord] = []
        waiting = self._track() if self._sound else iter(())
        block = next(waiting, None)
        rate = self._sound.rate if self._sound else 1
        start = self._records[0].start_ns - self._zero_ns if self._sound else 0
        offset = round(start * rate / NS)

        def sound_until(time_ns: float) -> None:
            nonlocal block
            while block is not None and block[0].start_ns <= time_ns:
                record, runs = block
                at = offset + record.first_sample - len(runs[0])
                for run in runs:
                    file.add_sound(run, at)
                    at += len(run)
                written.append(record)
                block = next(waiting, None)

        for index, stamp in enumerate(self._reader.stamps):
            self._check_stop()
            time_ns = to_ns(stamp.time_s)
            sound_until(time_ns)
            self._room.take(0)
            file.add_frame(self._reader.pixels(index), (time_ns - self._zero_ns) // 1000)
        sound_until(math.inf)
        return written

    def _verified_places(self) -> list[Place] | None:
        """Places of all frames when they read back the same as in the spool, else None."""
        places: list[Place] = []
        if self._form is None:
            return places
        for pixels, place in read_frames(self._part / "frames.mkv"):
            self._check_stop()
            index = len(places)
            if index >= len(self._reader.stamps):
                return None
            if not np.array_equal(pixels, self._reader.pixels(index)):
                return None
            places.append(place)
        return places if len(places) == len(self._reader.stamps) else None

    def _sound_holds(self) -> bool:
        """True when the sound track reads back the same, silence in the gaps included."""
        if self._sound is None:
            return True
        wanted = (run for _, runs in self._track() for run in runs)
        left = np.zeros((0, self._sound.channels), np.float32)
        for got in read_sound(self._part / "frames.mkv"):
            self._check_stop()
            while len(left) < len(got):
                run = next(wanted, None)
                if run is None:
                    return False
                left = np.concatenate((left, run))
            if not np.array_equal(got, left[: len(got)], equal_nan=True):
                return False
            left = left[len(got) :]
        return not len(left) and not any(len(run) for run in wanted)

    def _write_calibration(self) -> dict[str, Any]:
        described = dict(self._reader.data.get("calibration", {}))
        calibration = self._reader.start.calibration
        for kind in CalibrationKind:
            picture: Average | None = getattr(calibration, kind.value)
            if picture is None:
                continue
            codes, full_scale = pictures.light_to_codes(picture.light)
            name = f"{kind.value}.png"
            pictures.write_png(self._part / name, codes)
            if not np.array_equal(pictures.read_png(self._part / name), codes):
                raise OutputFailed("did not read back; kept raw", str(self._part / name))
            described[kind.value] = {
                **described[kind.value],
                "file": name,
                "encoding": "linear light: code 0..65535 stands for 0..full_scale",
                "full_scale": full_scale,
            }
        mask = clipped_mask(calibration)
        if mask is not None:
            pictures.write_png(self._part / "clipped.png", mask)
            described["clipped"] = {"file": "clipped.png", "bits": CLIPPED_BITS}
        return described

    def _write_poster(self) -> None:
        reader = self._reader
        if not reader.stamps:
            return
        index = spark_index(reader.start.spotted, reader.stamps)
        small = pictures.poster(reader.pixels(index), reader.start.source.white)
        pictures.write_png(self._part / "poster.png", small)

    def _description(self, calibration: dict[str, Any], track: list[SoundRecord]) -> dict[str, Any]:
        reader, path = self._reader, self._part / "frames.mkv"
        size = path.stat().st_size if path.exists() else 0
        marks = [describe_spotted(mark) for mark in reader.marks]
        return {
            **reader.data,
            "complete": reader.complete,
            "recovered": reader.end is None,
            "spotted": [*reader.data["spotted"], *marks],
            "calibration": calibration,
            "frames": {
                "file": "frames.mkv" if self._form else None,
                "count": len(reader.stamps),
                "codec": "ffv1",
                "pixel_format": self._form,
                "file_bytes": size,
                "file_time_zero_ns": self._zero_ns,
            },
            "sound_track": None if self._sound is None else self._track_description(track),
            "lost": {
                "source_frames": sum(tables.lost_before(reader.stamps)),
                "store_frames": reader.dropped,
                "damaged_frames": reader.damaged,
                "sound_samples": sum(record.lost_before for record in track),
                "damaged_sound_blocks": reader.damaged_blocks,
            },
        }

    def _track_description(self, track: list[SoundRecord]) -> dict[str, Any]:
        assert self._sound is not None
        return {
            "file": "frames.mkv",
            "codec": self._sound.codec,
            "bits": self._sound.bits,
            "rate_hz": self._sound.rate,
            "channels": self._sound.channels,
            "start_ns": track[0].start_ns,
        }


def missing_samples(before: SoundRecord | None, record: SoundRecord, rate: int) -> int:
    """Samples missing between two blocks of a spool, so that sound and pictures keep step.

    The source's own count and the samples of damaged blocks between them, or what the times tell
    when it is more: a microphone that was opened anew counts nothing.
    """
    if before is None:
        return record.lost_before
    counted = record.lost_before + record.first_sample - before.first_sample - before.samples
    apart_ns = record.start_ns - before.start_ns
    by_time = round(apart_ns * rate / NS) - before.samples
    return by_time if by_time > counted + SOUND_HOLE_S * rate else counted


def clipped_mask(calibration: Calibration) -> NDArray[np.uint8] | None:
    """One picture of the clipped pixels of all three: bit 0 dark, 1 open, 2 reference."""
    mask: NDArray[np.uint8] | None = None
    for name, bit in CLIPPED_BITS.items():
        picture: Average | None = getattr(calibration, name)
        if picture is None or picture.clipped is None:
            continue
        bits = picture.clipped.astype(np.uint8) * np.uint8(bit)
        if mask is not None and mask.shape != bits.shape:
            raise OutputFailed("calibration pictures differ in size; kept raw", name)
        mask = bits if mask is None else mask | bits
    return mask


def spark_index(spotted: Spotted, stamps: Sequence[FrameStamp]) -> int:
    """Index of the frame that shows a spark: the one named, else the last begun before it."""
    numbers = [stamp.number for stamp in stamps]
    if spotted.frame in numbers:
        return numbers.index(spotted.frame)
    begun = bisect_right([stamp.time_s for stamp in stamps], spotted.time_s)
    return max(0, begun - 1)
