"""Snapshots of the running session for the screen."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from liveview.model.events import Spotted, StoreStatus
from liveview.model.frames import SoundInfo, SourceInfo
from liveview.model.readings import CalibrationKind


@dataclass(frozen=True, slots=True)
class Counters:
    """Every frame has a place here; nothing is lost silently.

    ``captured`` frames reached the ring; ``lost_source`` never reached the program (gaps in the
    numbers); ``lost_ring`` found no free slot because all were leased; ``skipped_chain`` were
    captured and watched but not shown because a newer one was there; ``missed_watch`` were
    overwritten before the trigger could see them (a ring far too small).
    """

    captured: int = 0
    lost_source: int = 0
    lost_ring: int = 0
    skipped_chain: int = 0
    watched: int = 0
    missed_watch: int = 0
    sound_blocks: int = 0
    sound_lost_samples: int = 0


class SessionState(str, Enum):
    """State of the running session, see ``engine.session``."""

    STOPPED = "stopped"
    OPENING = "opening"
    RUNNING = "running"
    STALLED = "stalled"
    ENDED = "ended"
    FAILED = "failed"


class ArmState(str, Enum):
    """State of the trigger, see ``trigger.arming``."""

    OFF = "off"
    LEARNING = "learning"
    ARMED = "armed"
    CATCHING = "catching"


@dataclass(frozen=True, slots=True)
class TriggerReading:
    """What the trigger measures at present, for the screen.

    ``flash`` and ``crack`` are the detectors' largest strengths of the last seconds, pairs of time
    (seconds, session clock) and units of the detector's own noise, oldest first, one for each
    twentieth of a second. A strength above the threshold is a suspicion: the flash detector waits
    for the frames that follow. ``level`` is likewise the sound's peak, full scale 1.0. Empty while
    the noise is not known or nothing comes in. ``now_s`` is the time of the newest frame watched.
    """

    now_s: float | None = None
    learnt: float = 1.0
    """How much of the learning is done, 0..1."""
    anew: str = ""
    """Why the quiet is being learnt anew; empty unless it is."""
    since_s: float | None = None
    """First moment that belongs to the event under way."""
    until_s: float | None = None
    """When the event under way ends unless another spark comes."""
    flash: tuple[tuple[float, float], ...] = ()
    crack: tuple[tuple[float, float], ...] = ()
    level: tuple[tuple[float, float], ...] = ()
    noise_rate_hz: float | None = None
    """Events a second that noise alone would cause; None unless armed."""
    frame_error_s: float | None = None
    """How wrong the newest frame's time may be."""
    sound_error_s: float | None = None
    """The same of the newest block of sound."""


@dataclass(frozen=True, slots=True)
class SessionStatus:
    """Snapshot of the session for the screen; never blocks to be made."""

    state: SessionState = SessionState.STOPPED
    words: tuple[str, ...] = ()
    source: SourceInfo | None = None
    sound: SoundInfo | None = None
    counters: Counters = field(default_factory=Counters)
    rate_hz: float | None = None
    ring_seconds: float = 0.0
    ring_capacity_seconds: float | None = None
    arm: ArmState = ArmState.OFF
    arm_words: str = ""
    trigger: TriggerReading = field(default_factory=TriggerReading)
    sound_level: float | None = None
    """Peak of the newest sound block, full scale 1.0."""
    recent: tuple[Spotted, ...] = ()
    calibration_words: tuple[str, ...] = ()
    taking: tuple[str, float] | None = None
    """Which calibration picture is being taken and how far it is (0..1)."""
    has: frozenset[CalibrationKind] = frozenset()
    can_undo: bool = False
    store: StoreStatus = field(default_factory=StoreStatus)
