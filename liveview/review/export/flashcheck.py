"""Every moving export is checked against the published flash limits, and softened when asked.

A slow clip shows a spark for longer than it was, and an endless animation shows it again and again.
What counts is the pictures as written, at the file's own rate (``imaging.flashes`` has the limits).
Passing is no proof that a clip is harmless to everybody.
"""

from __future__ import annotations

import mmap
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from liveview.imaging.flash_guard import FlashGuard
from liveview.imaging.flashes import FIELD_SHARE
from liveview.model import Bytes

Flashes = Literal["check", "soften"]

CAUTION = (
    "flashing pictures can harm people with photosensitive epilepsy: soften it, or warn before it "
    "is shown"
)


@dataclass(frozen=True, slots=True)
class FlashReport:
    """What the check found; times are seconds of the clip.

    ``worst_share`` is the largest part of a ten degree field that flashed more than three times in
    a second, 0..1, in the pictures as written; ``over`` says that it is above the limit.
    """

    worst_share: float
    first_over_s: float | None
    softened: int
    pictures: int

    @property
    def over(self) -> bool:
        """True when the limits are exceeded."""
        return self.first_over_s is not None

    @property
    def words(self) -> str:
        """For the metadata and the screen."""
        limit = f"{100 * FIELD_SHARE:.0f} % of a ten degree field"
        if self.first_over_s is not None:
            return (
                f"over the flash limits from {self.first_over_s:.1f} s on: "
                f"{100 * self.worst_share:.0f} % against {limit}"
            )
        done = f", {self.softened} of {self.pictures} pictures softened" if self.softened else ""
        return f"within the flash limits (WCAG 2.3.1, BT.1702){done}"

    @property
    def warning(self) -> str:
        """The words with a caution where one is due; empty where nothing is to be said."""
        if self.over:
            return f"{self.words}; {CAUTION}"
        return self.words if self.softened else ""


class FlashCheck:
    """Sees each picture of one clip in order.

    Parameters
    ----------
    soften : bool
        Mix or hold pictures that would exceed the limits; else they pass and are reported.
    size : (width, height)
        Of the pictures, for a grid of square cells.
    """

    def __init__(self, soften: bool, size: tuple[int, int]) -> None:
        self._soften = soften
        self._guard = FlashGuard(_grid(size), lent=True)
        self._last: Bytes | None = None
        self._worst, self._over_s = 0.0, None
        self._softened, self._pictures = 0, 0

    _over_s: float | None

    def admit(self, picture: Bytes, time_s: float) -> Bytes:
        """The picture to write; the same array when nothing had to be done."""
        self._pictures += 1
        if self._soften:
            guarded = self._guard.admit(picture, time_s)
            self._softened += guarded.share < 1.0
            return guarded.picture
        if picture is not self._last:
            self._last = picture
            worst = self._guard.watch(picture, time_s)
            self._worst = max(self._worst, worst)
            if worst > FIELD_SHARE and self._over_s is None:
                self._over_s = time_s
        return picture

    def report(self) -> FlashReport:
        """What was found so far."""
        return FlashReport(self._worst, self._over_s, self._softened, self._pictures)


def _grid(size: tuple[int, int]) -> tuple[int, int]:
    """About 5000 square cells: 54 by 96 for a wide screen."""
    width, height = size
    cell = (width * height / (54 * 96)) ** 0.5
    return max(3, round(height / cell)), max(3, round(width / cell))


ROOM = 120
"""Characters kept free in a container's description, which is written before the pictures are."""


def pending() -> str:
    """Stands in the metadata until the check is done."""
    return "?" * ROOM


def fill_in(path: Path, words: str) -> None:
    """Put the check's words in the place kept by :func:`pending`, byte for byte."""
    raw = words.encode("utf-8")[:ROOM].ljust(ROOM)
    with path.open("r+b") as file, mmap.mmap(file.fileno(), 0) as content:
        at = content.find(pending().encode())
        while at >= 0:
            content[at : at + ROOM] = raw
            at = content.find(pending().encode(), at + ROOM)
