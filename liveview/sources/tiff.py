"""TIFF pages as code values, and a multi-page TIFF as a source."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.limits import check_size, checked_file
from liveview.sources.picture import Picture, check_same
from liveview.sources.sequence import Clock, clock_for, sequence_info
from liveview.sources.upright import by_orientation

if TYPE_CHECKING:
    from tifffile import TiffFile, TiffPage

logging.getLogger("tifffile").addHandler(logging.NullHandler())
_MIN_IS_WHITE, _PALETTE, _YCBCR = 0, 3, 6
_AS_THEY_STAND = {_MIN_IS_WHITE, 1, 2, 32803, 34892}
"""Photometric interpretations whose samples are light or its inverse: gray, RGB, mosaic, raw."""
_PACKED_BITS = {10, 12, 14}
_REMEDY = "save it as 8 or 16 bit gray or RGB, uncompressed or with LZW or deflate"
_REMEDY_DAMAGED = "copy it again from the original"


def open_tiff(path: Path) -> TiffFile:
    """Open a TIFF for reading its pages one by one.

    Raises
    ------
    InputUnreadable
        Missing, empty, or not a TIFF.
    """
    import tifffile

    place = checked_file(path)
    try:
        file = tifffile.TiffFile(place)
    except Exception as error:  # damaged files raise whatever they lead into
        raise InputUnreadable(
            "is not a TIFF that can be read, or its beginning is damaged", str(path), _REMEDY
        ) from error
    return file


def read_page(file: TiffFile, index: int, path: Path) -> Picture:
    """One page as code values: gray or BGR, uint8 or uint16.

    The orientation that the page states is obeyed, mirrored ones included; transparency is
    dropped.

    Raises
    ------
    InputUnreadable
        Damaged, too large, or of an unsupported kind.
    """
    where = str(path) if len(file.pages) == 1 else f"{path}, page {index + 1}"
    try:
        page: TiffPage = file.pages[index].aspage()
        check_size(page.imagewidth, page.imagelength, where)
        _check_kind(page, where)
        codes = _codes(page, index, path, where)
    except InputUnreadable:
        raise
    except Exception as error:  # damaged files raise whatever they lead into
        raise InputUnreadable("is damaged", where, _REMEDY_DAMAGED) from error
    if codes.ndim != 2 and not (codes.ndim == 3 and codes.shape[2] == 3):
        raise InputUnreadable("is not a plain picture", where, _REMEDY)
    white = _white(page)
    if page.photometric == _MIN_IS_WHITE:
        codes = white - np.minimum(codes, white)
    return Picture(np.ascontiguousarray(codes, dtype=page.dtype), white)


def _check_kind(page: TiffPage, where: str) -> None:
    bits, form = page.bitspersample, int(page.photometric)
    kind = ""
    if page.dtype not in (np.uint8, np.uint16):
        kind = str(page.dtype)
    elif bits not in _PACKED_BITS | {8, 16}:
        kind = f"{bits} bit"
    elif form not in _AS_THEY_STAND and (form not in (_PALETTE, _YCBCR) or bits != 8):
        kind = f"{bits} bit {getattr(page.photometric, 'name', form)}"
    if kind:
        raise InputUnreadable(f"its samples are of the unsupported kind '{kind}'", where, _REMEDY)
    if page.imagedepth > 1:
        raise InputUnreadable("is a volume, not a picture", where, _REMEDY)


def _codes(page: TiffPage, index: int, path: Path, where: str) -> Any:
    """Stored codes, upright, gray or BGR.

    By the TIFF library where they stand in the file as they are; by OpenCV for packed and derived
    ones, and for codings that library has no decoder for.
    """
    if page.photometric not in _AS_THEY_STAND or page.bitspersample in _PACKED_BITS:
        return _by_opencv(page, index, path, where)
    try:
        codes = page.asarray(maxworkers=1)
    except ValueError:
        return _by_opencv(page, index, path, where)
    if page.planarconfig == 2 and codes.ndim == 3:
        codes = np.moveaxis(codes, 0, -1)
    if codes.ndim == 3:
        codes = codes[..., 2::-1] if codes.shape[2] >= 3 else codes[..., 0]
    tag = page.tags.get("Orientation")
    return by_orientation(1 if tag is None else int(tag.value)).of(codes)


def _by_opencv(page: TiffPage, index: int, path: Path, where: str) -> Any:
    """As ``_codes``: OpenCV turns upright, inverts 8 bits and spreads packed bits to 16 itself."""
    translucent = page.samplesperpixel == 4
    flags = cv2.IMREAD_ANYDEPTH | cv2.IMREAD_ANYCOLOR
    done, pictures = cv2.imreadmulti(
        str(path), index, 1, flags=cv2.IMREAD_UNCHANGED if translucent else flags
    )
    if not done or not len(pictures):
        raise ValueError("no decoder")
    codes: Any = pictures[0]
    if translucent and codes.ndim == 3 and codes.shape[2] == 4:
        if codes.dtype == np.uint8 and codes[..., 3].min() < 255:
            raise InputUnreadable(
                "is transparent in places, which hides its codes", where, "save it without"
            )
        codes = codes[..., :3]
    if page.bitspersample in _PACKED_BITS:
        return codes >> (16 - page.bitspersample)
    if page.photometric == _MIN_IS_WHITE and codes.dtype == np.uint8:
        return 255 - codes
    return codes


def _white(page: TiffPage) -> int:
    """Top code: from the file's own statement where that is all ones, else of the samples."""
    bits = page.bitspersample
    top = (1 << bits) - 1
    tag = page.tags.get("MaxSampleValue")
    value = tag.value if tag is not None else top
    said = int(max(value)) if isinstance(value, tuple) else int(value)
    return said if 0 < said <= top and (said & (said + 1)) == 0 else top


