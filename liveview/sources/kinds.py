"""What a file holds, told by its first bytes: names are given and changed by people."""

from __future__ import annotations

from enum import Enum
from pathlib import Path

from liveview.sources.headers import read_header
from liveview.sources.picture import PICTURE_SUFFIXES, TIFF_SUFFIXES

_HEAD = 4096
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_MATROSKA = b"\x1aE\xdf\xa3"
_JPEG = b"\xff\xd8"


class Kind(Enum):
    """How a file of frames is to be read."""

    TIFF = "tiff"
    PICTURE = "picture"
    VIDEO = "video"


def kind_of(path: Path) -> Kind:
    """What is in a file; by its name where the first bytes do not tell, or cannot be read."""
    suffix = path.suffix.lower()
    by_name = Kind.PICTURE if suffix in PICTURE_SUFFIXES else Kind.VIDEO
    if suffix in TIFF_SUFFIXES:
        by_name = Kind.TIFF
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError:
        return by_name
    found = _by_content(head)
    # A TIFF's name on another picture: the TIFF library says best what is wrong with it.
    return by_name if found is None or (found, by_name) == (Kind.PICTURE, Kind.TIFF) else found


def _by_content(head: bytes) -> Kind | None:
    if head.startswith(_TIFF):
        return Kind.TIFF
    if head.startswith(_MATROSKA) or head[4:8] == b"ftyp":
        return Kind.VIDEO
    if head.startswith(b"RIFF"):
        return {b"AVI ": Kind.VIDEO, b"WEBP": Kind.PICTURE}.get(head[8:12])
    if head.startswith(_JPEG):
        return None  # one picture, or motion JPEG without a container
    header = read_header(head)
    return Kind.PICTURE if header is not None and header.width and header.height else None
