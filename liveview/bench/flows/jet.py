"""A turbulent round jet of another gas from a nozzle.

Profile
-------
Beyond the core the share of the gas on the axis falls as ``5.6 d / z`` and its width grows as
``s = 0.127 z`` (Fischer, List, Koh, Imberger and Brooks 1979, ch. 9, from memory); within the core
(z below 5.6 d) the axis has pure gas and the width runs from the nozzle's. The index change is the
share times ``(n - 1)`` of the gas less that of air at the same state, so helium bends light the
other way than carbon dioxide. A jet that starts has its head at ``z = sqrt(5 U d t)``, half the
speed of the gas on the axis there.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times
from liveview.bench.flows.column import ROOT_PI, Column, window
from liveview.optics.air import Air
from liveview.optics.gas import GASES
from liveview.settings import Metres, Seconds, Section

GasName = Literal[
    "helium", "argon", "carbon dioxide", "methane", "sulphur hexafluoride", "butane", "propane"
]


class JetSettings(Section):
    """A jet of gas from a nozzle."""

    on: bool = False
    gas: GasName = "helium"
    x_m: Metres = -0.060
    """Of the nozzle's mouth, to the right of the mirror's middle."""
    y_m: Metres = 0.008
    angle_deg: float = Value(0.0, ge=-180, le=180)
    """Direction of flow, 0 to the right, 90 upwards."""
    nozzle_m: Metres = Value(0.003, gt=0, le=0.1)
    speed_m_s: float = Value(9.0, gt=0, le=340)
    share: float = Value(0.7, gt=0, le=1)
    """Of the gas at the nozzle, the rest is air."""
    every_s: Seconds = Value(3.0, gt=0, le=3600)
    """A blow begins each so many seconds ..."""
    lasts_s: Seconds = Value(2.2, gt=0, le=3600)
    """... and lasts so long."""


class Jet:
    """Path of a jet, see the module."""

    def __init__(self, settings: JetSettings, air: Air, seed: int = 0, *, sheets: int = 2) -> None:
        self._s = settings
        gas = GASES[settings.gas]
        pure = gas.refractivity(air.temperature_k, air.pressure_pa)
        same = GASES["air"].refractivity(air.temperature_k, air.pressure_pa)
        self.index = settings.share * (pure - same)
        d = settings.nozzle_m
        self.column = Column(
            peak=self._peak,
            width=self._width,
            speed_m_s=0.16 * settings.speed_m_s,
            smooth_m=2.0 * d,
            tear=0.42,
            eddy_m=(2.2 * d, 7.0 * d),
            seed=seed + 301,
            sheets=sheets,
        )

    def _width(self, z: Field) -> Field:
        d = np.float32(self._s.nozzle_m)
        along = np.maximum(z, 0)
        return np.asarray(np.maximum(np.float32(0.127) * along, 0.5 * d - 0.02 * along))

    def _peak(self, z: Field) -> Field:
        d = np.float32(self._s.nozzle_m)
        share = np.minimum(np.float32(1.0), np.float32(5.6) * d / np.maximum(z, d))
        started = (z > 0).astype(np.float32)
        return np.asarray(np.float32(ROOT_PI * self.index) * share * self._width(z) * started)

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        s = self._s
        shape = (y.shape[0], x.shape[1])
        since = float(np.mean(t)) % s.every_s
        head = math.sqrt(5.0 * s.speed_m_s * s.nozzle_m * since)
        tail = math.sqrt(5.0 * s.speed_m_s * s.nozzle_m * max(0.0, since - s.lasts_s))
        if tail > 0.6:
            return np.zeros(shape, np.float32)
        cos, sin = math.cos(math.radians(s.angle_deg)), math.sin(math.radians(s.angle_deg))
        px, py = x - np.float32(s.x_m), y - np.float32(s.y_m)
        along = np.asarray(np.float32(cos) * px + np.float32(sin) * py)
        across = np.asarray(np.float32(-sin) * px + np.float32(cos) * py)
        near = (np.abs(across) < 4.0 * self._width(along)) & (along > 0)
        rows, columns = (np.flatnonzero(near.any(axis=axis)) for axis in (1, 0))
        out = np.zeros(shape, np.float32)
        if rows.size:
            part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
            z, r = along[part], across[part]
            # The head is a mushroom: rounded, and blunt in its middle.
            bent = z + np.float32(0.9) * r * r / (self._width(z) + np.float32(1e-4))
            out[part] = self.column.path(r, z, t[part[0]]) * window(bent, head, tail)
        return out
