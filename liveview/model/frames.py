"""Sources of pictures and sound as data: what they say of themselves, frames, blocks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[Any]
"""Code values as they came, uint8 or uint16, (rows, columns) or (rows, columns, 3)."""


Light = NDArray[np.float32]
"""Linear light or a quantity derived from it, float32, (rows, columns)."""


Bytes = NDArray[np.uint8]


class SourceKind(str, Enum):
    """Where frames come from."""

    CAMERA = "camera"
    VIDEO = "video"
    IMAGES = "images"
    TIFF = "tiff"
    STREAM = "stream"
    EVENT = "event"
    SIMULATED = "simulated"


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
