"""A spark: its blast front, and the hot kernel it leaves behind.

Front
-----
``(dR/dt)^2 = c^2 (1 + (R_s/R)^3 + (R_s/R)/4)`` with ``R_s^3 = (4/25) E / (K rho c^2)``: for R much
smaller than R_s this is the strong point blast ``R = (E t^2 / (K rho))^(1/5)`` (Taylor 1950, Sedov
1946), for R much larger the front runs at the speed of sound and its strength falls as 1/R like a
sound's. Behind it the density falls evenly from the shock's (a normal shock of this Mach number)
to that of the air over a shell of thickness ``0.05 R + 1 mm``.

Kernel
------
A ball of hot gas, ``dn = -A exp(-r^2/s^2)``, which spreads by diffusion, ``s^2 = s0^2 + 4 alpha t``
with its heat kept (A falls as s^-3), rises by buoyancy to a steady speed and curls into a ring.
Path of a ball: ``P = -sqrt(pi) A s exp(-rho^2/s^2)``, rho the distance from its middle as seen.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times
from liveview.bench.flows.column import ROOT_PI
from liveview.bench.flows.eddies import displacement, twirl
from liveview.bench.sparks import SparkTimes
from liveview.optics.air import Air
from liveview.optics.fronts import blast_radius, normal_shock
from liveview.settings import Hertz, Metres, Seconds, Section

_ALPHA = 3.5e-5
"""Thermal diffusivity, m^2/s: between that of air at room temperature and at 500 K."""


class SparkSettings(Section):
    """A spark from a coil."""

    on: bool = True
    x_m: Metres = 0.028
    """Of the gap, to the right of the mirror's middle."""
    y_m: Metres = -0.028
    gap_m: Metres = Value(0.005, gt=0, le=0.1)
    first_s: Seconds = Value(2.0, ge=0, le=1e6)
    rate_hz: Hertz = Value(0.25, gt=0, le=10000)
    """Break rate."""
    count: int | None = Value(None, ge=1)
    """How many; without end when absent."""
    jitter: float = Value(0.2, ge=0, lt=0.5)
    """Random part of each interval."""
    energy_j: float = Value(0.02, gt=0, le=1e4)
    """Released at once into the blast."""
    flash_s: Seconds = Value(30e-6, gt=0, le=0.1)
    flash_light: float = Value(1.0, ge=0, le=100)
    """Light of the flash, 1 usual."""
    kernel_size_m: Metres = Value(0.0034, gt=0, le=0.1)
    kernel_excess_k: float = Value(1500.0, gt=0, le=20000)
    """Excess temperature of the kernel when it begins."""
    kernel_rise_m_s: float = Value(0.22, ge=0, le=10)


