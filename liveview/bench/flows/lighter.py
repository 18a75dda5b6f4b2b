"""A gas lighter: its valve opens, gas flows out unlit, then it burns, then it is shut.

Profile
-------
Unlit: a slow round stream of butane, whose index is far above that of air. It leaves upwards, is
slowed by its own weight and spreads. Burning: a round plume of hot air as above a candle
(``flows.candle``) but wider and faster, over a short flame.
"""

from __future__ import annotations

import math

import numpy as np
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times, smooth_step
from liveview.bench.flows.candle import Candle, CandleSettings
from liveview.bench.flows.column import ROOT_PI, Column, window
from liveview.optics.air import Air
from liveview.optics.gas import GASES
from liveview.settings import Metres, Seconds, Section


class LighterSettings(Section):
    """A gas lighter."""

    on: bool = False
    x_m: Metres = -0.030
    """Of the nozzle, to the right of the mirror's middle."""
    y_m: Metres = -0.050
    every_s: Seconds = Value(5.0, gt=0, le=3600)
    gas_s: Seconds = Value(0.9, ge=0, le=3600)
    """How long gas flows before it is lit."""
    burns_s: Seconds = Value(2.4, ge=0, le=3600)
    rise_m_s: float = Value(0.55, gt=0, le=20)
    """Of the unlit gas at the nozzle."""
    share: float = Value(0.35, gt=0, le=1)
    """Of butane at the nozzle, the rest is air drawn in."""
    flame_m: Metres = Value(0.010, gt=0, le=0.2)
    excess_k: float = Value(420.0, gt=0, le=2000)


class Lighter:
    """Path of a lighter's gas and plume, see the module."""

    def __init__(
        self, settings: LighterSettings, air: Air, seed: int = 0, *, sheets: int = 2
    ) -> None:
        self._s = settings
        gas = GASES["butane"]
        pure = gas.refractivity(air.temperature_k, air.pressure_pa)
        same = GASES["air"].refractivity(air.temperature_k, air.pressure_pa)
        self.index = settings.share * (pure - same)
        plume = CandleSettings(
            x_m=settings.x_m,
            y_m=settings.y_m + 1.6 * settings.flame_m,
            excess_k=settings.excess_k,
            width_m=0.0045,
            flame_m=settings.flame_m,
            rise_m_s=0.95,
            laminar_m=0.028,
        )
        self.plume = Candle(plume, air, seed + 501, sheets=sheets)
        self.column = Column(
            peak=self._peak,
            width=self._width,
            speed_m_s=0.5 * settings.rise_m_s,
            smooth_m=0.012,
            tear=0.55,
            eddy_m=(0.013, 0.024),
            seed=seed + 511,
            sheets=sheets,
        )

    def _width(self, h: Field) -> Field:
        return np.asarray(np.float32(0.0011) + np.float32(0.14) * np.maximum(h, 0))

    def _peak(self, h: Field) -> Field:
        width = self._width(h)
        share = (np.float32(0.0011) / width) ** 2
        started = np.clip(1.0 + h / np.float32(0.0015), 0.0, 1.0)
        return np.asarray(np.float32(ROOT_PI * self.index) * share * width * started)

    def burning(self, t: Times) -> Times:
        """How far the flame is up, 0..1, at times."""
        since = np.mod(t, self._s.every_s) - self._s.gas_s
        return np.asarray(smooth_step(since / 0.06) * smooth_step((self._s.burns_s - since) / 0.06))

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        s = self._s
        out = np.zeros((y.shape[0], x.shape[1]), np.float32)
        since = float(np.mean(t)) % s.every_s
        h = np.asarray(y - np.float32(s.y_m))
        if since < s.gas_s + 0.25:
            head = 0.10 * (1.0 - math.exp(-since * s.rise_m_s / 0.10))
            burnt = s.rise_m_s * 3.0 * max(0.0, since - s.gas_s)
            rows = np.flatnonzero(h[:, 0] > -0.005)
            if rows.size:
                part = slice(int(rows[0]), int(rows[-1]) + 1)
                across = x - np.float32(s.x_m)
                bent = np.maximum(h[part], 0) + 0.9 * across**2 / self._width(h[part])
                shut = window(np.asarray(bent, np.float32), head, burnt)
                gas = self.column.path(x - np.float32(s.x_m), h[part], t[part])
                out[part] += gas * shut
        hot = since - s.gas_s
        if hot > 0.0:
            head, tail = 1.0 * hot, 0.9 * max(0.0, hot - s.burns_s)
            if tail < 0.4:
                shut = window(np.maximum(h, 0), head, tail)
                out += self.plume.path(x, y, t) * shut
        return out
