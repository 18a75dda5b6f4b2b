"""One still picture as code values, from the bytes of a file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from liveview.errors import FormatChanged, InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Pixels
from liveview.sources.headers import read_header
from liveview.sources.limits import check_size, checked_file

TIFF_SUFFIXES = frozenset((".tif", ".tiff", ".btf"))
PICTURE_SUFFIXES = (
    frozenset((".png", ".jpg", ".jpeg", ".bmp", ".pgm", ".ppm", ".pnm", ".webp")) | TIFF_SUFFIXES
)


@dataclass(frozen=True, slots=True)
class Picture:
    """Code values, gray or BGR, uint8 or uint16, and their top code."""

    pixels: Pixels
    white: int

    @property
    def bits(self) -> int:
        """Depth of the codes."""
        return max(self.white.bit_length(), 1 if self.pixels.dtype == np.uint8 else 9)

    @property
    def channels(self) -> int:
        """1 or 3."""
        return 1 if self.pixels.ndim == 2 else 3

    @property
    def words(self) -> str:
        """Size and kind for messages: ``640 x 480, 8 bit gray``."""
        height, width = self.pixels.shape[:2]
        kind = "gray" if self.channels == 1 else "colour"
        return f"{width} x {height}, {self.pixels.dtype.itemsize * 8} bit {kind}"


def check_same(first: Picture, picture: Picture, where: str, white: int | None = None) -> None:
    """Refuse a picture that does not go with the first of its sequence.

    Parameters
    ----------
    white : int, optional
        The top code that the settings state for all of them: then it does not matter what they
        say themselves.

    Raises
    ------
    FormatChanged
        Another size, number of channels, type or top code.
    """
    if picture.words != first.words:
        raise FormatChanged(
            f"is {picture.words}, but the sequence began with {first.words}",
            where,
            "put pictures of one kind into a folder of their own",
        )
    if white is None and picture.white != first.white:
        raise FormatChanged(
            f"its top code is {picture.white}, but that of the first of the sequence {first.white}",
            where,
            "put them into folders of their own, or state one for all (camera.white, --white)",
        )


def read_picture(path: Path) -> Picture:
    """Decode a picture file: PNG, JPEG, TIFF (first page), BMP, PGM, PPM, WebP.

    Codes are kept as they stand; transparency is dropped; the orientation that the file states
    is obeyed, mirrored ones included (EXIF in PNG and JPEG, by OpenCV; the tag in TIFF).

    Raises
    ------
    InputUnreadable
        Missing, empty, damaged, too large, or not a picture.
    """
    if path.suffix.lower() in TIFF_SUFFIXES:
        from liveview.sources.tiff import open_tiff, read_page

        with open_tiff(path) as file:
            return read_page(file, 0, path)
    data = checked_file(path).read_bytes()
    header = read_header(data)
    if header is not None:
        check_size(header.width, header.height, str(path))
    picture = decoded(data, str(path), None if header is None else header.white)
    return _as_written(picture) if data.startswith(_WRITTEN_OUT) else picture


_WRITTEN_OUT = (b"P2", b"P3")
"""PGM and PPM in decimal figures."""


def _as_written(picture: Picture) -> Picture:
    """The codes of the file where OpenCV has spread them over 8 bits."""
    if picture.pixels.dtype != np.uint8:
        return picture
    # It rounds down, so that rounding up takes every step back.
    codes = -(-picture.pixels.astype(np.int32) * picture.white // 255)
    return Picture(codes.astype(np.uint8), picture.white)


def decoded(data: bytes, where: str, white: int | None = None) -> Picture:
    """Decode a picture held in memory.

    Raises
    ------
    InputUnreadable
        Damaged or not a picture.
    """
    try:
        pixels = cv2.imdecode(
            np.frombuffer(data, np.uint8), cv2.IMREAD_ANYDEPTH | cv2.IMREAD_ANYCOLOR
        )
    except cv2.error as error:
        raise _damaged(where) from error
    if pixels is None:
        raise _damaged(where)
    if pixels.dtype not in (np.uint8, np.uint16):
        raise InputUnreadable(
            f"its samples are of the unsupported kind '{pixels.dtype}'",
            where,
            "save it as 8 or 16 bit gray or RGB",
        )
    return Picture(pixels, white or (255 if pixels.dtype == np.uint8 else 65535))


def _damaged(where: str) -> InputUnreadable:
    return InputUnreadable(
        "is damaged or not a picture", where, "copy it again from the original, or remove it"
    )
