"""What drives a source: the protocols, a camera's controls, the simulated rig's hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from liveview.model.frames import FrameStamp, Pixels, SoundBlock, SoundInfo, SourceInfo


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
