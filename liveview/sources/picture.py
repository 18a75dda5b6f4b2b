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


def check_same(first: Picture, picture: Picture, where: str) -> None:
    """Refuse a picture that does not go with the first of its sequence.

    Raises
    ------
    FormatChanged
        Another size, number of channels or type.
    """
    if picture.words != first.words:
        raise FormatChanged(
            f"is {picture.words}, but the sequence began with {first.words}",
            where,
            "put pictures of one kind into a folder of their own",
        )


def read_picture(path: Path) -> Picture:
    """Decode a picture file: PNG, JPEG, TIFF (first page), BMP, PGM, PPM, WebP.

    Codes are kept as they stand; transparency is dropped; the file's own rotation is undone.

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
    return decoded(data, str(path), None if header is None else header.white)


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
