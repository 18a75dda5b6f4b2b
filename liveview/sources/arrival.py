"""When samples were taken, from when blocks of them arrived.

A sound system's own time of capture is wrong on many hosts. Arrival is never early, only late by
whatever the machine was busy with, so the line *under* all arrivals is the steady clock::

    arrival - count/rate
      |        x            x = blocks
      |   x         x
      | x----------x---x--x     line under them: offset and drift of the sound clock
      +------------------------ count/rate
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import pairwise

BIN_S = 0.25
BINS = 240
"""One minute: long enough for the drift, short enough to follow a changing temperature."""

FIRST_DRIFT_S = 10.0
"""Before this much is heard the drift is taken as none."""

MAX_DRIFT = 5e-4
"""Sound clocks are within a few hundred parts per million of true."""


class ArrivalFit:
    """Lower envelope of arrival time against sample count.

    Parameters
    ----------
    rate_hz : float
        Nominal sample rate.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._bins: deque[tuple[float, float]] = deque(maxlen=BINS)
        self._bin = -1
        self._offset_s = 0.0
        self._drift = 0.0
        self._late_s = 0.0

    def add(self, count: int, arrived_s: float) -> None:
        """Note that ``count`` samples in all had arrived at ``arrived_s``."""
        nominal_s = count / self._rate_hz
        late_s = arrived_s - nominal_s
        index = int(nominal_s / BIN_S)
        if index != self._bin or not self._bins:
            self._bin = index
            self._bins.append((nominal_s, late_s))
            self._fit()
        elif late_s < self._bins[-1][1]:
            self._bins[-1] = (nominal_s, late_s)
            self._fit()

    def time_s(self, count: int) -> float:
        """When sample number ``count`` (from 0) was taken, as early as the arrivals allow."""
        nominal_s = count / self._rate_hz
        return nominal_s + self._offset_s + self._drift * nominal_s

    @property
    def jitter_s(self) -> float:
        """How late blocks typically are against the line: median over the bins."""
        return self._late_s

    def _fit(self) -> None:
        points = tuple(self._bins)
        drift = 0.0
        if points[-1][0] - points[0][0] >= FIRST_DRIFT_S:
            drift = max(-MAX_DRIFT, min(MAX_DRIFT, under_slope(points)))
        residuals = sorted(late - drift * at for at, late in points)
        self._drift = drift
        self._offset_s = residuals[0]
        self._late_s = residuals[len(residuals) // 2] - residuals[0]


def under_slope(points: Sequence[tuple[float, float]]) -> float:
    """Slope of the line under all points that is nearest to them on average.

    It runs along the edge of the lower convex hull that spans the mean abscissa.

    Parameters
    ----------
    points : sequence of (x, y)
        At least one, by growing x.
    """
    hull: list[tuple[float, float]] = []
    for x, y in points:
        while len(hull) >= 2 and _turns_up_not(hull[-2], hull[-1], (x, y)):
            hull.pop()
        hull.append((x, y))
    mean = sum(x for x, _ in points) / len(points)
    for (x0, y0), (x1, y1) in pairwise(hull):
        if x0 <= mean <= x1 and x1 > x0:
            return (y1 - y0) / (x1 - x0)
    return 0.0


def _turns_up_not(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0
