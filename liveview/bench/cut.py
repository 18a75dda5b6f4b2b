"""How much of the lamp's image passes the blade, for any edge position, by table.

The edge position is given in widths of the lamp's image: q = 0 where the edge touches the image
on the fully open side, q = 1 where it has covered all of it (even slit, square to the blade).
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

_ENTRIES = 65536
_SAMPLES = 8192


class CutCurve:
    """Uncut fraction against edge position for one lamp and blade angle.

    Parameters
    ----------
    shape : {"slit", "round"}
        Shape of the lamp's image.
    length_over_width : float
        Length of a slit's image along the blade, in its widths; only matters with an angle.
    angle_rad : float
        Angle between the blade's edge and the slit's length.
    unevenness : float
        Brightness rises evenly across the image from ``1 - unevenness`` on the fully open side
        to ``1 + unevenness`` on the other, -1..1.

    Notes
    -----
    Without angle and unevenness the curve is ``1 - q`` for a slit and the circular segment
    ``(arccos u - u sqrt(1 - u^2)) / pi``, u = 2 q - 1, for a round lamp (elementary geometry).
    A turned slit has the profile of two boxes convolved: its width times cos and its length
    times sin of the angle.
    """

    def __init__(
        self,
        shape: Literal["slit", "round"] = "slit",
        *,
        length_over_width: float = 3.0,
        angle_rad: float = 0.0,
        unevenness: float = 0.0,
    ) -> None:
        side = abs(length_over_width * math.sin(angle_rad)) if shape == "slit" else 0.0
        half = 0.5 * (abs(math.cos(angle_rad)) if shape == "slit" else 1.0) + 0.5 * side
        self.even_slit = shape == "slit" and side == 0.0 and unevenness == 0.0
        self._low = 0.5 - half
        self._high = 0.5 + half
        self._scale = (_ENTRIES - 1) / (self._high - self._low)
        edges = np.linspace(self._low, self._high, _SAMPLES + 1)
        middle = 0.5 * (edges[1:] + edges[:-1])
        profile = _profile(shape, middle, half, side) * (1.0 + unevenness * (middle - 0.5) / half)
        covered = np.concatenate(([0.0], np.cumsum(profile)))
        table = np.interp(np.linspace(self._low, self._high, _ENTRIES), edges, covered)
        self._table = (1.0 - table / covered[-1]).astype(np.float32)

    def uncut(self, q: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Uncut fraction 0..1 at edge positions of any shape, interpolated."""
        at = (np.clip(q, self._low, self._high) - self._low) * self._scale
        below = np.minimum(at.astype(np.int64), _ENTRIES - 2)
        part = at - below
        return np.asarray(self._table[below] * (1.0 - part) + self._table[below + 1] * part)

    def apply(self, q: NDArray[np.float32], out: NDArray[np.float32]) -> NDArray[np.float32]:
        """Uncut fraction of each element; ``q`` is used as scratch space.

        Parameters
        ----------
        q : ndarray, float32
            Edge positions in widths of the lamp's image; overwritten.
        out : ndarray, float32
            Receives the uncut fractions, same shape.
        """
        if self.even_slit:
            np.subtract(1.0, q, out=out)
            return np.clip(out, 0.0, 1.0, out=out)
        q -= np.float32(self._low)
        q *= np.float32(self._scale)
        q += np.float32(0.5)
        np.clip(q, 0.0, _ENTRIES - 1, out=q)
        return np.take(self._table, q.astype(np.uint16), out=out, mode="clip")


def _profile(
    shape: str, position: NDArray[np.float64], half: float, side: float
) -> NDArray[np.float64]:
    """Brightness of the image summed along the blade's edge, at each position across it."""
    across = np.abs(position - 0.5)
    if shape == "round":
        return np.sqrt(np.clip(0.25 - across**2, 0.0, None))
    ramp = min(side, 2.0 * half - side)
    if ramp <= 0.0:
        return np.ones_like(position)
    return np.clip((half - across) / ramp, 0.0, 1.0)
