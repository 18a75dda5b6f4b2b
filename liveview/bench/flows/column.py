"""A column of gas that flows along an axis and is torn by eddies: plumes, jets, poured gas.

The column lies along ``h`` (distance from its source, in the direction of flow) and is Gaussian
across: ``P(x, h) = peak(h) exp(-x^2 / s(h)^2)``. Its eddies move the gas about without changing its
index; below ``smooth_m`` there are none. Several sheets through the depth are torn differently, and
the path is their mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.bench.flows.base import Field, Times, smooth_step
from liveview.bench.flows.eddies import displacement

Along = Callable[[Field], Field]

_OVERTURN = 0.3
"""Largest displacement by an eddy, in its sizes."""

ROOT_PI = math.sqrt(math.pi)


@dataclass(frozen=True, slots=True)
class Column:
    """Shape and turbulence of a column.

    ``peak`` gives the path on the axis and ``width`` s, both for distances from the source.
    ``tear`` is the eddies' displacement in widths, ``eddy_m`` the sizes of the small and the large
    ones, ``speed_m_s`` how fast the small ones are carried.
    """

    peak: Along
    width: Along
    speed_m_s: float
    smooth_m: float
    tear: float
    eddy_m: tuple[float, float]
    seed: int
    sheets: int = 2

    def still(self, x: Field, h: Field) -> Field:
        """The column without eddies; x across, h along, broadcast together."""
        width = self.width(h)
        return np.asarray(self.peak(h) * np.exp(-((x / width) ** 2)))

    def path(self, x: Field, h: Field, t: Times) -> Field:
        """The torn column.

        Parameters
        ----------
        x : ndarray, float32, (rows, columns) or (1, columns)
            Across the axis, metres.
        h : ndarray, float32, (rows, 1) or (rows, columns)
            Along it.
        t : ndarray, float64, (rows, 1)
        """
        if self.tear == 0.0:
            return self.still(x, h)
        total: NDArray[np.float32] | None = None
        amounts = self._amounts(h)
        for sheet in range(self.sheets):
            step = self._step(x, h, t, sheet, amounts)
            moved = self.still(x + step[..., 0], h + step[..., 1])
            total = moved if total is None else total + moved
        assert total is not None
        return total * np.float32(1.0 / self.sheets)

    def _amounts(self, h: Field) -> tuple[Field, Field]:
        """Displacement by the small and the large eddies: widths, but never far beyond an eddy."""
        start = (h.astype(np.float64) - self.smooth_m) / (1.5 * self.smooth_m + 1e-3)
        grow = smooth_step(start).astype(np.float32)
        wanted = np.float32(self.tear) * self.width(h)
        small, large = (
            np.asarray(grow * np.minimum(wanted, np.float32(_OVERTURN * eddy)))
            for eddy in self.eddy_m
        )
        return small, large

    def _step(
        self, x: Field, h: Field, t: Times, sheet: int, amounts: tuple[Field, Field]
    ) -> Field:
        parts = []
        for which, amount in enumerate(amounts):
            # Sheets and sizes move past each other, so the pattern changes as it goes.
            speed = self.speed_m_s * (1.0, 0.6)[which] * (1.0 - 0.12 * sheet)
            seed = self.seed + 40 * sheet + 7 * which
            eddies = displacement(x, h, t, eddy_m=self.eddy_m[which], rise_m_s=speed, seed=seed)
            eddies *= amount[..., None]
            parts.append(eddies)
        parts[0] += parts[1]
        return parts[0]


def window(along: Field, before_m: float, after_m: float) -> Field:
    """1 between two distances from the source, falling softly to 0 at both ends.

    The head of a flow that has started is at ``before_m``, its tail (where it was shut off) at
    ``after_m``. Give ``along`` bent or torn to have a head that is round or ragged.
    """
    head = smooth_step((before_m - along) * np.float32(1 / (0.12 * abs(before_m) + 0.004)))
    if after_m <= 0:
        return np.asarray(head, np.float32)
    tail = smooth_step((along - after_m) * np.float32(1 / (0.12 * after_m + 0.004)))
    return np.asarray(head * tail, np.float32)
