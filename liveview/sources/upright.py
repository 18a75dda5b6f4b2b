"""How a picture is turned and mirrored so that it is shown as it was seen.

A mirrored picture would turn the blade's side round, so every source obeys what its file states:
TIFF and EXIF one of eight orientations (PNG, JPEG and WebP by OpenCV), video a matrix.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import av


@dataclass(frozen=True, slots=True)
class Upright:
    """Mirrored left to right where so, then so many quarter turns counter-clockwise (0 to 3)."""

    turns: int = 0
    mirrored: bool = False

    @property
    def as_stored(self) -> bool:
        """True when there is nothing to do."""
        return not self.turns and not self.mirrored

    def of(self, picture: Any) -> Any:
        """A view of a picture (rows, columns[, channels]), turned and mirrored."""
        return np.rot90(picture[:, ::-1] if self.mirrored else picture, self.turns)

    def size(self, width: int, height: int) -> tuple[int, int]:
        """Width and height afterwards."""
        return (height, width) if self.turns % 2 else (width, height)


_ORIENTATIONS = {
    2: Upright(0, True),
    3: Upright(2),
    4: Upright(2, True),
    5: Upright(1, True),
    6: Upright(3),
    7: Upright(3, True),
    8: Upright(1),
}


def by_orientation(number: int) -> Upright:
    """What undoes an orientation of TIFF 6.0 (tag 274, page 36); as stored for unknown numbers."""
    return _ORIENTATIONS.get(number, Upright())


def of_frame(frame: av.VideoFrame) -> Upright:
    """What the display matrix of a decoded frame asks for, to the nearest quarter turn.

    Its first two numbers say where the first row's direction goes, right and down, its fourth and
    fifth where the first column's does.
    """
    from av.sidedata.sidedata import Type

    entries: Any = frame.side_data
    data = entries.get(Type.DISPLAYMATRIX)
    if data is None:
        return Upright()
    right, down, _, column_right, column_down = (
        float(v) for v in np.frombuffer(bytes(data), np.int32)[:5]
    )
    mirrored = right * column_down - down * column_right < 0
    if mirrored:
        right, down = -right, -down
    return Upright(round(-math.atan2(down, right) / (math.pi / 2)) % 4, mirrored)
