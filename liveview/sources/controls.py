"""Camera controls in SI units, and whether the camera really obeys, found by measurement.

Drivers agree on nothing: exposure is counted in tenths of a millisecond (V4L2) or as the power of
two of seconds (DirectShow, Media Foundation), cannot be set (AVFoundation), the codes for manual
differ, and ``set`` returning True means little. So a control counts as *locked* only when the
picture became darker or brighter as it should and came back when the value did::

    light   at ----.          .---- again        locked:            moved, and came back
                   |  there   |                  not verified:      the driver says so, the
                   '----------'                                     picture cannot tell
             wanted   other    wanted            not controllable:  neither
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from liveview.errors import SourceStalled
from liveview.imaging.cv import cv2
from liveview.model import Control, Hold

DROP_FRAMES = 6
"""Frames passed over after a change: drivers hold three or four back."""

LOOK_FRAMES = 5
FEWEST_SIGMAS = 5.0
LEAST_CHANGE = 0.02
"""A change of light counts from this share on, however quiet the picture is."""

SAME_LIGHT = 0.05
CORRECTIONS = 4
_STEP = 4

BY_WORD = {
    "white balance": (cv2.CAP_PROP_AUTO_WB, cv2.CAP_PROP_WB_TEMPERATURE),
    "focus": (cv2.CAP_PROP_AUTOFOCUS, cv2.CAP_PROP_FOCUS),
}
"""Automatic and value of the controls whose effect the mean light does not show."""


class Device(Protocol):
    """The part of an OpenCV capture that controls need."""

    def get(self, prop: int, /) -> float:
        """Value of a property."""

    def set(self, prop: int, value: float, /) -> bool:
        """Ask for a value."""

    def grab(self) -> bool:
        """Wait for the next picture."""

    def retrieve(self, image: Any = None, /) -> tuple[bool, Any]:
        """Decode it."""


@dataclass(frozen=True, slots=True)
class ExposureScale:
    """How one driver counts exposure, and its codes for doing it by hand.

    ``ratio`` is how far a value read back may be off by rounding alone, ``least_s`` the same as a
    length of time.
    """

    to_value: Callable[[float], float]
    to_seconds: Callable[[float], float]
    manual: tuple[float, ...]
    automatic: tuple[float, ...]
    ratio: float
    least_s: float

    def agrees(self, wanted_s: float, got_s: float) -> bool:
        """True when the two are one and the same but for the driver's rounding."""
        if abs(wanted_s - got_s) <= self.least_s:
            return True
        return wanted_s > 0 and got_s > 0 and max(wanted_s / got_s, got_s / wanted_s) <= self.ratio


TENTHS_OF_MS = ExposureScale(
    to_value=lambda seconds: float(max(1, round(seconds * 1e4))),
    to_seconds=lambda value: value * 1e-4,
    manual=(1.0, 0.25),
    automatic=(3.0, 0.0, 0.75),
    ratio=1.02,
    least_s=0.51e-4,
)
"""V4L2: ``exposure_time_absolute``; manual is 1 of its menu, 0.25 in old versions of OpenCV."""

POWERS_OF_TWO = ExposureScale(
    to_value=lambda seconds: float(round(math.log2(seconds))),
    to_seconds=lambda value: 2.0**value,
    manual=(0.0, 0.25),
    automatic=(1.0, 0.75),
    ratio=math.sqrt(2.0) * 1.01,
    least_s=0.0,
)
"""DirectShow and Media Foundation: whole powers of two of a second."""


def scale_for(backend: int) -> ExposureScale | None:
    """The exposure scale of an OpenCV interface; None where exposure cannot be set."""
    return {
        cv2.CAP_V4L2: TENTHS_OF_MS,
        cv2.CAP_DSHOW: POWERS_OF_TWO,
        cv2.CAP_MSMF: POWERS_OF_TWO,
    }.get(backend)


class Readable(Protocol):
    """The part of an OpenCV capture that tells how things stand."""

    def get(self, prop: int, /) -> float:
        """Value of a property, 0 or -1 where it has none."""


def exposure_of(device: Readable, scale: ExposureScale | None) -> float | None:
    """The exposure that a driver reports, seconds; None where that is no exposure."""
    if scale is None:
        return None
    seconds = scale.to_seconds(device.get(cv2.CAP_PROP_EXPOSURE))
    return seconds if 1e-7 < seconds < 100.0 else None


