"""Industrial cameras (GigE Vision, USB3 Vision) by the GenICam standard, through Aravis.

Aravis speaks both protocols by itself, without a maker's software; it is reached by its
introspected binding (PyGObject). Where it is not installed the address says how to install it.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
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
from liveview.sources.aravis import (
    GenicamDevice,
    aravis,
    find_genicam,
    library_error,
    match_genicam,
    message_of,
)
from liveview.sources.desk import CameraDesk
from liveview.sources.genicam_pixels import CODES, picture_of, sensor_bits, wanted_format
from liveview.sources.genicam_time import CameraTime
from liveview.sources.limits import check_size, checked_white

BUFFERS = 16
TIMEOUT_S = 1.5
"""And the exposure; short enough for a thread that is asked to end."""


class GenicamSource:
    """Frames of an industrial camera.

    Stamps are the camera's own when they advance evenly with the host's, else the moment of
    arrival. Frame numbers are the camera's: a gap is a loss.

    Parameters
    ----------
    wanted : str
        Id, serial number, network address or part of the name.
    camera : Camera
        Settings; this standard has longer names for formats than the four letters of ``format``:
        where those name none of the camera's, the best one for measuring is taken.
    clock : callable
        The session's clock, seconds.
    desk : CameraDesk, optional
        Where wishes come in while it runs.
    """

    def __init__(
        self,
        wanted: str,
        camera: Camera,
        *,
        clock: Callable[[], float],
        desk: CameraDesk | None = None,
    ) -> None:
        self._wanted = wanted
        self._camera = camera
        self._clock = clock
        self._desk = desk or CameraDesk(camera)
        self._device: Any = None
        self._stream: Any = None
        self._held: Pixels | None = None
        self._info: SourceInfo | None = None
        self._formats: list[str] = []
        self._time = CameraTime()
        self._incomplete = 0
        self._wait_s = TIMEOUT_S

    @property
    def info(self) -> SourceInfo | None:
        """What it says of itself now."""
        return self._info

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong so far, in words."""
        return (f"{self._incomplete} incomplete pictures left out",) if self._incomplete else ()

    def open(self) -> SourceInfo:
        """Find it, set it and start it.

        Raises
        ------
        InputUnreadable
            No library, no such camera, or one that another program holds.
        SourceStalled
            It opens but delivers nothing, or is gone at once.
        """
        self._camera, give_back = self._desk.begin()
        self._time = CameraTime()
        library = aravis()
        found = match_genicam(self._wanted, find_genicam())
        try:
            self._device = library.Camera.new(found.identity)
            words = self._ask(library)
            if give_back:
                self._automatics(library.Auto.CONTINUOUS)
            controls = self._hold(library)
            self._start(library)
        except library_error() as error:
            raise InputUnreadable(
                f"the camera does not open ({message_of(error)})",
                found.address,
                "check its network address, and that no other program holds it",
            ) from error
        self._fetch()
        try:
            return self._opened(found, words, controls)
        except library_error() as error:
            raise self._gone(error) from error

    def _opened(
        self, found: GenicamDevice, words: list[str], controls: tuple[Control, ...]
    ) -> SourceInfo:
        first = self._held
        assert first is not None
        check_size(first.shape[1], first.shape[0], found.name)
        form = self._device.get_pixel_format_as_string()
        bits = sensor_bits(form) or 8
        values = {control.name: control.value for control in controls}
        self._info = SourceInfo(
            kind=SourceKind.CAMERA,
            name=found.name,
            width=first.shape[1],
            height=first.shape[0],
            channels=1 if first.ndim == 2 else 3,
            bits=bits,
            white=checked_white(
                self._camera.white, (1 << bits) - 1, 255 if bits <= 8 else 65535, found.name
            ),
            live=True,
            rate_hz=_known(self._device.get_frame_rate),
            row_time_s=self._camera.row_time_s,
            exposure_s=values.get("exposure"),
            gain=values.get("gain"),
            transfer="linear" if sensor_bits(form) else None,
            note="; ".join([*words, *(control.words for control in controls)]),
        )
        self._desk.opened(
            CameraReading(
                name=found.name,
                controls=controls,
                format=form,
                formats=tuple(code for code, name in CODES.items() if name in self._formats),
                words=tuple(words),
                stamps="camera" if self._time.trusted else "host",
            ),
            self._info,
        )
        return self._info

    def _ask(self, library: Any) -> list[str]:
        """Ask for format, size and rate; words about what was not granted."""
        device, camera, words = self._device, self._camera, []
        there = self._formats = list(device.dup_available_pixel_formats_as_strings())
        form = wanted_format(camera.format, there)
        if form is None:
            words.append(f"no format of this camera is known here ({', '.join(there)})")
        else:
            device.set_pixel_format_from_string(form)
        words += self._ask_size(camera)
        if camera.rate_hz is not None:
            words += self._ask_rate(camera.rate_hz)
        return words

    def _ask_size(self, camera: Camera) -> list[str]:
        if camera.width is None and camera.height is None:
            return []
        _, _, width, height = _region(self._device)
        refused = ""
        try:
            self._device.set_region(0, 0, camera.width or width, camera.height or height)
        except library_error() as error:
            refused = f" ({message_of(error)})"
        _, _, width, height = _region(self._device)
        pairs = (("width", camera.width, width), ("height", camera.height, height))
        return [
            f"{name} {asked} was asked for, {got} came{refused}"
            for name, asked, got in pairs
            if asked is not None and asked != got
        ]

    def _ask_rate(self, rate_hz: float) -> list[str]:
        try:
            self._device.set_frame_rate(rate_hz)
        except library_error() as error:
            return [f"rate {rate_hz:g} was asked for and refused ({message_of(error)})"]
        got_hz = self._device.get_frame_rate()
        if abs(got_hz - rate_hz) <= 0.02 * rate_hz:
            return []
        return [f"rate {rate_hz:g} was asked for, {got_hz:g} came"]

    def _hold(self, library: Any) -> tuple[Control, ...]:
        """Switch automatics off and set what is wanted; the standard's words can be believed."""
        camera = self._camera
        wanted = camera.hold or camera.exposure_s is not None or camera.gain is not None
        if wanted:
            self._automatics(library.Auto.OFF)
        controls = []
        for name, value in (("exposure", camera.exposure_s), ("gain", camera.gain)):
            controls.append(self._set_and_say(library, name, value))
        exposure_s = controls[0].value
        self._wait_s = TIMEOUT_S + (exposure_s or 0.0)
        return tuple(controls)

    def _automatics(self, mode: Any) -> None:
        if self._device.is_exposure_auto_available():
            self._device.set_exposure_time_auto(mode)
        if self._device.is_gain_auto_available():
            self._device.set_gain_auto(mode)

    def _standing(self, library: Any, name: str) -> Control:
        """How a control stands, in the camera's own words."""
        device = self._device
        if name == "exposure":
            if not device.is_exposure_time_available():
                return Control(name, Hold.NOT_CONTROLLABLE, unit="s")
            automatic = device.is_exposure_auto_available() and (
                device.get_exposure_time_auto() != library.Auto.OFF
            )
            low, high = _bounds(device.get_exposure_time_bounds())
            value, unit, limits = device.get_exposure_time() * 1e-6, "s", (low * 1e-6, high * 1e-6)
        else:
            if not device.is_gain_available():
                return Control(name, Hold.NOT_CONTROLLABLE, unit="dB")
            automatic = device.is_gain_auto_available() and (
                device.get_gain_auto() != library.Auto.OFF
            )
            value, unit, limits = device.get_gain(), "dB", _bounds(device.get_gain_bounds())
        hold = Hold.AUTOMATIC if automatic else Hold.NOT_VERIFIED
        reason = "" if automatic else "the camera says so"
        return Control(name, hold, value, reason, unit, limits)

    def _set_and_say(self, library: Any, name: str, value: float | None) -> Control:
        """Set a control if it is there and a value is wished for; how it stands now."""
        now = self._standing(library, name)
        if value is None or now.hold is Hold.NOT_CONTROLLABLE:
            return now
        try:
            self._set(name, value)
        except library_error() as error:
            return replace(now, hold=Hold.NOT_CONTROLLABLE, reason=message_of(error))
        return self._standing(library, name)

    def _set(self, name: str, value: float) -> None:
        if name == "exposure":
            low, high = _bounds(self._device.get_exposure_time_bounds())
            self._device.set_exposure_time(min(max(value * 1e6, low), high))
        else:
            low, high = _bounds(self._device.get_gain_bounds())
            self._device.set_gain(min(max(value, low), high))

    def _start(self, library: Any) -> None:
        self._stream = self._device.create_stream(None, None)
        size = self._device.get_payload()
        for _ in range(BUFFERS):
            self._stream.push_buffer(library.Buffer.new_allocate(size))
        self._device.start_acquisition()

    def grab(self) -> FrameStamp | None:
        """Wait for the next whole picture.

        Raises
        ------
        SourceStalled
            Nothing comes, or it does not answer to what is asked of it.
        FormatChanged
            Another format, size or rate is wished for, or comes.
        """
        if self._desk.wants_anew:
            raise FormatChanged("the camera is set anew", f"genicam:{self._wanted}")
        wishes = self._desk.take()
        if wishes:
            try:
                self._grant(wishes)
            except library_error() as error:
                raise self._gone(error) from error
        stamp = self._fetch()
        assert self._held is not None and self._info is not None
        if (self._held.shape, self._held.dtype) != (self._info.shape, self._info.dtype):
            raise FormatChanged(
                f"the camera changed its picture from {self._info.shape} to {self._held.shape}",
                f"genicam:{self._wanted}",
            )
        self._desk.see(self._held, stamp.time_s)
        return stamp

    def _gone(self, error: Exception) -> SourceStalled:
        """The library's error about a camera that no longer answers, in this program's words."""
        return SourceStalled(
            f"the camera does not answer ({message_of(error)})",
            f"genicam:{self._wanted}",
            "check its cable and power",
        )

    def _grant(self, wishes: dict[str, float]) -> None:
        library = aravis()
        for name, value in wishes.items():
            if name not in ("exposure", "gain"):
                self._desk.show(Control(name, Hold.NOT_CONTROLLABLE))
                continue
            self._take_in_hand(library)
            now = self._set_and_say(library, name, value)
            if now.hold is Hold.NOT_CONTROLLABLE:
                self._desk.show(now)
                continue
            self._stands(name, value, now)

    def _take_in_hand(self, library: Any) -> None:
        """Who turns one control wants none of them to turn by itself."""
        self._automatics(library.Auto.OFF)
        for control in self._desk.reading().controls:
            if control.hold is Hold.AUTOMATIC:
                self._desk.show(self._standing(library, control.name))

    def _stands(self, name: str, asked: float, now: Control) -> None:
        assert self._info is not None and now.value is not None
        if name == "exposure":
            self._wait_s = TIMEOUT_S + now.value
        self._info = replace(self._info, **{CONTROL_SETTINGS[name]: now.value})  # type: ignore[arg-type]
        near = math.isclose(now.value, asked, rel_tol=0.02, abs_tol=1e-6)
        reason = "" if near else f"asked for {asked:.4g}"
        self._desk.judge(replace(now, hold=Hold.CHANGING, reason=reason))

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed picture into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        np.copyto(out, self._held)

    def close(self) -> None:
        """Stop it and let go of it."""
        device, self._device, self._stream, self._held = self._device, None, None, None
        if device is None:
            return
        try:
            device.stop_acquisition()
        except library_error():
            # It is gone already: there is nothing left to stop.
            return

    def _fetch(self) -> FrameStamp:
        library = aravis()
        end_s = time.monotonic() + self._wait_s
        while (left_s := end_s - time.monotonic()) > 0:
            buffer = self._stream.timeout_pop_buffer(int(left_s * 1e6))
            if buffer is None:
                continue
            arrived_s = self._clock()
            try:
                if buffer.get_status() != library.BufferStatus.SUCCESS:
                    self._incomplete += 1
                    continue
                self._held = picture_of(buffer)
                return self._time.stamp(
                    int(buffer.get_frame_id()),
                    int(buffer.get_timestamp()),
                    arrived_s,
                    self._camera.delay_s,
                )
            finally:
                self._stream.push_buffer(buffer)
        raise SourceStalled(
            "the camera delivers no whole pictures",
            f"genicam:{self._wanted}",
            "check its cable, and that the network takes the rate",
        )


def _region(device: Any) -> tuple[int, int, int, int]:
    region = device.get_region()
    return (region.x, region.y, region.width, region.height)


def _bounds(found: Any) -> tuple[float, float]:
    return (float(found[0]), float(found[1]))


def _known(read: Callable[[], float]) -> float | None:
    try:
        value = read()
    except library_error():
        return None
    return value if 0.01 < value < 1e6 else None
