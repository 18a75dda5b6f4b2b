"""A stored event as a source: its frames with their exact times, and its sound."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from liveview.errors import InputUnreadable, SoundUnavailable
from liveview.model import (
    Frame,
    FrameStamp,
    Pixels,
    SoundBlock,
    SoundInfo,
    SourceInfo,
    SourceKind,
)
from liveview.recorder.reading import StoredEvent


class EventSource:
    """Frames of an event folder, as fast as asked.

    Numbers and times are those of the session that stored it, so gaps are losses; damaged frames
    are left out and said in ``warnings``.

    Parameters
    ----------
    path : Path
        The folder.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._event: StoredEvent | None = None
        self._next = 0
        self.recorded_at = ""
        """ISO time of 0 on the event's clock, once it is open; empty where it is not known."""
        self._held: Frame | None = None
        self._warnings: list[str] = []

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong with the event so far, in words."""
        return tuple(self._warnings)

    def open(self) -> SourceInfo:
        """Open the event.

        Raises
        ------
        InputUnreadable
            Not an event, damaged, of a newer version, or without frames.
        """
        self._event = event = StoredEvent.open(self._path)
        if not len(event):
            raise InputUnreadable("holds no frames", str(self._path), "it kept sound only")
        if not event.complete:
            self._warnings.append(_incomplete_words(event))
        self.recorded_at = _clock_zero(event)
        source = event.start.source
        return replace(
            source,
            kind=SourceKind.EVENT,
            live=False,
            rate_hz=event.rate_hz,
            frames=len(event),
            seconds=event.duration_s,
            note="; ".join(filter(None, (f"event {event.name}", source.note))),
        )

    def grab(self) -> FrameStamp | None:
        """The next frame that can be read; None at the end."""
        assert self._event is not None
        self._held = None
        while self._next < len(self._event):
            index, self._next = self._next, self._next + 1
            try:
                self._held = self._event.frame(index)
            except InputUnreadable as error:
                self._warnings.append(f"frame {index}: {error.what}, left out")
                continue
            return self._held.stamp
        return None

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed frame into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        np.copyto(out, self._held.pixels)

    def close(self) -> None:
        """Close the event."""
        self._held = None
        if self._event is not None:
            self._event.close()
            self._event = None


def _incomplete_words(event: StoredEvent) -> str:
    """What is missing of an event, as far as its frames tell."""
    catch = event.start.settings.get("catch")
    after_s = catch.get("post_trigger") if isinstance(catch, dict) else None
    if not isinstance(after_s, int | float):
        return "the event was cut short or is not finished"
    missing_s = max(one.time_s for one in event.spotted) + after_s - event.stamps[-1].time_s
    if 0.0 < missing_s <= after_s:
        return f"the event ends {missing_s:.2f} s early: its recording ended, or it was cut there"
    return "the event was cut short or is not finished"


def _clock_zero(event: StoredEvent) -> str:
    try:
        trigger = datetime.fromisoformat(event.start.started_at)
        return (trigger - timedelta(seconds=event.start.spotted.time_s)).isoformat()
    except (ValueError, OverflowError):
        return ""


class EventSoundSource:
    """Sound of an event folder, in the same time as its frames.

    Parameters
    ----------
    path : Path
        The folder.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._blocks: Iterator[SoundBlock] = iter(())

    def open(self) -> SoundInfo:
        """Open the event.

        Raises
        ------
        SoundUnavailable
            Not an event, or one without sound.
        """
        try:
            with StoredEvent.open(self._path) as event:
                info = event.start.sound
                blocks = event.sound()
        except InputUnreadable as error:
            raise SoundUnavailable(error.what, error.where, error.remedy) from error
        if info is None or not blocks:
            raise SoundUnavailable("the event has no sound", str(self._path))
        self._blocks = iter(blocks)
        return replace(info, live=False)

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block; None at the end. Never waits."""
        return next(self._blocks, None)

    def close(self) -> None:
        """Let go of the sound."""
        self._blocks = iter(())
