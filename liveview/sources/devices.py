"""Which cameras there are, and how one is named so that it is found again next week."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2


@dataclass(frozen=True, slots=True)
class CameraDevice:
    """A camera of this computer.

    ``index`` may change when others are plugged in; ``name`` and ``ids`` (vendor and product,
    four hexadecimal digits each) stay. ``path`` is the device's place where the system has one.
    """

    index: int
    name: str
    path: str = ""
    ids: str = ""

    @property
    def address(self) -> str:
        """What opens it: by name, so that it is found again at another socket."""
        return f"camera:{self.name}" if self.name else f"camera:{self.index}"


def backend() -> int:
    """OpenCV's interface to the cameras of this system."""
    return {
        "linux": cv2.CAP_V4L2,
        "win32": cv2.CAP_DSHOW,
        "darwin": cv2.CAP_AVFOUNDATION,
    }.get(sys.platform, cv2.CAP_ANY)


def find_cameras() -> tuple[CameraDevice, ...]:
    """The cameras the system knows of, by index; none is opened."""
    from cv2_enumerate_cameras import enumerate_cameras, supported_backends

    wanted = backend()
    if wanted not in supported_backends:
        wanted = cv2.CAP_ANY
    found = [
        CameraDevice(
            info.index,
            (info.name or "").strip(),
            info.path or "",
            f"{info.vid:04x}:{info.pid:04x}" if info.vid and info.pid else "",
        )
        for info in enumerate_cameras(wanted)
    ]
    return tuple(sorted(found, key=lambda device: device.index))


def match_camera(wanted: str, devices: Sequence[CameraDevice]) -> CameraDevice:
    """The camera that is meant: by index, exact name, ids, path, or part of its name.

    An index that is not listed is tried all the same: some systems list nothing.

    Raises
    ------
    InputUnreadable
        None fits, or a part of a name fits several.
    """
    if wanted.isdecimal():
        number = int(wanted)
        return next((d for d in devices if d.index == number), CameraDevice(number, ""))
    for fits in (
        [d for d in devices if d.name == wanted],
        [d for d in devices if wanted and wanted.lower() in (d.ids, d.path.lower())],
    ):
        if fits:
            return fits[0]
    part = [d for d in devices if wanted and wanted.casefold() in d.name.casefold()]
    if len(part) == 1:
        return part[0]
    names = ", ".join(f"'{d.name}'" for d in (part or devices))
    what = "several cameras have such a name" if part else "there is no such camera"
    remedy = f"give one of {names}" if names else "plug it in; 'liveview list' shows what answers"
    raise InputUnreadable(what, f"camera:{wanted}", remedy)
