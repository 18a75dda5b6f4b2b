"""A camera of this computer through OpenCV. One thread owns it from opening to release."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.imaging.cv import cv2
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.controls import Control, hold_all
from liveview.sources.devices import backend, find_cameras, match_camera
from liveview.sources.drivertime import DriverTime
from liveview.sources.exposed import ExposureWatch
from liveview.sources.frozen import FROZEN_S, FrozenWatch
from liveview.sources.limits import check_size, checked_white

FAILED_GRABS = 5
"""In a row; the driver has waited about a second for each."""

DAMAGED_PICTURES = 50
"""In a row, before the camera counts as stalled."""

DEFAULT_FORMAT = "MJPG"
"""Most webcams reach their full size and rate only with it."""

RAW_FORMATS = {"GREY": 8, "Y800": 8, "Y10 ": 10, "Y12 ": 12, "Y16 ": 16}
"""Mono formats that are delivered without a detour over 8-bit colour, with their depth."""


class Device(Protocol):
    """The part of an OpenCV capture that is used."""

    def get(self, prop: int, /) -> float:
        """Value of a property, 0 or -1 where it has none."""

    def set(self, prop: int, value: float, /) -> bool:
        """Ask for a value; True promises little."""

    def grab(self) -> bool:
        """Wait for the next picture."""

    def retrieve(self, image: Any = None, /) -> tuple[bool, Any]:
        """Decode the grabbed picture."""

    def release(self) -> None:
        """Let go of the camera."""


def open_device(wanted: str) -> tuple[Device, str]:
    """Open a camera by index, name, ids or path; returns it and its name.

    Raises
    ------
    InputUnreadable
        There is no such camera, or it does not open.
    """
    camera = match_camera(wanted, find_cameras())
    device = cv2.VideoCapture(camera.index, backend())
    if not device.isOpened():
        device.release()
        raise InputUnreadable(
            "the camera does not open",
            camera.address,
            "check that it is plugged in, allowed and not held by another program",
        )
    return device, camera.name or camera.address


class CameraSource:
    """Frames of a camera as they come.

    Stamps are the driver's where they are plausible, else the moment after grabbing, in both
    cases less the camera's own delay from the settings.

    Parameters
    ----------
    wanted : str
        Index, name, ids (``046d:0825``) or path.
    camera : Camera
        Settings: format, size, rate, ``white``, ``delay_s`` and what is known of the shutter.
    clock : callable
        The session's clock, seconds.
    opener : callable, optional
        Opens the device.
    """

    def __init__(
        self,
        wanted: str,
        camera: Camera,
        *,
        clock: Callable[[], float],
        opener: Callable[[str], tuple[Device, str]] = open_device,
    ) -> None:
        self._wanted = wanted
        self._camera = camera
        self._clock = clock
        self._opener = opener
        self._device: Device | None = None
        self._held: Pixels | None = None
        self._buffer: NDArray[Any] | None = None
        self._shape: tuple[int, ...] = ()
        self._number = -1
        self._damaged = 0
        self._controls: tuple[Control, ...] = ()
        self._driver = DriverTime()
        self._frozen = FrozenWatch()
        self._half_frame_s = 0.02
        self._info: SourceInfo | None = None
        self._exposure: ExposureWatch | None = None

    @property
    def info(self) -> SourceInfo | None:
        """What it says of itself now: exposure and gain follow what the driver reports."""
        return self._info

    @property
    def controls(self) -> tuple[Control, ...]:
        """What was asked of the camera's exposure, gain and automatics, and whether it holds."""
        return self._controls

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong so far, in words."""
        return (f"{self._damaged} damaged pictures left out",) if self._damaged else ()

    def open(self) -> SourceInfo:
        """Open the camera, ask for format, size and rate, and wait for the first picture.

        Raises
        ------
        InputUnreadable
            No such camera, it does not open, or its pictures are of an unsupported kind.
        SourceStalled
            It opens but delivers nothing.
        """
        self._device, name = self._opener(self._wanted)
        words = request(self._device, self._camera)
        self._fetch(self._device)
        self._controls = self._held_controls(self._device)
        words += [control.words for control in self._controls]
        first = self._held
        assert first is not None
        self._shape = first.shape
        check_size(first.shape[1], first.shape[0], name)
        bits = self._depth(first)
        rate = self._device.get(cv2.CAP_PROP_FPS)
        rate_hz = float(rate) if 0.5 < rate < 10_000 else None
        self._half_frame_s = 0.5 / rate_hz if rate_hz else self._half_frame_s
        self._exposure = ExposureWatch(self._device)
        self._info = SourceInfo(
            kind=SourceKind.CAMERA,
            name=name,
            width=first.shape[1],
            height=first.shape[0],
            channels=1 if first.ndim == 2 else 3,
            bits=bits,
            white=checked_white(
                self._camera.white, (1 << bits) - 1, 255 if bits <= 8 else 65535, name
            ),
            live=True,
            rate_hz=rate_hz,
            row_time_s=self._camera.row_time_s,
            exposure_s=self._value_of("exposure"),
            gain=self._value_of("gain"),
            note="; ".join(words),
        )
        return self._info

    def _held_controls(self, device: Device) -> tuple[Control, ...]:
        camera = self._camera
        if camera.exposure_s is None and camera.gain is None and not camera.hold:
            return ()
        return hold_all(device, camera.exposure_s, camera.gain, as_found=camera.hold)

    def _value_of(self, name: str) -> float | None:
        """What a control stands at, None where the camera does not obey."""
        return next((control.value for control in self._controls if control.name == name), None)

    def grab(self) -> FrameStamp | None:
        """Wait for the next picture and decode it; damaged ones are left out and counted.

        Raises
        ------
        SourceStalled
            Nothing comes, or the same picture again and again.
        FormatChanged
            The picture has another size or kind than the first.
        """
        assert self._device is not None
        stamp = self._fetch(self._device)
        assert self._held is not None
        if self._held.shape != self._shape:
            raise FormatChanged(
                f"the camera changed its picture from {self._shape} to {self._held.shape}",
                f"camera:{self._wanted}",
            )
        if self._frozen.frozen(self._held, stamp.time_s):
            raise SourceStalled(
                f"the camera has repeated the same picture for {FROZEN_S:g} s",
                f"camera:{self._wanted}",
                "plug it in again",
            )
        self._follow_exposure()
        return stamp

    def _follow_exposure(self) -> None:
        assert self._exposure is not None and self._info is not None
        changed = self._exposure.changed(self._clock())
        if changed:
            self._info = replace(self._info, **changed)  # type: ignore[arg-type]

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed picture into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        np.copyto(out, self._held)

    def close(self) -> None:
        """Let go of the camera."""
        self._held = self._buffer = None
        if self._device is not None:
            self._device.release()
            self._device = None

    def _fetch(self, device: Device) -> FrameStamp:
        """The next whole picture, in ``_held``, and its stamp."""
        for _ in range(DAMAGED_PICTURES):
            self._grab(device)
            self._number += 1
            stamp = self._stamp(device)
            done, pixels = device.retrieve(self._buffer)
            if done and pixels is not None:
                self._buffer = pixels
                self._held = plain(pixels, f"camera:{self._wanted}")
                return stamp
            self._damaged += 1
        raise SourceStalled(
            "the camera delivers damaged pictures only", f"camera:{self._wanted}", "check its cable"
        )

    def _grab(self, device: Device) -> None:
        for _ in range(FAILED_GRABS):
            if device.grab():
                return
        raise SourceStalled(
            "the camera delivers no pictures", f"camera:{self._wanted}", "check its cable"
        )

    def _stamp(self, device: Device) -> FrameStamp:
        session_s, monotonic_s = self._clock(), time.monotonic()
        driver_s = device.get(cv2.CAP_PROP_POS_MSEC) / 1000.0
        from_driver_s = self._driver.session_s(driver_s, monotonic_s, session_s)
        if from_driver_s is None:
            return FrameStamp(self._number, session_s - self._camera.delay_s, self._half_frame_s)
        self._number += self._driver.lost
        return FrameStamp(
            self._number, from_driver_s - self._camera.delay_s, 0.001, round(driver_s * 1e9)
        )

    def _depth(self, pixels: Pixels) -> int:
        if pixels.dtype == np.uint8:
            return 8
        depth = RAW_FORMATS.get(_fourcc_text(self._camera.format), 16)
        return depth if depth > 8 else 16


def request(device: Device, camera: Camera) -> list[str]:
    """Ask for format, size and rate, in this order, and say what was not granted.

    The format comes first: sizes and rates depend on it.
    """
    words = []
    form = _fourcc_text(camera.format or DEFAULT_FORMAT)
    device.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*form))
    if form in RAW_FORMATS:
        device.set(cv2.CAP_PROP_CONVERT_RGB, 0)
    for name, prop, wanted in (
        ("width", cv2.CAP_PROP_FRAME_WIDTH, camera.width),
        ("height", cv2.CAP_PROP_FRAME_HEIGHT, camera.height),
        ("rate", cv2.CAP_PROP_FPS, camera.rate_hz),
    ):
        if wanted is None:
            continue
        device.set(prop, wanted)
        got = device.get(prop)
        if got > 0 and abs(got - wanted) > 0.02 * wanted:
            words.append(f"{name} {wanted:g} was asked for, {got:g} came")
    granted = _fourcc_name(int(device.get(cv2.CAP_PROP_FOURCC)))
    if camera.format and granted and granted.strip() != form.strip():
        words.append(f"format {form.strip()} was asked for, {granted.strip()} came")
    if granted == "MJPG":
        words.append("compressed by the camera (MJPG): faint structure may be lost")
    return words


def plain(pixels: NDArray[Any], where: str) -> Pixels:
    """A camera's picture as gray or BGR of 8 or 16 bits.

    Raises
    ------
    InputUnreadable
        Another kind of array, such as undecoded bytes.
    """
    if pixels.ndim == 3 and pixels.shape[2] == 1:
        pixels = pixels[..., 0]
    gray = pixels.ndim == 2 and pixels.shape[0] > 1
    colour = pixels.ndim == 3 and pixels.shape[2] == 3
    if pixels.dtype not in (np.uint8, np.uint16) or not (gray or colour):
        raise InputUnreadable(
            f"the camera delivers an unsupported kind of picture {pixels.shape} {pixels.dtype}",
            where,
            "choose another camera.format, such as MJPG or GREY",
        )
    return pixels


def _fourcc_text(form: str) -> str:
    return form.upper().ljust(4)[:4]


def _fourcc_name(code: int) -> str:
    if code <= 0:
        return ""
    text = code.to_bytes(4, "little", signed=False).decode("latin-1")
    return text if text.isprintable() else ""
