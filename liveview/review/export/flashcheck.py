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

import numpy as np

from liveview.imaging.flash_guard import FlashGuard
from liveview.imaging.flashes import CHANGES_PER_SECOND, FIELD_SHARE, reduced
from liveview.model import Bytes

Flashes = Literal["check", "soften"]

SECOND_S = 1.0
"""The limits count flashes in any second."""

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
                f"{100 * self.worst_share:.1f} % against {limit}"
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
    endless : bool
        It begins again when it ends: call :meth:`warm_up` and :meth:`begin_again`, too.
    """

    def __init__(self, soften: bool, size: tuple[int, int], *, endless: bool = False) -> None:
        grid = _grid(size)
        self._grid, self._endless = grid, endless
        self._guard = FlashGuard(grid, lent=True) if soften else None
        # What a guard sends is inside the limits; only the seam of an endless one may not be.
        self._judge = FlashGuard(grid, lent=True) if endless or not soften else None
        self._opening: list[tuple[Bytes, float]] = []
        self._last: Bytes | None = None
        self._worst = 0.0
        self._over_s: float | None = None
        self._softened, self._pictures = 0, 0

    @property
    def softens(self) -> bool:
        """True when pictures are mixed or held."""
        return self._guard is not None

    def warm_up(self, picture: Bytes, time_s: float) -> None:
        """A picture of the end, before the beginning: ``time_s`` counts up to 0."""
        if self._guard is not None:
            self._guard.admit(picture, time_s)

    def hold_still(self, picture: Bytes, time_s: float) -> None:
        """Let nothing flash for a second after ``picture``, shown at ``time_s``."""
        if self._guard is None:
            return
        dark, red = np.zeros_like(picture), np.zeros_like(picture)
        red[..., 2] = 255
        for k in range(CHANGES_PER_SECOND + 2):
            self._guard.watch(red if k % 2 else dark, time_s)
        self._guard.watch(picture, time_s)

    def admit(self, picture: Bytes, time_s: float) -> Bytes:
        """The picture to write; the same array when nothing had to be done."""
        self._pictures += 1
        if self._guard is not None:
            guarded = self._guard.admit(picture, time_s)
            self._softened += guarded.share < 1.0
            picture = guarded.picture
        if self._judge is not None and picture is not self._last:
            self._last = picture
            small = reduced(picture, self._grid)
            self._weigh(small, time_s)
            if self._endless and time_s < SECOND_S:
                self._opening.append((small, time_s))
        return picture

    def begin_again(self, length_s: float) -> None:
        """Judge the first second of the next round, as it was written."""
        for small, time_s in self._opening:
            self._weigh(small, length_s + time_s)

    def _weigh(self, small: Bytes, time_s: float) -> None:
        assert self._judge is not None
        worst = self._judge.watch(small, time_s)
        self._worst = max(self._worst, worst)
        if worst > FIELD_SHARE and self._over_s is None:
            self._over_s = time_s

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
