"""A cold heavy gas poured from a vessel: it leaves over a lip, falls and breaks up.

Profile
-------
The stream falls with ``g' = g (rho - rho_air)/rho_air`` against the air's resistance and reaches a
steady speed, so it leans out from the lip by ``v0 tau`` while it falls. Across it is Gaussian, a
band ``depth`` deep along the light at the lip (``P = dn depth``); it mixes on the way, its width
grows by a tenth of the way fallen and its path falls in proportion. The gas is denser than air, so
its index is higher and it bends light towards its middle: bright and dark change sides against a
plume of warm air.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times
from liveview.bench.flows.column import Column, window
from liveview.bench.flows.eddies import Wander
from liveview.optics.air import Air
from liveview.optics.gas import GASES
from liveview.settings import Metres, Seconds, Section


class ColdGasSettings(Section):
    """A heavy gas poured over a lip."""

    on: bool = False
    gas: Literal["carbon dioxide", "argon", "sulphur hexafluoride"] = "carbon dioxide"
    x_m: Metres = 0.030
    """Of the lip, to the right of the mirror's middle."""
    y_m: Metres = 0.048
    share: float = Value(0.25, gt=0, le=1)
    """Of the gas at the lip, the rest is air."""
    colder_k: float = Value(6.0, ge=0, le=150)
    """How much colder than the room it is poured."""
    depth_m: Metres = Value(0.030, gt=0, le=1)
    """Of the stream along the light at the lip."""
    width_m: Metres = Value(0.007, gt=0, le=0.2)
    """s across it at the lip."""
    out_m_s: float = Value(0.10, ge=0, le=5)
    """Speed with which it leaves over the lip."""
    fall_m_s: float = Value(0.62, gt=0, le=10)
    """Steady speed of the fall."""
    every_s: Seconds = Value(6.0, gt=0, le=3600)
    lasts_s: Seconds = Value(4.5, gt=0, le=3600)


class ColdGas:
    """Path of a poured gas, see the module."""

    def __init__(
        self, settings: ColdGasSettings, air: Air, seed: int = 0, *, sheets: int = 2
    ) -> None:
        self._s = settings
        gas = GASES[settings.gas]
        cold = air.temperature_k - settings.colder_k
        pure = gas.refractivity(cold, air.pressure_pa)
        chilled = GASES["air"].refractivity(cold, air.pressure_pa)
        same = GASES["air"].refractivity(air.temperature_k, air.pressure_pa)
        self.index = settings.share * pure + (1.0 - settings.share) * chilled - same
        self._sway = Wander(seed + 401, 0.3, 2.2)
        self._surge = Wander(seed + 402, 1.5, 6.0)
        w = settings.width_m
        self.column = Column(
            peak=self._peak,
            width=self._width,
            speed_m_s=0.9 * settings.fall_m_s,
            smooth_m=0.010,
            tear=0.5,
            eddy_m=(2.6 * w, 5.0 * w),
            seed=seed + 411,
            sheets=sheets,
        )

    def _width(self, h: Field) -> Field:
        return np.asarray(np.float32(self._s.width_m) + np.float32(0.10) * np.maximum(h, 0))

    def _peak(self, h: Field) -> Field:
        s = self._s
        start = np.clip(1.0 + h / np.float32(0.6 * s.width_m), 0.0, 1.0)
        mixed = np.float32(s.width_m) / self._width(h)
        return np.asarray(np.float32(self.index * s.depth_m) * mixed * start * start)

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        s = self._s
        shape = (y.shape[0], x.shape[1])
        since = float(np.mean(t)) % s.every_s
        head = s.fall_m_s * max(0.0, since - 0.08)
        tail = s.fall_m_s * max(0.0, since - s.lasts_s)
        h = np.asarray(np.float32(s.y_m) - y)
        rows = np.flatnonzero(h[:, 0] > -0.02)
        out = np.zeros(shape, np.float32)
        if rows.size == 0 or tail > 0.5:
            return out
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        fallen = np.maximum(h[part], 0).astype(np.float64)
        # The time since the lip: from free fall to the steady speed.
        tau = fallen / s.fall_m_s + 0.055 * (1.0 - np.exp(-fallen / 0.02))
        late = t[part] - tau
        lean = -s.out_m_s * 0.16 * (1.0 - np.exp(-tau / 0.16))
        lean = lean + 0.05 * fallen * self._sway.at(late)
        across = x - np.float32(s.x_m) - lean.astype(np.float32)
        surge = 1.0 + 0.18 * self._surge.at(late)
        shut = window(fallen.astype(np.float32), head, tail) * surge.astype(np.float32)
        field = self.column.path(np.asarray(across), h[part], t[part])
        out[part] = field * shut
        return out