class BlastFront:
    """Radius of the front against time, by table.

    Parameters
    ----------
    energy_j : float
    air : Air
    reach_m : float
        Largest radius wanted.
    """

    def __init__(self, energy_j: float, air: Air, reach_m: float = 1.0) -> None:
        self.air = air
        strong = blast_radius(1.0, energy_j, air.density)
        c = air.sound_speed
        self.strong_radius_m = (0.16 * strong**5 / c**2) ** (1.0 / 3.0)
        # Fine near the spark, where the front is fastest.
        edge = reach_m * np.linspace(0.0, 1.0, 20001) ** 3
        middle = 0.5 * (edge[1:] + edge[:-1])
        steps = np.diff(edge) / self.speed(middle)
        self._r = edge
        self._t = np.concatenate(([0.0], np.cumsum(steps)))

    def speed(self, radius_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Speed of the front at a radius, m/s."""
        ratio = self.strong_radius_m / radius_m
        return np.asarray(self.air.sound_speed * np.sqrt(1.0 + ratio**3 + 0.25 * ratio))

    def radius(self, t: NDArray[np.float64]) -> NDArray[np.float64]:
        """Radius at times since the spark; 0 before it, the table's end beyond it."""
        return np.asarray(np.interp(t, self._t, self._r))

    @property
    def seconds(self) -> float:
        """When the front is at ``reach_m``."""
        return float(self._t[-1])

    def density_jump(self, radius_m: float) -> float:
        """Density just behind the front over that of the air, less 1."""
        mach = float(self.speed(np.array(radius_m))) / self.air.sound_speed
        return normal_shock(mach).density - 1.0


class Spark:
    """Path of the fronts and kernels of all sparks, see the module."""

    def __init__(self, settings: SparkSettings, air: Air, times: SparkTimes) -> None:
        self._s = settings
        self._air = air
        self._times = times

    @cached_property
    def front(self) -> BlastFront:
        """The blast's radius law."""
        return BlastFront(self._s.energy_j, self._air)

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        total = np.zeros((y.shape[0], x.shape[1]), np.float32)
        px, py = x - np.float32(self._s.x_m), y - np.float32(self._s.y_m)
        last = float(np.max(t))
        for spark in self._times.between(last - 2.5, last):
            since = t - spark.time_s
            if float(since.min()) < self.front.seconds:
                self._add_front(px, py, since, total)
            self._add_kernel(px, py, since, spark.number, total)
        return total

    def _add_front(self, x: Field, y: Field, since: Times, total: Field) -> None:
        radius = self.front.radius(np.maximum(since, 0.0))
        rows = np.flatnonzero((radius[:, 0] > 1e-4) & (since[:, 0] < self.front.seconds))
        if rows.size == 0:
            return
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        outer = np.maximum(radius[part], 1e-4)
        mean = float(np.mean(outer))
        index = self._air.refractivity * self.front.density_jump(mean)
        thick = 0.05 * outer + 0.001
        seen = np.sqrt(x * x + y[part] * y[part])
        path = shell_path(seen, outer, np.maximum(outer - thick, 0.0))
        total[part] += np.float32(index) * path.astype(np.float32)

    def _add_kernel(self, x: Field, y: Field, since: Times, number: int, total: Field) -> None:
        s = self._s
        age = float(np.mean(since))
        if age <= 0.0:
            return
        width = math.sqrt(s.kernel_size_m**2 + 4.0 * _ALPHA * age)
        start = -self._air.warmed(s.kernel_excess_k)
        size = start * (s.kernel_size_m / width) ** 3
        settle = 0.04
        rise = s.kernel_rise_m_s * (since - settle * (1.0 - np.exp(-since / settle)))
        py = y - rise.astype(np.float32)
        rows = np.flatnonzero(np.abs(py[:, 0]) < 3.4 * width)
        if rows.size == 0:
            return
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        px = x - np.float32(0.12 * math.sin(2.4 * number) * s.kernel_rise_m_s * age)
        # The rising ball rolls up into a ring: a pair of opposite eddies as seen from the side.
        dx, dy = (np.zeros((part.stop - part.start, x.shape[1]), np.float32) for _ in range(2))
        turn = 2.6 * (1.0 - math.exp(-age / 0.13))
        uneven = 0.3 * math.sin(4.7 * number + 1.0)
        for side in (-1.0, 1.0):
            roll = -side * turn * (1.0 + side * uneven)
            twirl(px, py[part], side * 0.75 * width, 0.9 * width, roll, dx, dy)
        tear = displacement(
            px, py[part], since[part], eddy_m=2.2 * width, rise_m_s=0.02, life_s=0.25, seed=77
        )
        amount = np.float32(0.22 * width * min(1.0, age / 0.15))
        qx, qy = px + dx + amount * tear[..., 0], py[part] + dy + amount * tear[..., 1]
        # Gas from the rod's ends makes it wider than high at first.
        flat = 1.0 + 0.35 * math.exp(-age / 0.03)
        shape = np.exp(-((qx / np.float32(flat * width)) ** 2) - (qy / np.float32(width)) ** 2)
        path = np.float32(-ROOT_PI * size * width / flat) * shape
        total[part] += path * (since[part] > 0.0)


def shell_path(
    seen: NDArray[np.float32], outer: NDArray[np.float64], inner: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Path through a shell whose density falls evenly from 1 at ``outer`` to 0 at ``inner``.

    ``2 Integral (r - b)/(a - b) r dr / sqrt(r^2 - x^2)`` from the larger of b and x to a, which is
    elementary: with ``S(r) = sqrt(r^2 - x^2)`` the integral of ``r^2/S`` is
    ``(r S + x^2 ln(r + S))/2`` and that of ``r/S`` is S.
    """
    x2 = seen.astype(np.float64) ** 2
    top = np.broadcast_to(outer, x2.shape)
    low = np.maximum(np.broadcast_to(inner, x2.shape), np.sqrt(x2))
    low = np.minimum(low, top)
    s_top = np.sqrt(np.maximum(top**2 - x2, 0.0))
    s_low = np.sqrt(np.maximum(low**2 - x2, 0.0))
    square = 0.5 * (
        top * s_top - low * s_low + x2 * np.log((top + s_top) / np.maximum(low + s_low, 1e-12))
    )
    value = 2.0 * (square - inner * (s_top - s_low)) / np.maximum(outer - inner, 1e-9)
    return np.asarray(np.where(x2 < top**2, value, 0.0))