@dataclass(frozen=True, slots=True)
class Light:
    """Brightness of some frames: mean code, its scatter from frame to frame, clipped shares."""

    mean: float
    sigma: float
    dark: float
    bright: float

    def differs(self, other: Light) -> bool:
        """True when the difference is more than noise."""
        noise = FEWEST_SIGMAS * math.hypot(self.sigma, other.sigma)
        least = LEAST_CHANGE * max(self.mean, other.mean)
        return abs(self.mean - other.mean) > max(noise, least)

    @property
    def cannot_tell(self) -> str:
        """Why a change of exposure would not show in this picture; empty when it would."""
        if self.bright > 0.5:
            return "the picture is too bright to tell"
        if self.dark > 0.9 or self.mean < 2.0:
            return "the picture is too dark to tell"
        return ""


def look(device: Device, drop: int = DROP_FRAMES, count: int = LOOK_FRAMES) -> Light:
    """Pass over ``drop`` frames and measure the light of the next ``count``.

    Raises
    ------
    SourceStalled
        The camera stopped delivering.
    """
    for _ in range(drop):
        _next(device)
    means: list[float] = []
    dark: list[float] = []
    bright: list[float] = []
    while len(means) < count:
        _next(device)
        done, picture = device.retrieve()
        if not done or picture is None:
            continue
        sample = np.asarray(picture)[::_STEP, ::_STEP]
        white = 255 if sample.dtype == np.uint8 else max(4095, int(sample.max()))
        means.append(float(sample.mean()))
        dark.append(float((sample == 0).mean()))
        bright.append(float((sample >= white).mean()))
    return Light(
        float(np.median(means)),
        float(np.std(means)),
        float(np.mean(dark)),
        float(np.mean(bright)),
    )


def _next(device: Device) -> None:
    if not device.grab():
        raise SourceStalled("the camera delivers no pictures", "camera", "check its cable")


def set_exposure(device: Device, seconds: float) -> Control:
    """Switch automatic exposure off, set ``seconds`` and find out by the light whether it holds.

    Raises
    ------
    SourceStalled
        The camera stopped delivering.
    """
    scale = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
    if scale is None:
        return Control("exposure", Hold.NOT_CONTROLLABLE)
    by_hand(device, scale)
    trial = _try_by_light(
        device,
        cv2.CAP_PROP_EXPOSURE,
        scale.to_value(seconds),
        lambda brighter: scale.to_value(seconds * (2.0 if brighter else 0.5)),
    )
    read_s = scale.to_seconds(trial.read)
    follows = scale.agrees(seconds, read_s)
    reason = "" if follows else f"{seconds * 1e3:.4g} ms was asked for"
    return _judged("exposure", trial, follows, read_s if trial.known else seconds, reason)


def hold_exposure(device: Device) -> Control:
    """Lock the exposure at the light that the camera's own automatic has found.

    The value it reports is often stale, so the light is brought back by a few corrections.

    Raises
    ------
    SourceStalled
        The camera stopped delivering.
    """
    scale = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
    if scale is None:
        return Control("exposure", Hold.NOT_CONTROLLABLE)
    before = look(device)
    seconds = scale.to_seconds(device.get(cv2.CAP_PROP_EXPOSURE))
    if not 1e-6 < seconds < 10:
        seconds = 1 / 60
    by_hand(device, scale)
    for _ in range(CORRECTIONS):
        device.set(cv2.CAP_PROP_EXPOSURE, scale.to_value(seconds))
        ratio = max(before.mean, 1.0) / max(look(device).mean, 1.0)
        if abs(ratio - 1) <= SAME_LIGHT:
            break
        # codes grow with about the square root of light
        seconds = min(max(seconds * min(max(ratio * ratio, 0.25), 4.0), 1e-5), 1.0)
    return set_exposure(device, seconds)


def by_hand(device: Device, scale: ExposureScale) -> None:
    """Switch automatic exposure off with the first code the driver takes."""
    for code in scale.manual:
        device.set(cv2.CAP_PROP_AUTO_EXPOSURE, code)
        if device.get(cv2.CAP_PROP_AUTO_EXPOSURE) == code:
            return


def give_back(device: Device) -> None:
    """Switch everything that a camera does by itself on again."""
    scale = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
    for code in () if scale is None else scale.automatic:
        device.set(cv2.CAP_PROP_AUTO_EXPOSURE, code)
        if device.get(cv2.CAP_PROP_AUTO_EXPOSURE) == code:
            break
    device.set(cv2.CAP_PROP_AUTO_WB, 1)
    device.set(cv2.CAP_PROP_AUTOFOCUS, 1)


