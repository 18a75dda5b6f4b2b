"""A camera of this computer through OpenCV. One thread owns it from opening to release."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.imaging.cv import cv2
from liveview.model import (
    CONTROL_SETTINGS,
    CameraReading,
    Control,
    FrameStamp,
    Hold,
    Pixels,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Camera
from liveview.sources.controls import BY_WORD, give_back, hold_all, set_by_word, switch_off_all
from liveview.sources.desk import CameraDesk
from liveview.sources.devices import backend, find_cameras, match_camera
from liveview.sources.drivertime import DriverTime
from liveview.sources.exposed import ExposureWatch
from liveview.sources.formats import (
    FORMATS,
    delivered,
    depth_of,
    fourcc_name,
    plain,
    request,
    unpacked,
)
from liveview.sources.frozen import FROZEN_S, FrozenWatch
from liveview.sources.limits import check_size, checked_white
from liveview.sources.standing import UNITS, all_controls, set_value

FAILED_GRABS = 5
"""In a row; the driver has waited about a second for each."""

AT_ONCE_S = 0.001
"""A frame that is there after less than this was waiting in the driver's queue."""

DAMAGED_PICTURES = 50
"""In a row, before the camera counts as stalled."""


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
    cases less the camera's own delay from the settings. A frame without the driver's stamp that
    was there at once may have waited in the driver's queue: its error says for how long at most.

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
    desk : CameraDesk, optional
        Where wishes come in while it runs; its settings count, not ``camera``.
    """

    def __init__(
        self,
        wanted: str,
        camera: Camera,
        *,
        clock: Callable[[], float],
        opener: Callable[[str], tuple[Device, str]] = open_device,
        desk: CameraDesk | None = None,
    ) -> None:
        self._wanted = wanted
        self._camera = camera
        self._desk = desk or CameraDesk(camera)
        self._automatics_off = False
        self._clock = clock
        self._opener = opener
        self._device: Device | None = None
        self._held: Pixels | None = None
        self._buffer: NDArray[Any] | None = None
        self._kind: tuple[tuple[int, ...], str] = ((), "")
        self._form = camera.format
        self._number = -1
        self._damaged = 0
        self._controls: tuple[Control, ...] = ()
        self._driver = DriverTime()
        self._frozen = FrozenWatch()
        self._half_frame_s = 0.02
        self._due_s = math.inf
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
        self._camera, release = self._desk.begin()
        self._device, name = self._opener(self._wanted)
        if release:
            give_back(self._device)
        words = request(self._device, self._camera)
        self._form = delivered(self._device, self._camera.format)
        self._due_s = math.inf
        self._fetch(self._device)
        self._controls = self._held_controls(self._device)
        asked = tuple(words)
        words += [control.words for control in self._controls]
        first = self._held
        assert first is not None
        self._kind = _kind_of(first)
        check_size(first.shape[1], first.shape[0], name)
        bits = depth_of(first, self._form)
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
        self._automatics_off = bool(self._controls)
        self._desk.opened(
            CameraReading(
                name=name,
                controls=all_controls(self._device, self._controls),
                format=fourcc_name(int(self._device.get(cv2.CAP_PROP_FOURCC))).strip(),
                formats=FORMATS,
                words=asked,
            ),
            self._info,
        )
        return self._info

    def _held_controls(self, device: Device) -> tuple[Control, ...]:
        camera = self._camera
        wanted = (camera.exposure_s, camera.gain, camera.white_balance_k, camera.focus)
        if not camera.hold and all(value is None for value in wanted):
            return ()
        return hold_all(
            device,
            camera.exposure_s,
            camera.gain,
            as_found=camera.hold,
            white_balance_k=camera.white_balance_k,
            focus=camera.focus,
        )

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
            The picture has another size or kind than the first, or should have.
        """
        assert self._device is not None
        if self._desk.wants_anew:
            raise FormatChanged("the camera is set anew", f"camera:{self._wanted}")
        self._grant(self._device)
        stamp = self._fetch(self._device)
        assert self._held is not None
        kind = _kind_of(self._held)
        if kind != self._kind:
            raise FormatChanged(
                f"the camera changed its picture from {self._kind[0]} {self._kind[1]} to "
                f"{kind[0]} {kind[1]}",
                f"camera:{self._wanted}",
            )
        if self._frozen.frozen(self._held, stamp.time_s):
            raise SourceStalled(
                f"the camera has repeated the same picture for {FROZEN_S:g} s",
                f"camera:{self._wanted}",
                "plug it in again",
            )
        self._desk.see(self._held, stamp.time_s)
        self._follow_exposure()
        return stamp

    def _grant(self, device: Device) -> None:
        """Do what was wished for since the last picture."""
        wishes = self._desk.take()
        if wishes and not self._automatics_off:
            self._automatics_off = True
            for control in switch_off_all(device):
                self._desk.show(control)
        for name, value in wishes.items():
            if name in BY_WORD:
                self._desk.show(replace(set_by_word(device, name, value), unit=UNITS[name]))
                self._desk.expect_change()
            else:
                self._set_live(device, name, value)

    def _set_live(self, device: Device, name: str, value: float) -> None:
        """Set exposure or gain; the pictures that follow tell whether it holds."""
        assert self._info is not None
        got = set_value(device, name, value)
        if got is None:
            self._desk.show(Control(name, Hold.NOT_CONTROLLABLE, unit=UNITS[name]))
            self._desk.expect_change()
            return
        self._info = replace(self._info, **{CONTROL_SETTINGS[name]: got})  # type: ignore[arg-type]
        reason = "" if math.isclose(got, value, rel_tol=0.02) else f"asked for {value:.4g}"
        self._desk.judge(Control(name, Hold.CHANGING, got, reason, UNITS[name]))

    def _follow_exposure(self) -> None:
        assert self._exposure is not None and self._info is not None
        changed = self._exposure.changed(self._clock())
        if not changed:
            return
        self._info = replace(self._info, **changed)  # type: ignore[arg-type]
        for name in ("exposure", "gain"):
            value = changed.get(CONTROL_SETTINGS[name])
            control = self._desk.reading().control(name)
            if value is None or self._desk.judges(name) or control is None:
                continue
            if control.value is None or not math.isclose(control.value, value, rel_tol=0.02):
                self._desk.show(
                    replace(control, hold=Hold.AUTOMATIC, value=value, reason="the driver says so")
                )

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
            called_s = self._clock()
            self._grab(device)
            self._number += 1
            stamp = self._stamp(device, self._clock() - called_s)
            done, pixels = device.retrieve(self._buffer)
            if done and pixels is not None:
                self._buffer = pixels
                self._held = plain(unpacked(device, pixels, self._form), f"camera:{self._wanted}")
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

    def _stamp(self, device: Device, waited_s: float) -> FrameStamp:
        session_s, monotonic_s = self._clock(), time.monotonic()
        # Due a period after the one before, unless we had to wait for it: then it is fresh.
        due_s = self._due_s + 2 * self._half_frame_s
        self._due_s = session_s if waited_s > AT_ONCE_S else min(due_s, session_s)
        driver_s = device.get(cv2.CAP_PROP_POS_MSEC) / 1000.0
        from_driver_s = self._driver.session_s(driver_s, monotonic_s, session_s)
        if from_driver_s is None:
            error_s = max(self._half_frame_s, session_s - self._due_s)
            return FrameStamp(self._number, session_s - self._camera.delay_s, error_s)
        self._number += self._driver.lost
        return FrameStamp(
            self._number, from_driver_s - self._camera.delay_s, 0.001, round(driver_s * 1e9)
        )


def _kind_of(pixels: Pixels) -> tuple[tuple[int, ...], str]:
    """Shape, and the type of the codes."""
    return pixels.shape, str(pixels.dtype)
