"""What the chain finds out: disc, calibration pictures, blade, noise, histogram."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from liveview.model.frames import Bytes, CameraState, FrameStamp, Light


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


@dataclass(frozen=True, slots=True)
class Disc:
    """The mirror's disc in the picture, pixels. ``by_hand`` when the user placed it."""

    cx: float
    cy: float
    radius: float
    by_hand: bool = False


class CalibrationKind(str, Enum):
    """The three pictures of a calibration."""

    DARK = "dark"
    OPEN = "open"
    REFERENCE = "reference"


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
    ``tilt_along`` is the same along the edge (figure in ``liveview.model``). ``axial_offset_m`` is
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
    per_contrast: float = 1.0
    """What one unit of contrast is in ``unit``; it may differ from frame to frame."""


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
