"""Sparks and what is kept of them: from the trigger to the recorder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, Protocol

from liveview.model.frames import Frame, SoundBlock, SoundInfo, SourceInfo
from liveview.model.readings import Calibration, Disc


class Cause(str, Enum):
    """Why an event was kept."""

    FLASH = "flash"
    SOUND = "sound"
    BOTH = "both"
    HAND = "hand"
    COUNT = "count"


@dataclass(frozen=True, slots=True)
class Spotted:
    """One spark (or hand trigger) as seen by a detector or by several together.

    ``time_s`` is the best estimate of when it happened, corrected for the sound's path;
    ``error_s`` one standard uncertainty. ``rows`` is the first and last row lit (inclusive), for a
    flash. ``strength`` is in units of the detector's noise.
    """

    time_s: float
    error_s: float
    cause: Cause
    strength: float
    frame: int | None = None
    rows: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class EventStart:
    """Handed to the recorder when an event begins; frames and sound follow."""

    cause: Cause
    spotted: Spotted
    source: SourceInfo
    sound: SoundInfo | None
    calibration: Calibration
    settings: Mapping[str, Any]
    disc: Disc | None
    started_at: str
    """Local wall time of the trigger in ISO 8601 with offset."""
    wall_minus_session_s: float = 0.0
    """Seconds to add to session times to get the wall clock (Unix time)."""
    set_up: Mapping[str, float] = field(default_factory=dict)
    """Steps of the set-up that had been reached, and when (session seconds)."""


@dataclass(frozen=True, slots=True)
class StoreStatus:
    """Snapshot of the recorder for the screen."""

    writing: bool = False
    converting: int = 0
    waiting_frames: int = 0
    events_kept: int = 0
    newest: str | None = None
    folder: str | None = None
    """Where events go."""
    free_bytes: int | None = None
    words: tuple[str, ...] = ()
    """Faults in words, newest last; empty when all is well."""


class Lease(Protocol):
    """A hold on one frame of the ring. The frame is not overwritten until released."""

    @property
    def frame(self) -> Frame:
        """The frame; its pixels are read-only."""

    def release(self) -> None:
        """Give the slot back; harmless when called twice."""


class EventSink(Protocol):
    """What the engine needs of a recorder. None of these block or raise for a full disk:
    the sink counts what it could not keep and says so in its status."""

    def begin(self, start: EventStart) -> None:
        """A new event; a second begin before ``end`` is a programming error."""

    def add_frame(self, lease: Lease) -> None:
        """Takes over the lease and releases it when written."""

    def add_sound(self, block: SoundBlock) -> None:
        """Sound of the current event, in order."""

    def mark(self, spotted: Spotted) -> None:
        """A further spark inside the current event."""

    def end(self, complete: bool) -> None:
        """No more frames; ``complete`` is False when it was cut short."""
