"""Pixel formats by GenICam's naming convention (PFNC), and the arrays that they become."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Pixels

_SENSOR = re.compile(r"(Mono|Bayer(?:RG|GR|GB|BG))(8|10|12|14|16)(p|Packed)?")
_DEPTHS = ("12", "12p", "12Packed", "10", "10p", "10Packed", "14", "16", "8")
"""A good sensor has 10 to 12 bits of worth: more cost rate and show noise."""
_KINDS = ("Mono", "BayerRG", "BayerGR", "BayerGB", "BayerBG")
PREFERRED = (*(kind + depth for kind in _KINDS for depth in _DEPTHS), "BGR8", "RGB8")

CODES = {
    **{"GREY": "Mono8", "Y10": "Mono10", "Y12": "Mono12", "Y14": "Mono14", "Y16": "Mono16"},
    **{"BA81": "BayerBG8", "GBRG": "BayerGB8", "GRBG": "BayerGR8", "RGGB": "BayerRG8"},
    **{"RGB3": "RGB8", "BGR3": "BGR8"},
}
"""The four-letter codes of the settings, and the standard's names."""

Bytes = NDArray[np.uint8]
BGR8 = 0x02180015
LAYOUTS = {
    "10Packed": (0x0004, 0x0026, 0x0027, 0x0028, 0x0029),
    "12Packed": (0x0006, 0x002A, 0x002B, 0x002C, 0x002D),
    "10p": (0x0046, 0x0052, 0x0054, 0x0056, 0x0058),
    "12p": (0x0047, 0x0053, 0x0055, 0x0057, 0x0059),
}
"""Numbers of the packed formats: mono first, then the mosaics."""


def sensor_bits(form: str) -> int | None:
    """Bits of a mono or raw mosaic format by its name; None for any other."""
    found = _SENSOR.fullmatch(form)
    return None if found is None else int(found[2])


def wanted_format(asked: str, there: list[str]) -> str | None:
    """The camera's format that is meant by a four-letter code, else the best one for measuring."""
    meant = CODES.get(asked.upper().strip())
    if meant in there:
        return meant
    return next((form for form in PREFERRED if form in there), None)


def picture_of(buffer: Any) -> Pixels:
    """Pixels of a buffer of the library; see ``unpacked``.

    They are a copy where that is needed, else a look at the buffer's own copy of its data.
    """
    width, height = buffer.get_image_width(), buffer.get_image_height()
    data = np.frombuffer(buffer.get_data(), np.uint8)
    return unpacked(data, buffer.get_image_pixel_format(), width, height)


def unpacked(data: Bytes, code: int, width: int, height: int) -> Pixels:
    """Pixels: mono or raw mosaic (rows, columns), colour in blue, green, red order.

    Parameters
    ----------
    data : array of bytes
        As they came; more than the picture needs are left out.
    code : int
        The format's number by the convention: bits 16 to 23 say how many bits a pixel takes.
    width, height : int

    Raises
    ------
    InputUnreadable
        A format that is not known here, or too few bytes.
    """
    bits, count = (code >> 16) & 0xFF, width * height
    need = (count * bits + 7) // 8
    if data.size < need:
        raise InputUnreadable(
            f"a picture has {data.size} bytes in place of {need}", "genicam", "open it again"
        )
    if bits == 24:
        colour: NDArray[Any] = data[:need].reshape(height, width, 3)
        return colour if code == BGR8 else cv2.cvtColor(colour, cv2.COLOR_RGB2BGR)
    if bits == 8:
        return data[:need].reshape(height, width)
    if bits == 16:
        return data[:need].view("<u2").reshape(height, width)
    layout = next((name for name, numbers in LAYOUTS.items() if code & 0xFFFF in numbers), None)
    if layout is None:
        raise InputUnreadable(
            f"pixel format {code:#x} is not read", "genicam", "choose a mono format"
        )
    return _filled(data[:need], _UNPACK[layout], count).reshape(height, width)


def _filled(
    data: Bytes, unpack: tuple[int, Callable[[NDArray[np.uint16]], list[Any]]], count: int
) -> NDArray[np.uint16]:
    """Groups of bytes to groups of pixels; the last group may be short."""
    size, columns = unpack
    groups = np.zeros((-(-data.size // size), size), np.uint16)
    whole = data.size // size
    groups[:whole] = data[: whole * size].reshape(whole, size)
    if whole < len(groups):
        groups[whole, : data.size - whole * size] = data[whole * size :]
    return np.stack(columns(groups.T), axis=1).reshape(-1)[:count]


_UNPACK: dict[str, tuple[int, Callable[[NDArray[np.uint16]], list[Any]]]] = {
    # The older packing of GigE Vision: the low bits of two pixels share the byte in the middle.
    "10Packed": (3, lambda b: [b[0] << 2 | b[1] & 3, b[2] << 2 | b[1] >> 4 & 3]),
    "12Packed": (3, lambda b: [b[0] << 4 | b[1] & 15, b[2] << 4 | b[1] >> 4]),
    # The convention's: one stream of bits, the lowest first.
    "10p": (
        5,
        lambda b: [
            b[0] | (b[1] & 3) << 8,
            b[1] >> 2 | (b[2] & 15) << 6,
            b[2] >> 4 | (b[3] & 63) << 4,
            b[3] >> 6 | b[4] << 2,
        ],
    ),
    "12p": (3, lambda b: [b[0] | (b[1] & 15) << 8, b[1] >> 4 | b[2] << 4]),
}
