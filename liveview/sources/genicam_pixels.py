"""Pixel formats by GenICam's naming convention, and the arrays that they become."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Pixels

MONO = {"Mono8": 8, "Mono10": 10, "Mono12": 12, "Mono14": 14, "Mono16": 16}
BAYER = {
    f"Bayer{pattern}{bits}": bits
    for pattern in ("RG", "GR", "GB", "BG")
    for bits in (8, 10, 12, 16)
}
COLOUR = ("RGB8", "BGR8")
PREFERRED = ("Mono12", "Mono10", "Mono16", "Mono8")


CODES = {
    **{"GREY": "Mono8", "Y10": "Mono10", "Y12": "Mono12", "Y16": "Mono16"},
    **{"BA81": "BayerBG8", "GBRG": "BayerGB8", "GRBG": "BayerGR8", "RGGB": "BayerRG8"},
    **{"RGB3": "RGB8", "BGR3": "BGR8"},
}
"""The four-letter codes of the settings, and the standard's names."""


def wanted_format(asked: str, there: list[str]) -> str | None:
    """The camera's format that is meant by a four-letter code, or the deepest mono one."""
    meant = CODES.get(asked.upper().strip())
    if meant in there:
        return meant
    known = (*PREFERRED, *BAYER, *COLOUR)
    return next((form for form in known if form in there), None)


def picture_of(buffer: Any) -> Pixels:
    """Pixels of a buffer: mono or raw mosaic (rows, columns), colour in blue, green, red order.

    Raises
    ------
    InputUnreadable
        A packed or unknown format.
    """
    width, height = buffer.get_image_width(), buffer.get_image_height()
    code = buffer.get_image_pixel_format()
    data = np.frombuffer(buffer.get_data(), np.uint8)
    bits = (code >> 16) & 0xFF
    count = width * height
    if bits == 8 and data.size >= count:
        return data[:count].reshape(height, width)
    if bits == 16 and data.size >= 2 * count:
        return data[: 2 * count].view("<u2").reshape(height, width)
    if bits == 24 and data.size >= 3 * count:
        colour: NDArray[Any] = data[: 3 * count].reshape(height, width, 3)
        return colour if code & 0xFFFF == 0x0015 else cv2.cvtColor(colour, cv2.COLOR_RGB2BGR)
    raise InputUnreadable(
        f"pixel format {code:#x} is not read", "genicam", "choose an unpacked mono format"
    )
