"""A slow clip of an event: MP4, WebM or lossless Matroska."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from liveview.errors import BadRequest
from liveview.model import Bytes
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export.coding import SOUND_RATE, ClipFile, coding_for
from liveview.review.export.common import Stretch, Studio, auto_rate, stretch_of
from liveview.review.export.flashcheck import (
    FlashCheck,
    Flashes,
    FlashReport,
    fill_in,
    pending,
)
from liveview.review.export.job import Job, ahead, whole_file
from liveview.review.export.look import Look
from liveview.review.export.metadata import as_text, created_at, export_metadata
from liveview.review.export.slowsound import assembled, stretched

LONGEST_S = 4 * 3600.0
DECODED_AHEAD = 4
"""Frames read before they are enhanced; an event keeps eight."""


@dataclass(frozen=True, slots=True)
class Timing:
    """How event time becomes clip time. ``rate`` None: as slow as shows every frame."""

    rate: Fraction | None = None
    fps: Fraction = Fraction(30)


def schedule(times_s: list[float], rate: Fraction, fps: Fraction) -> list[int]:
    """For each picture of the clip, the index into ``times_s`` of the frame it shows.

    The last frame is shown as long as the one before it, at least once.
    """
    last = times_s[-1] - times_s[-2] if len(times_s) > 1 else 0.0
    length = times_s[-1] - times_s[0] + last
    count = max(1, math.ceil(length / float(rate) * float(fps) - 1e-6))
    step = float(rate / fps)
    # A millionth of a step of tolerance: frames exactly on the grid must not fall before it.
    moments = (times_s[0] + (number + 1e-6) * step for number in range(count))
    return [min(len(times_s) - 1, max(0, bisect_right(times_s, m) - 1)) for m in moments]


def export_clip(
    enhancer: Enhancer,
    path: Path,
    *,
    timing: Timing | None = None,
    look: Look | None = None,
    stretch: Stretch | None = None,
    sound: bool = True,
    flashes: Flashes = "check",
    job: Job | None = None,
    overwrite: bool = False,
) -> FlashReport:
    """Write a clip; its kind follows from the name's ending (.mp4, .webm, .mkv lossless).

    ``flashes``: "soften" mixes pictures that would exceed the limits for flashing with the one
    before. What the check found is returned and stays in the file's description.

    Raises
    ------
    BadRequest
        Another ending, an existing file, or a clip longer than four hours.
    OutputFailed, Cancelled, InputUnreadable
        Nothing is left behind.
    """
    look, job, coding = look or Look(), job or Job(), coding_for(path)
    course = _Course.of(enhancer.event, path, timing or Timing(), stretch)
    job.total = len(course.frames)
    studio = Studio(enhancer, look, rate=course.rate, even=coding.pixel_format == "yuv420p")
    track = _Track(enhancer, course) if sound else None
    if track is not None and not track.there:
        track = None
    size = (studio.canvas.width, studio.canvas.height)
    about = _description(enhancer, course, look, track is not None, flashes)
    check = FlashCheck(flashes == "soften", size)
    with whole_file(path, overwrite=overwrite) as part:
        file = ClipFile(
            part, coding, size, course.fps, about, sound=track is not None, grey=studio.grey
        )
        try:
            _fill(file, studio, course, track, check, job)
            file.finish()
        finally:
            file.close()
        fill_in(part, check.report().words)
    return check.report()


@dataclass(frozen=True, slots=True)
class _Course:
    """What a clip shows: ``frames`` has the event's index for each of its pictures."""

    stretch: Stretch
    rate: Fraction
    fps: Fraction
    start_s: float
    frames: list[int]

    @classmethod
    def of(cls, event: StoredEvent, path: Path, timing: Timing, stretch: Stretch | None) -> _Course:
        """Raises BadRequest for a clip that would be too long."""
        stretch = stretch or stretch_of(event)
        rate = timing.rate or auto_rate(event, float(timing.fps))
        times = [stamp.time_s for stamp in event.stamps[stretch.first : stretch.last + 1]]
        length_s = (times[-1] - times[0]) / float(rate)
        if length_s > LONGEST_S:
            raise BadRequest(
                f"the clip would last {length_s / 3600:.1f} hours",
                str(path),
                "choose a faster rate or a shorter stretch",
            )
        frames = [stretch.first + index for index in schedule(times, rate, timing.fps)]
        return cls(stretch, rate, timing.fps, times[0], frames)

    def shown_s(self, pictures: int) -> float:
        """Time of the clip after so many pictures."""
        return float(pictures / self.fps)


def _description(
    enhancer: Enhancer, course: _Course, look: Look, sound: bool, flashes: Flashes
) -> dict[str, str]:
    """What stands in the container, with room for what the flash check will find."""
    first = course.stretch.first
    enhancer.come_to(first)  # its words tell what of that cannot be read
    about = export_metadata(
        enhancer,
        "clip",
        (first, course.stretch.last),
        rate=str(course.rate),
        fps=str(course.fps),
        shape=look.shape,
        sound="stretched" if sound else "none",
        flashes=flashes,
    )
    about["flash_check"] = pending()
    return {
        "title": enhancer.event.name,
        "comment": as_text(about),
        "creation_time": created_at(enhancer, first),
    }


def _fill(
    file: ClipFile,
    studio: Studio,
    course: _Course,
    track: _Track | None,
    check: FlashCheck,
    job: Job,
) -> None:
    """Pictures and sound side by side: reading and composing are each a little ahead."""
    read = ahead(_decoded_first(studio.event, course.frames), DECODED_AHEAD)
    with closing(read), closing(ahead(_shown(studio, read))) as pictures:
        for number, picture in enumerate(pictures):
            file.add_picture(check.admit(picture, course.shown_s(number)))
            if track is not None:
                track.feed(file, course.shown_s(number + 1))
            job.step()


def _decoded_first(event: StoredEvent, frames: list[int]) -> Iterator[int]:
    """The frame of each moment, decoded here so that whoever asks for it next finds it ready."""
    for index in frames:
        event.frame(index)
        yield index


def _shown(studio: Studio, frames: Iterator[int]) -> Iterator[Bytes]:
    """The picture of each moment; a repeated one is the same array."""
    shown, picture = -1, np.empty((0, 0, 3), np.uint8)
    for index in frames:
        if index != shown:
            shown, picture = index, studio.picture(index)
        yield picture


class _Track:
    """The stretched sound, given out as the clip grows."""

    def __init__(self, enhancer: Enhancer, course: _Course) -> None:
        blocks = enhancer.event.sound()
        self.there = bool(blocks)
        self._given = 0
        self._limit = round(course.shown_s(len(course.frames)) * SOUND_RATE)
        if blocks:
            seconds = float(len(course.frames) / course.fps * course.rate)
            samples, hertz = assembled(blocks, course.start_s, course.start_s + seconds)
            self._pieces = stretched(samples, hertz, course.rate, SOUND_RATE)

    def feed(self, file: ClipFile, until_s: float) -> None:
        """Hand over sound up to a moment of the clip."""
        while self._given < min(until_s * SOUND_RATE, self._limit):
            piece = next(self._pieces, None)
            if piece is None:
                return
            piece = piece[: self._limit - self._given]
            file.add_sound(piece)
            self._given += len(piece)
