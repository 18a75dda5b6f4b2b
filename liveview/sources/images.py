"""A folder, a pattern or a single picture as a source."""

from __future__ import annotations

import glob
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from liveview.errors import InputUnreadable
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.container import LOSSY
from liveview.sources.numbering import places
from liveview.sources.picture import PICTURE_SUFFIXES, Picture, check_same, read_picture
from liveview.sources.sequence import Clock, clock_for, natural_key, sequence_info

LOSSY_SUFFIXES = frozenset((".jpg", ".jpeg"))
_WILD = frozenset("*?[")


def is_pattern(name: str) -> bool:
    """True for ``frames/*.png`` and the like, unless a file has just that name."""
    return bool(_WILD & set(name)) and not Path(name).exists()


def find_pictures(name: str) -> tuple[list[Path], str]:
    """The pictures a folder or pattern stands for, in natural order, and words about it.

    Where a folder holds several kinds, the most numerous one is taken.

    Raises
    ------
    InputUnreadable
        There are none.
    """
    if is_pattern(name):
        found = [Path(path) for path in glob.glob(name, recursive=True)]  # noqa: PTH207 - may be absolute
        pictures = [path for path in found if _is_picture(path)]
        if not pictures:
            raise InputUnreadable("no picture has such a name", name, "check the pattern")
        return _sorted(pictures), ""
    folder = Path(name)
    try:
        pictures = [path for path in folder.iterdir() if _is_picture(path)]
    except OSError as error:
        raise InputUnreadable(
            f"the folder cannot be read ({error.strerror})", name, "check its permissions"
        ) from error
    if not pictures:
        raise InputUnreadable("the folder holds no pictures", name, _hint(folder))
    kinds = Counter(path.suffix.lower() for path in pictures)
    main, count = kinds.most_common(1)[0]
    others = len(pictures) - count
    words = f"{others} pictures of other kinds than {main} left out" if others else ""
    return _sorted([path for path in pictures if path.suffix.lower() == main]), words


def _is_picture(path: Path) -> bool:
    hidden = path.name.startswith(".")
    return path.suffix.lower() in PICTURE_SUFFIXES and not hidden and path.is_file()


def _sorted(paths: Sequence[Path]) -> list[Path]:
    return sorted(paths, key=lambda path: (natural_key(str(path)), str(path)))


def _hint(folder: Path) -> str:
    kinds = "PNG, JPEG, TIFF, BMP, PGM"
    files = sorted(path.name for path in folder.iterdir() if path.is_file())
    if len(files) == 1:
        return f"it takes {kinds}; to open '{files[0]}' name that file"
    return f"it takes {kinds}"


class ImagesSource:
    """Pictures one after the other, as fast as asked.

    A picture that cannot be read is left out and counted: the numbers have a gap there and
    ``warnings`` names the file. A number missing in the names is a gap, too
    (:mod:`liveview.sources.numbering`), where no table of times lies beside them.

    Parameters
    ----------
    name : str
        Folder, pattern or file.
    camera : Camera
        Settings: ``rate_hz`` for the times, ``white``, ``row_time_s``, ``exposure_s``.
    """

    def __init__(self, name: str, camera: Camera) -> None:
        self._name = name
        self._camera = camera
        self._paths: list[Path] = []
        self._places: list[int] = []
        self._next = 0
        self._first: Picture | None = None
        self._held: Picture | None = None
        self._ahead: Picture | None = None
        self._clock = Clock(None, None)
        self._warnings: list[str] = []

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong with the pictures so far, in words."""
        return tuple(self._warnings)

    def open(self) -> SourceInfo:
        """List the pictures and decode the first that can be read.

        Raises
        ------
        InputUnreadable
            No pictures, or none that can be read.
        BadRequest
            ``camera.white`` is larger than the codes can be.
        """
        place = Path(self._name)
        words = ""
        if place.is_dir() or is_pattern(self._name):
            self._paths, words = find_pictures(self._name)
            place = self._paths[0].parent if is_pattern(self._name) else place
        else:
            self._paths = [place]
        self._clock = clock_for(place, self._camera)
        self._places = list(range(len(self._paths)))
        if self._clock.table is None:
            self._places, gaps = places([path.name for path in self._paths])
            words = "; ".join(filter(None, (words, gaps)))
        if self._paths[0].suffix.lower() in LOSSY_SUFFIXES:
            words = "; ".join(filter(None, (words, LOSSY)))
        self._first = self._ahead = self._first_readable()
        return sequence_info(
            SourceKind.IMAGES,
            place.name or str(place),
            self._first,
            self._camera,
            self._clock,
            len(self._paths),
            self._name,
            words,
            span=self._places[-1] + 1,
        )

    def _first_readable(self) -> Picture:
        picture = self._read_next()
        if picture is not None:
            return picture
        if len(self._paths) == 1:
            read_picture(self._paths[0])
        raise InputUnreadable(
            f"none of its {len(self._paths)} pictures can be read", self._name, self._warnings[0]
        )

    def _read_next(self) -> Picture | None:
        while self._next < len(self._paths):
            path = self._paths[self._next]
            self._next += 1
            try:
                return read_picture(path)
            except InputUnreadable as error:
                self._warnings.append(f"{path.name}: {error.what}, left out")
        return None

    def grab(self) -> FrameStamp | None:
        """Decode the next picture.

        Raises
        ------
        FormatChanged
            It has another size, depth or top code than the first; the message names the file.
        """
        assert self._first is not None
        self._held, self._ahead = self._ahead or self._read_next(), None
        if self._held is None:
            return None
        index = self._next - 1
        check_same(self._first, self._held, str(self._paths[index]), self._camera.white)
        return self._clock.stamp(self._places[index])

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed picture into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        np.copyto(out, self._held.pixels)

    def close(self) -> None:
        """Let go of the pictures."""
        self._held = self._ahead = self._first = None
        self._next = len(self._paths)
