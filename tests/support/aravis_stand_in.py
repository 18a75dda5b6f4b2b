"""A stand-in for the library of industrial cameras, at its boundary: the calls that are made of it.

Beside the tests on the library's own simulated camera this one can do what that cannot: be
without a clock, refuse, be unplugged, count to 65535, and run where no such library is.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np

FORMATS = {"Mono8": 0x01080001, "Mono12": 0x01100005, "Mono12p": 0x010C0047, "RGB8": 0x02180014}


class Refused(Exception):
    """Like the library's: has its words in ``message``."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class Auto(Enum):
    OFF = 0
    ONCE = 1
    CONTINUOUS = 2


class BufferStatus(Enum):
    SUCCESS = 0
    MISSING_PACKETS = 5


class Machine:
    """A camera of the stand-in: a test sets what it is like before and during the run."""

    def __init__(self) -> None:
        self.identity, self.serial, self.place = "Maker-Model-77", "77", "192.0.2.7"
        self.formats = ["Mono8", "Mono12", "RGB8"]
        self.form = "Mono8"
        self.region = SimpleNamespace(x=0, y=0, width=32, height=24)
        self.rate_hz = 100.0
        self.light = 40.0
        """Mean code at 1 ms and no gain."""
        self.exposure_us, self.exposure_limits = 1000.0, (10.0, 50_000.0)
        self.gain_db, self.gain_limits = 0.0, (0.0, 24.0)
        self.auto = {"exposure": Auto.CONTINUOUS, "gain": Auto.CONTINUOUS}
        self.has = {"exposure", "gain", "exposure auto", "gain auto", "rate"}
        self.refuses: set[str] = set()
        self.running = False
        self.pushed = 0
        self.script: list[Any] = []
        """Of the next frames: (id, stamp in ns), a BufferStatus, or None for nothing."""
        self._id = 0

    def check(self, name: str) -> None:
        if name in self.refuses:
            raise Refused(f"no {name}\n here")

    def picture(self) -> np.ndarray:
        code = self.light * self.exposure_us / 1000 * 10 ** (self.gain_db / 20)
        shape = (self.region.height, self.region.width)
        noise = np.random.default_rng(self._id).normal(0, 1, shape)
        return np.clip(np.rint(code + noise), 0, 255)

    def next(self) -> Buffer | None:
        self._id += 1
        told = self.script.pop(0) if self.script else (self._id, self._id * 10_000_000)
        if told is None:
            return None
        if isinstance(told, BufferStatus):
            return Buffer(self, told, self._id, 0)
        return Buffer(self, BufferStatus.SUCCESS, *told)


class Buffer:
    def __init__(self, machine: Machine, status: BufferStatus, number: int, stamp_ns: int) -> None:
        self._machine, self._status = machine, status
        self._number, self._stamp_ns = number, stamp_ns
        self._pixels = machine.picture()

    @staticmethod
    def new_allocate(size: int) -> int:
        return size

    def get_status(self) -> BufferStatus:
        return self._status

    def get_frame_id(self) -> int:
        return self._number

    def get_timestamp(self) -> int:
        return self._stamp_ns

    def get_image_width(self) -> int:
        return int(self._machine.region.width)

    def get_image_height(self) -> int:
        return int(self._machine.region.height)

    def get_image_pixel_format(self) -> int:
        return FORMATS[self._machine.form]

    def get_data(self) -> bytes:
        codes = self._pixels
        if self._machine.form == "RGB8":
            return np.stack([codes, codes / 2, codes / 4], axis=2).astype(np.uint8).tobytes()
        if self._machine.form == "Mono12":
            return (codes * 16).astype("<u2").tobytes()
        return codes.astype(np.uint8).tobytes()


class Stream:
    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def push_buffer(self, buffer: Any) -> None:
        self._machine.pushed += 1

    def timeout_pop_buffer(self, timeout_us: int) -> Buffer | None:
        return self._machine.next()


