"""What the header of a picture file says, read before anything is decoded.

Decoders ask for memory as the header tells them; a damaged header may ask for all there is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Header:
    """Size in pixels, and the top code where the format tells (PGM and PPM), else None."""

    width: int
    height: int
    white: int | None = None


def read_header(data: bytes) -> Header | None:
    """The header of PNG, JPEG, BMP, WebP, PGM/PPM; None for other or damaged data.

    Parameters
    ----------
    data : bytes
        The file, or its beginning.
    """
    if data.startswith(b"\x89PNG\r\n\x1a\n") and len(data) >= 24:
        return Header(int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big"))
    if data.startswith(b"BM") and len(data) >= 26:
        width = int.from_bytes(data[18:22], "little", signed=True)
        height = int.from_bytes(data[22:26], "little", signed=True)
        return Header(abs(width), abs(height))
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP" and len(data) >= 30:
        return _webp(data)
    if data.startswith(b"\xff\xd8"):
        return _jpeg(data)
    return _netpbm(data)


def _webp(data: bytes) -> Header | None:
    """Of the three kinds of first chunk (RFC 9649): extended, lossless, lossy."""
    kind = data[12:16]
    if kind == b"VP8X":
        width, height = (int.from_bytes(data[at : at + 3], "little") for at in (24, 27))
        return Header(width + 1, height + 1)
    if kind == b"VP8L":
        sides = int.from_bytes(data[21:25], "little")
        return Header((sides & 0x3FFF) + 1, (sides >> 14 & 0x3FFF) + 1)
    if kind == b"VP8 ":
        width, height = (int.from_bytes(data[at : at + 2], "little") for at in (26, 28))
        return Header(width & 0x3FFF, height & 0x3FFF)
    return None


_NETPBM = re.compile(rb"P([2356])" + rb"(?:\s+(?:#[^\n]*\n\s*)*)(\d{1,9})" * 3 + rb"\s", re.DOTALL)


def _netpbm(data: bytes) -> Header | None:
    found = _NETPBM.match(data[:4096])
    if not found:
        return None
    return Header(int(found[2]), int(found[3]), int(found[4]))


_STAND_ALONE = {0x01, *range(0xD0, 0xD9)}
_FRAME_STARTS = set(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def _jpeg(data: bytes) -> Header | None:
    at = 2
    while at + 9 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
        elif marker in _STAND_ALONE:
            at += 2
        elif marker in _FRAME_STARTS:
            height = int.from_bytes(data[at + 5 : at + 7], "big")
            return Header(int.from_bytes(data[at + 7 : at + 9], "big"), height)
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None
