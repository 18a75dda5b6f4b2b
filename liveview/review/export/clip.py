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
    timing, look, job = timing or Timing(), look or Look(), job or Job()
    coding = coding_for(path)
    event = enhancer.event
    stretch = stretch or stretch_of(event)
    rate = timing.rate or auto_rate(event, float(timing.fps))
    times = [stamp.time_s for stamp in event.stamps[stretch.first : stretch.last + 1]]
    if (times[-1] - times[0]) / float(rate) > LONGEST_S:
        raise BadRequest(
            f"the clip would last {(times[-1] - times[0]) / float(rate) / 3600:.1f} hours",
            str(path),
            "choose a faster rate or a shorter stretch",
        )
    plan = schedule(times, rate, timing.fps)
    job.total = len(plan)
    studio = Studio(enhancer, look, rate=rate, even=coding.pixel_format == "yuv420p")
    track = _Track(enhancer, times[0], len(plan) / timing.fps * rate, rate) if sound else None
    about = export_metadata(
        enhancer,
        "clip",
        (stretch.first, stretch.last),
        rate=str(rate),
        fps=str(timing.fps),
        shape=look.shape,
        sound="stretched" if track is not None and track.there else "none",
        flashes=flashes,
    )
    about["flash_check"] = pending()
    check = FlashCheck(flashes == "soften", (studio.canvas.width, studio.canvas.height))
    with whole_file(path, overwrite=overwrite) as part:
        file = ClipFile(
            part,
            coding,
            (studio.canvas.width, studio.canvas.height),
            timing.fps,
            {
                "title": event.name,
                "comment": as_text(about),
                "creation_time": created_at(enhancer, stretch.first),
            },
            sound=track is not None and track.there,
            grey=studio.grey,
        )
        read = ahead(_decoded_first(event, plan, stretch.first), DECODED_AHEAD)
        try:
            with closing(read), closing(ahead(_shown(studio, read))) as pictures:
                for number, picture in enumerate(pictures):
                    file.add_picture(check.admit(picture, float(number / timing.fps)))
                    if track is not None and track.there:
                        track.feed(file, float((number + 1) / timing.fps))
                    job.step()
            file.finish()
        finally:
            file.close()
        fill_in(part, check.report().words)
    return check.report()


def _decoded_first(event: StoredEvent, plan: list[int], first: int) -> Iterator[int]:
    """The frame of each moment, decoded here so that whoever asks for it next finds it ready."""
    for index in plan:
        event.frame(first + index)
        yield first + index


def _shown(studio: Studio, frames: Iterator[int]) -> Iterator[Bytes]:
    """The picture of each moment; a repeated one is the same array."""
    shown, picture = -1, np.empty((0, 0, 3), np.uint8)
    for index in frames:
        if index != shown:
            shown, picture = index, studio.picture(index)
        yield picture


class _Track:
    """The stretched sound, given out as the clip grows."""

    def __init__(
        self, enhancer: Enhancer, start_s: float, seconds: Fraction, rate: Fraction
    ) -> None:
        blocks = enhancer.event.sound()
        self.there = bool(blocks)
        self._given = 0
        self._limit = round(float(seconds / rate) * SOUND_RATE)
        if blocks:
            samples, hertz = assembled(blocks, start_s, start_s + float(seconds))
            self._pieces = stretched(samples, hertz, rate, SOUND_RATE)

    def feed(self, file: ClipFile, until_s: float) -> None:
        """Hand over sound up to a moment of the clip."""
        while self._given < min(until_s * SOUND_RATE, self._limit):
            piece = next(self._pieces, None)
            if piece is None:
                return
            piece = piece[: self._limit - self._given]
            file.add_sound(piece)
            self._given += len(piece)
