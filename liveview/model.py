"""Frozen data that crosses rooms and threads, and the protocols of the boundaries.

Conventions used everywhere
---------------------------
Images are ``(rows, columns)`` or ``(rows, columns, 3)`` in blue, green, red order; row 0 is
the top of the picture. Positions in a picture are ``x`` to the right and ``y`` downwards, in
pixels, with the centre of the first pixel at 0.0.

::

            top
        +---------+        n = unit vector from the disc's centre towards the
        |  .---.  |            side from which the blade comes in
   left | (  +  ) | right  "across" the blade = along n
        |  '---'  |        "along" the blade  = n turned 90 degrees clockwise
        +---------+            in the picture (top -> right -> bottom -> left)
          bottom

Light is linear and relative: 0.0 is no light, 1.0 the camera's top code (``white``).
Times are seconds on one monotonic clock that starts with the session; a recording uses its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[Any]
"""Code values as they came, uint8 or uint16, (rows, columns) or (rows, columns, 3)."""

Light = NDArray[np.float32]
"""Linear light or a quantity derived from it, float32, (rows, columns)."""

Bytes = NDArray[np.uint8]


class Side(str, Enum):
    """Side of the picture from which the blade comes in."""

    LEFT = "left"
    RIGHT = "right"
    TOP = "top"
    BOTTOM = "bottom"

    @property
    def normal(self) -> tuple[float, float]:
        """Unit vector (x, y) from the disc's centre towards this side."""
        return {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, -1.0), "bottom": (0.0, 1.0)}[
            self.value
        ]

    @property
    def along(self) -> tuple[float, float]:
        """Unit vector (x, y) along the blade's edge: ``normal`` turned clockwise."""
        x, y = self.normal
        return (-y, x)


class SourceKind(str, Enum):
    """Where frames come from."""

    CAMERA = "camera"
    VIDEO = "video"
    IMAGES = "images"
    TIFF = "tiff"
    STREAM = "stream"
    EVENT = "event"
    SIMULATED = "simulated"


class Cause(str, Enum):
    """Why an event was kept."""

    FLASH = "flash"
    SOUND = "sound"
    BOTH = "both"
    HAND = "hand"
    COUNT = "count"


class CalibrationKind(str, Enum):
    """The three pictures of a calibration."""

    DARK = "dark"
    OPEN = "open"
    REFERENCE = "reference"


@dataclass(frozen=True, slots=True)
class CameraState:
    """What must stay the same for a calibration to hold.

    ``exposure_s`` and ``gain`` are None where the source does not tell.
    """

    camera: str
    width: int
    height: int
    white: int
    exposure_s: float | None = None
    gain: float | None = None

    def changes_from(self, earlier: CameraState) -> tuple[str, ...]:
        """Names of the things that differ from ``earlier``, for words on the screen."""
        names = []
        if self.camera != earlier.camera:
            names.append("camera")
        if (self.width, self.height, self.white) != (earlier.width, earlier.height, earlier.white):
            names.append("picture size or depth")
        if self.exposure_s != earlier.exposure_s:
            names.append("exposure")
        if self.gain != earlier.gain:
            names.append("gain")
        return tuple(names)


@dataclass(frozen=True, slots=True)
class SourceInfo:
    """What a source says of itself once it is open.

    ``rate_hz``, ``frames``, ``row_time_s`` (rolling shutter, seconds from one row to the next;
    0.0 for a global shutter) and ``seconds`` are None where unknown. ``white`` is the top code
    value. ``live`` sources pace themselves; others are read as fast as asked. ``predicted``: its
    pictures are coded with losses as changes to others (H.264 and the like).
    """

    kind: SourceKind
    name: str
    width: int
    height: int
    channels: int
    bits: int
    white: int
    live: bool
    rate_hz: float | None = None
    frames: int | None = None
    seconds: float | None = None
    row_time_s: float | None = None
    exposure_s: float | None = None
    gain: float | None = None
    transfer: str | None = None
    predicted: bool = False
    note: str = ""

    @property
    def simulated(self) -> bool:
        """True for the simulated rig; the window always says so."""
        return self.kind is SourceKind.SIMULATED

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of one frame's array."""
        if self.channels == 1:
            return (self.height, self.width)
        return (self.height, self.width, self.channels)

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of one frame's array: uint8 up to 8 bits, else uint16."""
        return np.dtype(np.uint8 if self.bits <= 8 else np.uint16)

    @property
    def camera_state(self) -> CameraState:
        """The part a calibration depends on."""
        return CameraState(
            self.name, self.width, self.height, self.white, self.exposure_s, self.gain
        )