class _Complaints(logging.Handler):
    """Collects what the TIFF library only logs: it follows a broken chain of pages silently."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.words: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.words.append(record.getMessage())

    def __enter__(self) -> _Complaints:
        logging.getLogger("tifffile").addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("tifffile").removeHandler(self)


class TiffSource:
    """Pages of one TIFF file in order.

    Parameters
    ----------
    path : Path
    camera : Camera
        Settings: ``rate_hz`` for the times, ``white``, ``row_time_s``, ``exposure_s``.
    """

    def __init__(self, path: Path, camera: Camera) -> None:
        self._path = path
        self._camera = camera
        self._file: TiffFile | None = None
        self._clock = Clock(None, None)
        self._first: Picture | None = None
        self._held: Picture | None = None
        self._pages = 0
        self._next = 0
        self._warnings: list[str] = []

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong with the file so far, in words."""
        return tuple(self._warnings)

    def open(self) -> SourceInfo:
        """Open the file and decode its first page.

        Raises
        ------
        InputUnreadable
            Missing, empty, damaged, too large or of an unsupported kind.
        BadRequest
            ``camera.white`` is larger than the codes can be.
        """
        self._file = open_tiff(self._path)
        self._clock = clock_for(self._path, self._camera)
        with _Complaints() as complaints:
            self._pages = len(self._file.pages)
        if not self._pages:
            raise InputUnreadable("holds no pages", str(self._path), _REMEDY_DAMAGED)
        if complaints.words:
            self._warnings.append(f"the file breaks off after page {self._pages}")
        self._first = read_page(self._file, 0, self._path)
        return sequence_info(
            SourceKind.TIFF,
            self._path.name,
            self._first,
            self._camera,
            self._clock,
            self._pages,
            str(self._path),
        )

    def grab(self) -> FrameStamp | None:
        """The next page's stamp; damaged pages are left out and counted.

        Raises
        ------
        FormatChanged
            The page has another size, depth or top code than the first.
        """
        assert self._file is not None
        assert self._first is not None
        while self._next < self._pages:
            index, self._next = self._next, self._next + 1
            try:
                picture = self._first if index == 0 else read_page(self._file, index, self._path)
            except InputUnreadable as error:
                self._warnings.append(f"{error.where}: {error.what}, left out")
                continue
            check_same(self._first, picture, f"{self._path}, page {index + 1}", self._camera.white)
            self._held = picture
            return self._clock.stamp(index)
        self._held = None
        return None

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed page into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        np.copyto(out, self._held.pixels)

    def close(self) -> None:
        """Close the file."""
        self._held = self._first = None
        if self._file is not None:
            self._file.close()
            self._file = None
