"""Pixel formats of cameras: what is asked for, what came, and its depth."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Pixels
from liveview.settings import Camera

DEFAULT_FORMAT = "MJPG"
"""Most webcams reach their full size and rate only with it."""

BAYER = {
    **{"BA81": 8, "GBRG": 8, "GRBG": 8, "RGGB": 8},
    **{"BG10": 10, "GB10": 10, "BA10": 10, "RG10": 10},
    **{"BG12": 12, "GB12": 12, "BA12": 12, "RG12": 12},
}
"""Raw pixels behind a colour mosaic. They serve as mono: each is compared with itself only."""

RAW_FORMATS = {"GREY": 8, "Y800": 8, "Y10 ": 10, "Y12 ": 12, "Y16 ": 16, **BAYER}
"""Formats that are delivered without a detour over 8-bit colour, with their depth."""

DRIVER_FRAMES = 10
"""How many a driver is asked to keep while this program is held up; the most that OpenCV grants."""

FORMATS = ("MJPG", "YUYV", "GREY", "Y10", "Y12", "Y16", "BA81", "GBRG", "GRBG", "RGGB")
"""What may be asked for; OpenCV does not tell what they have."""


class Device(Protocol):
    """The part of an OpenCV capture that is used."""

    def get(self, prop: int, /) -> float:
        """Value of a property, 0 or -1 where it has none."""

    def set(self, prop: int, value: float, /) -> bool:
        """Ask for a value; True promises little."""


def request(device: Device, camera: Camera) -> list[str]:
    """Ask for a long queue, format, size and rate, in this order, and say what was not granted.

    The format comes first: sizes and rates depend on it.
    """
    words = []
    # Four otherwise, which is 33 ms at 120 Hz. Interfaces that cannot do it pass over it.
    device.set(cv2.CAP_PROP_BUFFERSIZE, DRIVER_FRAMES)
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
    granted = fourcc_name(int(device.get(cv2.CAP_PROP_FOURCC)))
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


def delivered(device: Device, asked: str) -> str:
    """The format that comes: the driver's word for it, else what was asked for."""
    return fourcc_name(int(device.get(cv2.CAP_PROP_FOURCC))) or asked


def depth_of(pixels: Pixels, form: str) -> int:
    """Bits of a picture's codes; 16-bit containers may hold fewer."""
    if pixels.dtype == np.uint8:
        return 8
    depth = RAW_FORMATS.get(_fourcc_text(form), 16)
    return depth if depth > 8 else 16


def unpacked(device: Device, pixels: NDArray[Any], form: str) -> NDArray[Any]:
    """A raw picture that came as one long row of bytes, as rows and columns; others as they are."""
    bits = RAW_FORMATS.get(_fourcc_text(form))
    if bits is None or pixels.dtype != np.uint8 or min(pixels.shape[:2]) != 1:
        return pixels
    width = int(device.get(cv2.CAP_PROP_FRAME_WIDTH))
    height = int(device.get(cv2.CAP_PROP_FRAME_HEIGHT))
    row = pixels.reshape(-1)
    if bits > 8 and row.size == 2 * width * height:
        return row.view("<u2").reshape(height, width)
    return row.reshape(height, width) if row.size == width * height else pixels


def _fourcc_text(form: str) -> str:
    return form.upper().ljust(4)[:4]


def fourcc_name(code: int) -> str:
    """Four letters of a format's code; empty where it is none."""
    if code <= 0:
        return ""
    text = code.to_bytes(4, "little", signed=False).decode("latin-1")
    return text if text.isprintable() else ""