@dataclass(frozen=True, slots=True)
class FrameStamp:
    """Which frame, and when its exposure began.

    ``number`` counts from 0 and includes frames that were lost before they reached the program,
    so a gap in it is a loss. ``time_s`` is the moment the exposure of the first row began as far
    as the source can tell, ``error_s`` how wrong that may be. ``device_ns`` is the driver's own
    clock where it has one.
    """

    number: int
    time_s: float
    error_s: float = 0.0
    device_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture and its stamp. ``pixels`` is only valid while its lease is held."""

    pixels: Pixels
    stamp: FrameStamp
    white: int

    @property
    def number(self) -> int:
        """Frame number, see :class:`FrameStamp`."""
        return self.stamp.number

    @property
    def time_s(self) -> float:
        """Time of the frame, seconds on the session's clock."""
        return self.stamp.time_s


@dataclass(frozen=True, slots=True)
class SoundInfo:
    """What a sound source says of itself once it is open."""

    name: str
    rate_hz: float
    channels: int
    live: bool
    simulated: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """A run of sound samples, float32 (samples, channels), full scale 1.0.

    ``start_s`` is when the first sample was taken, ``error_s`` how wrong that may be,
    ``lost_before`` the number of samples known to be missing before this block.
    """

    samples: NDArray[np.float32]
    rate_hz: float
    start_s: float
    error_s: float = 0.0
    lost_before: int = 0


@dataclass(frozen=True, slots=True)
class Disc:
    """The mirror's disc in the picture, pixels. ``by_hand`` when the user placed it."""

    cx: float
    cy: float
    radius: float
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Average:
    """Mean of many frames in linear light: one of the calibration pictures.

    ``light`` is float32 (rows, columns), ``frames`` how many went in, ``clipped`` marks pixels
    that were at the top or bottom code in any of them (bottom is not counted for a dark).
    ``taken_s`` is on the session's clock, ``taken_at`` local wall time in ISO 8601.
    """

    light: Light
    frames: int
    taken_s: float
    taken_at: str
    camera: CameraState
    clipped: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True)
class Calibration:
    """The calibration pictures that exist; absent ones are None."""

    dark: Average | None = None
    open: Average | None = None
    reference: Average | None = None

    def with_picture(self, kind: CalibrationKind, picture: Average | None) -> Calibration:
        """A copy in which one picture is replaced or removed."""
        parts = {"dark": self.dark, "open": self.open, "reference": self.reference}
        parts[kind.value] = picture
        return Calibration(**parts)

    def valid_for(self, camera: CameraState) -> tuple[Calibration, tuple[str, ...]]:
        """The pictures that still hold for ``camera``, and words about those that do not."""
        kept: dict[str, Average | None] = {}
        words = []
        for kind in CalibrationKind:
            picture: Average | None = getattr(self, kind.value)
            changed = () if picture is None else camera.changes_from(picture.camera)
            kept[kind.value] = None if changed else picture
            if changed:
                words.append(f"{kind.value} no longer holds: {', '.join(changed)} changed")
        return Calibration(**kept), tuple(words)


@dataclass(frozen=True, slots=True)
class BladeReading:
    """Where the blade stands, read from the brightness of the disc.

    ``uncut`` is the uncut fraction 0..1 (None without dark and open pictures; then
    ``relative`` is the disc's mean light against the brightest seen). ``tilt_across`` is the fall
    of the uncut fraction over the disc's diameter towards the blade's side: positive when the
    blade's side is the darker one, that is when the blade is too near to the mirror.
    ``tilt_along`` is the same along the edge (see the figure at the top). ``axial_offset_m`` is
    positive towards the mirror, None where only the direction is known or nothing is.
    ``advice`` is a sentence for the person at the rig, empty where there is nothing to say.
    """

    side: Side
    uncut: float | None = None
    relative: float | None = None
    tilt_across: float | None = None
    tilt_along: float | None = None
    tilt_sigma: float | None = None
    axial_offset_m: float | None = None
    travel_m: float | None = None
    advice: str = ""

    @property
    def cutoff(self) -> float | None:
        """1 - uncut, or None."""
        return None if self.uncut is None else 1.0 - self.uncut


@dataclass(frozen=True, slots=True)
class NoiseReading:
    """Noise of the picture as shown.

    ``gain`` is the photon-transfer gain K in code values per electron, ``dark_sigma`` in code
    values, ``contrast_sigma`` the standard deviation of the contrast of one pixel (median over
    the disc), ``averaged`` the number of frames averaged in the picture.
    """

    gain: float | None = None
    dark_sigma: float | None = None
    contrast_sigma: float | None = None
    averaged: int = 1