def set_by_word(device: Device, name: str, wanted: float) -> Control:
    """Set white balance (kelvins) or focus (driver units); only the driver's word can be had."""
    automatic, prop = BY_WORD[name]
    device.set(automatic, 0)
    device.set(prop, wanted)
    read = device.get(prop)
    if read <= 0 and wanted > 0:
        return Control(name, Hold.NOT_CONTROLLABLE)
    near = abs(read - wanted) <= max(1.0, 0.02 * wanted)
    reason = "only the driver says so" if near else f"{wanted:g} was asked for"
    return Control(name, Hold.NOT_VERIFIED, read, reason)


def set_gain(device: Device, gain: float) -> Control:
    """Set the gain (driver units) and find out by the light whether it holds.

    Raises
    ------
    SourceStalled
        The camera stopped delivering.
    """
    trial = _try_by_light(
        device,
        cv2.CAP_PROP_GAIN,
        gain,
        lambda brighter: gain * 2 + 8 if brighter else gain / 2 - 1,
    )
    return _judged("gain", trial, abs(trial.read - gain) <= 0.5, trial.read, "")


def switch_off(device: Device, name: str, prop: int) -> Control:
    """Switch an automatic off; only the driver's word can be had for it."""
    before = device.get(prop)
    device.set(prop, 0)
    if device.get(prop) == 0 and before in (0, 1):
        return Control(f"automatic {name} off", Hold.NOT_VERIFIED)
    return Control(f"automatic {name} off", Hold.NOT_CONTROLLABLE)


def switch_off_all(device: Device) -> list[Control]:
    """Switch automatic white balance and focus off; exposure has its own, see ``by_hand``."""
    return [
        switch_off(device, "white balance", cv2.CAP_PROP_AUTO_WB),
        switch_off(device, "focus", cv2.CAP_PROP_AUTOFOCUS),
    ]


def hold_all(
    device: Device,
    exposure_s: float | None,
    gain: float | None,
    *,
    as_found: bool = False,
    white_balance_k: float | None = None,
    focus: float | None = None,
) -> tuple[Control, ...]:
    """Switch off what a camera does by itself, and lock exposure, then gain.

    Parameters
    ----------
    device : Device
    exposure_s : float or None
        Wanted exposure.
    gain : float or None
        Wanted gain in driver units; left alone when None.
    as_found : bool
        Without a wanted exposure: lock it at what the camera has chosen.
    white_balance_k, focus : float or None
        Wanted values; held as found when None.

    Raises
    ------
    SourceStalled
        The camera stopped delivering.
    """
    found = switch_off_all(device)
    if exposure_s is not None:
        found.append(set_exposure(device, exposure_s))
    elif as_found:
        found.append(hold_exposure(device))
    if gain is not None:
        found.append(set_gain(device, gain))
    for name, wanted in (("white balance", white_balance_k), ("focus", focus)):
        if wanted is not None:
            found.append(set_by_word(device, name, wanted))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Trial:
    moved: bool
    came_back: bool
    read: float
    known: bool
    cannot_tell: str


def _try_by_light(
    device: Device, prop: int, wanted: float, other_than: Callable[[bool], float]
) -> _Trial:
    """Set a value, another, and the first again; compare the light."""
    device.set(prop, wanted)
    at = look(device)
    read = device.get(prop)
    brighter = at.mean < 64 or (at.dark > 0.5 and at.bright < 0.1)
    device.set(prop, other_than(brighter))
    there = look(device)
    other_read = device.get(prop)
    device.set(prop, wanted)
    again = look(device)
    right_way = there.mean > at.mean if brighter else there.mean < at.mean
    return _Trial(
        moved=at.differs(there) and right_way,
        came_back=not at.differs(again),
        read=read,
        known=read != other_read,
        cannot_tell=at.cannot_tell,
    )


def _judged(name: str, trial: _Trial, follows: bool, value: float, reason: str) -> Control:
    if trial.moved and trial.came_back:
        return Control(name, Hold.LOCKED, value, reason)
    if not trial.came_back:
        return Control(name, Hold.AUTOMATIC, None, "the light changed with nothing touched")
    if trial.cannot_tell and (follows or trial.known):
        return Control(name, Hold.NOT_VERIFIED, value, trial.cannot_tell)
    if follows and trial.known:
        return Control(name, Hold.NOT_VERIFIED, value, "the picture does not follow")
    return Control(name, Hold.NOT_CONTROLLABLE)