class Camera:
    """The calls, by the library's names."""

    def __init__(self, machine: Machine) -> None:
        self._m = machine
        machine.check("open")

    def dup_available_pixel_formats_as_strings(self) -> list[str]:
        return self._m.formats

    def set_pixel_format_from_string(self, form: str) -> None:
        self._m.form = form

    def get_pixel_format_as_string(self) -> str:
        self._m.check("format")
        return self._m.form

    def get_region(self) -> Any:
        return self._m.region

    def set_region(self, x: int, y: int, width: int, height: int) -> None:
        self._m.check("region")
        self._m.region = SimpleNamespace(x=x, y=y, width=min(width, 64), height=min(height, 48))

    def get_frame_rate(self) -> float:
        self._m.check("reading the rate")
        return self._m.rate_hz

    def set_frame_rate(self, rate_hz: float) -> None:
        self._m.check("rate")
        self._m.rate_hz = min(rate_hz, 120.0)

    def is_exposure_time_available(self) -> bool:
        return "exposure" in self._m.has

    def is_gain_available(self) -> bool:
        return "gain" in self._m.has

    def is_exposure_auto_available(self) -> bool:
        return "exposure auto" in self._m.has

    def is_gain_auto_available(self) -> bool:
        return "gain auto" in self._m.has

    def get_exposure_time_auto(self) -> Auto:
        return self._m.auto["exposure"]

    def set_exposure_time_auto(self, mode: Auto) -> None:
        self._m.check("answer")
        self._m.auto["exposure"] = mode

    def get_gain_auto(self) -> Auto:
        return self._m.auto["gain"]

    def set_gain_auto(self, mode: Auto) -> None:
        self._m.auto["gain"] = mode

    def get_exposure_time_bounds(self) -> tuple[float, float]:
        return self._m.exposure_limits

    def get_exposure_time(self) -> float:
        return self._m.exposure_us

    def set_exposure_time(self, value_us: float) -> None:
        self._m.check("exposure")
        self._m.exposure_us = value_us

    def get_gain_bounds(self) -> tuple[float, float]:
        return self._m.gain_limits

    def get_gain(self) -> float:
        return self._m.gain_db

    def set_gain(self, value_db: float) -> None:
        self._m.gain_db = value_db

    def create_stream(self, *_: None) -> Stream:
        return Stream(self._m)

    def get_payload(self) -> int:
        return int(self._m.region.width * self._m.region.height * 2)

    def start_acquisition(self) -> None:
        self._m.running = True

    def stop_acquisition(self) -> None:
        self._m.running = False
        self._m.check("stop")


@contextmanager
def aravis_of(machines: list[Machine]) -> Iterator[ModuleType]:
    """The stand-in in the place of the library and of its binding, with these cameras."""
    from liveview.sources.aravis import aravis

    binding, repository = ModuleType("gi"), ModuleType("gi.repository")
    library, glib = ModuleType("gi.repository.Aravis"), ModuleType("gi.repository.GLib")
    by_id = {machine.identity: machine for machine in machines}
    binding.require_version = lambda name, version: None  # type: ignore[attr-defined]
    glib.Error = Refused  # type: ignore[attr-defined]
    library.__dict__.update(
        Auto=Auto,
        Buffer=Buffer,
        BufferStatus=BufferStatus,
        Camera=SimpleNamespace(new=lambda identity: Camera(by_id[identity])),
        update_device_list=lambda: None,
        get_n_devices=lambda: len(machines),
        get_device_id=lambda i: machines[i].identity,
        get_device_vendor=lambda i: "Maker",
        get_device_model=lambda i: "Model",
        get_device_serial_nbr=lambda i: machines[i].serial,
        get_device_address=lambda i: machines[i].place,
    )
    modules = {"gi": binding, "gi.repository": repository}
    modules |= {"gi.repository.Aravis": library, "gi.repository.GLib": glib}
    before = {name: sys.modules.get(name) for name in modules}
    aravis.cache_clear()
    sys.modules.update(modules)
    try:
        yield library
    finally:
        aravis.cache_clear()
        for name, module in before.items():
            if module is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module