@dataclass(frozen=True, slots=True)
class Histogram:
    """Sensitivity histogram: how often each signed contrast occurs over the disc.

    ``edges`` has one more entry than ``counts``; unclipped pixels only. ``unit`` is
    ``"contrast"``, ``"arcsec"`` or ``"sigma"``. Shares are of the pixels in the disc, 0..1.
    ``range_low``/``range_high`` are where the blade setting ends (fully dark, fully open), None
    when the uncut fraction is not known. All in ``unit``.
    """

    unit: str
    edges: NDArray[np.float64]
    counts: NDArray[np.int64]
    noise_sigma: float | None
    above_noise: float | None
    clipped_dark: float
    clipped_bright: float
    range_low: float | None = None
    range_high: float | None = None
    verdict: str = ""
    """One line that answers at a glance what the histogram says."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything the chain found out from one frame.

    ``picture`` is uint8 (rows, columns, 4), blue green red unused, ready for a screen.
    ``scale`` is the value (in ``unit``) that the palette's end stands for, None for a view
    without a scale. ``lamp_gain`` is the frame's overall brightness against the reference after
    robust estimation, ``shift_px`` the registration shift (x, y). ``steps_ms`` is the time each
    step took, in order; ``skipped`` names steps left out because the chain was late.
    ``words`` are short warnings for the screen (``"background is stale: exposure changed"``).
    """

    stamp: FrameStamp
    picture: Bytes
    view: str
    disc: Disc | None
    blade: BladeReading
    noise: NoiseReading
    histogram: Histogram | None
    unit: str = "contrast"
    scale: float | None = None
    lamp_gain: float | None = None
    shift_px: tuple[float, float] | None = None
    steps_ms: tuple[tuple[str, float], ...] = ()
    skipped: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    """What the enhancement costs (delay, resolution) and assumes, for beside the picture."""
    budget_ms: float | None = None
    """Time the chain may take per frame before it leaves steps out; None: all it needs."""


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


class FrameSource(Protocol):
    """Where frames come from. All four are called by one thread only.

    The life of a source: ``open`` once, then ``grab`` and ``read_into`` in turn, then ``close``
    once, also after an error.
    """

    def open(self) -> SourceInfo:
        """Open it. Raises InputUnreadable (which says why)."""

    def grab(self) -> FrameStamp | None:
        """Wait for the next frame and say when it was taken; None at the end of a recording.

        Raises SourceStalled when nothing came in the time allowed at construction,
        FormatChanged when the format is not that of ``open`` any more.
        """

    def read_into(self, out: Pixels) -> None:
        """Decode the grabbed frame into ``out`` (shape and type as ``open`` promised)."""

    def close(self) -> None:
        """Let go of the device or file; harmless when called twice."""


class SoundSource(Protocol):
    """Where sound comes from; same life as FrameSource."""

    def open(self) -> SoundInfo:
        """Open it. Raises SoundUnavailable."""

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block; None at the end. Raises SourceStalled after ``timeout_s``."""

    def close(self) -> None:
        """Let go of the device or file."""


class RigHandle(Protocol):
    """A hand on the simulated rig (see ``bench``): what a person could turn on a real one."""

    def values(self) -> Mapping[str, float]:
        """Current values in SI units by name, such as ``blade_x_m`` or ``exposure_s``."""

    def limits(self) -> Mapping[str, tuple[float, float]]:
        """Lowest and highest value for each name."""

    def set(self, name: str, value: float) -> None:
        """Move one of them; takes effect with the next frame. Raises BadRequest."""


class Hold(str, Enum):
    """How firmly a camera's control is held."""

    LOCKED = "locked"
    NOT_VERIFIED = "not verified"
    NOT_CONTROLLABLE = "not controllable by this driver"
    AUTOMATIC = "changes by itself"
    CHANGING = "being set"


@dataclass(frozen=True, slots=True)
class Control:
    """One control of a camera as found.

    ``value`` is in seconds for the exposure, in kelvins for the white balance, else in the
    driver's own units, which ``unit`` names where it has a name (``"dB"``). ``limits`` are the
    lowest and highest value where the driver tells.
    """

    name: str
    hold: Hold
    value: float | None = None
    reason: str = ""
    unit: str = ""
    limits: tuple[float, float] | None = None

    @property
    def words(self) -> str:
        """A short sentence for the screen: ``exposure 2 ms locked``."""
        value = ""
        if self.value is not None:
            value = f" {self.value * 1e3:.4g} ms" if self.name == "exposure" else f" {self.value:g}"
        reason = f" ({self.reason})" if self.reason else ""
        return f"{self.name}{value} {self.hold.value}{reason}"


CONTROL_SETTINGS = {
    "exposure": "exposure_s",
    "gain": "gain",
    "white balance": "white_balance_k",
    "focus": "focus",
}
"""What can be turned while a camera runs: names of the controls, and of their settings."""


@dataclass(frozen=True, slots=True)
class CameraReading:
    """What is known of the camera's controls at present, for the screen.

    ``name`` is empty before the camera is open. ``format`` is what came, ``formats`` what may be
    asked for where the driver tells. ``words`` say what was not granted or costs quality,
    ``watch`` what the drift watch says; ``cheats`` is True when the camera changes something by
    itself that should be held.
    """

    name: str = ""
    controls: tuple[Control, ...] = ()
    format: str = ""
    formats: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    stamps: str = ""
    watch: str = ""
    cheats: bool = False

    def control(self, name: str) -> Control | None:
        """One control by its name."""
        return next((control for control in self.controls if control.name == name), None)


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
