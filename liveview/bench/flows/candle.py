"""A candle's plume: laminar above the wick, puffing, breaking up higher.

Profile
-------
A round laminar plume from a point: at height h above the flame's tip the index change is
``dn(r) = -A(h) exp(-r^2 / s(h)^2)`` with the excess temperature on the axis falling as
``1/(h + h0)`` and the width s growing as ``(h + h0)^(1/2)`` (laminar round plume, e.g. Gebhart,
Jaluria, Mahajan and Sammakia 1988, ch. 4, from memory). Its path is the Abel transform
``P(x) = -sqrt(pi) A s exp(-x^2/s^2)``; the largest angle of one pass is 1.520 A at x = s/sqrt(2).

Puffs at ``f = 1.5 / sqrt(D)`` (Cetegen and Ahmed 1993) leave the flame at regular times, rise with
the plume and roll its edge up as vortex rings: seen from the side, pairs of opposite eddies. Higher
up eddies of random size tear it (``flows.eddies``). Both move the fluid about; they do not change
its index.
"""

from __future__ import annotations

import math

import numpy as np
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times, smooth_step
from liveview.bench.flows.column import ROOT_PI
from liveview.bench.flows.eddies import Wander, displacement, twirl
from liveview.optics.air import Air
from liveview.settings import Metres, Section


class CandleSettings(Section):
    """A candle's plume."""

    on: bool = True
    x_m: Metres = -0.022
    """Of the flame, to the right of the mirror's middle."""
    y_m: Metres = -0.062
    """Of the flame's tip, above the mirror's middle."""
    excess_k: float = Value(340.0, gt=0, le=2000)
    """Excess temperature on the axis where the plume begins."""
    width_m: Metres = Value(0.0042, gt=0, le=0.2)
    """s where the plume begins."""
    stretch_m: Metres = Value(0.02, gt=0, le=1)
    """h0: height in which the excess temperature halves."""
    flame_m: Metres = Value(0.012, gt=0, le=1)
    """Flame diameter D; sets the puffing frequency."""
    rise_m_s: float = Value(0.75, gt=0, le=20)
    """Speed of the puffs."""
    laminar_m: Metres = Value(0.045, ge=0, le=10)
    """Height that stays smooth; the break-up grows from here."""
    puffing: float = Value(1.0, ge=0, le=3)
    """Strength of the puffs, 1 usual, 0 none."""
    turbulence: float = Value(1.0, ge=0, le=3)
    """Strength of the random eddies, 1 usual, 0 none."""
    draught: float = Value(1.0, ge=0, le=5)
    """How much the plume sways, 1 usual, 0 not at all."""

    @property
    def puffs_hz(self) -> float:
        """Puffing frequency, 1.5/sqrt(D)."""
        return 1.5 / math.sqrt(self.flame_m)


class Candle:
    """Path of a candle's plume, see the module.

    Parameters
    ----------
    settings : CandleSettings
    air : Air
    seed : int
    sheets : int
        Layers through the depth that break up differently; more look finer and cost more.
    """

    def __init__(
        self, settings: CandleSettings, air: Air, seed: int = 0, *, sheets: int = 2
    ) -> None:
        self._s = settings
        self._air = air
        self._seed = seed
        self._sheets = sheets
        self._sway = Wander(seed + 11, 0.25, 1.6)
        rng = np.random.default_rng([seed, 90210])
        self._jitter = rng.uniform(-1.0, 1.0, (256, 3))

    def laminar(self, x: Field, h: Field) -> Field:
        """Path of the undisturbed plume; x from its axis, h above the flame's tip."""
        s = self._s
        up = np.maximum(h, np.float32(0.0))
        ratio = 1.0 + up / np.float32(s.stretch_m)
        excess = np.float32(s.excess_k) / ratio
        index = (
            np.float32(self._air.refractivity)
            * excess
            / (np.float32(self._air.temperature_k) + excess)
        )
        width = np.float32(s.width_m) * np.sqrt(ratio)
        shape = np.exp(-((x / width) ** 2))
        # The plume closes below the tip, around the flame.
        start = np.clip(1.0 + h / np.float32(1.3 * s.flame_m), 0.0, 1.0)
        return np.asarray(-np.float32(ROOT_PI) * index * width * shape * start * start)

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        s = self._s
        h = y - np.float32(s.y_m)
        above = np.maximum(h, 0.0).astype(np.float64)
        late = t - above / s.rise_m_s
        # Higher parts left the flame earlier, so they show where it leaned then.
        lean = s.draught * 0.16 * above**1.5 / math.sqrt(0.1) * self._sway.at(late)
        # Nothing of the plume is further out than this; only these columns are worked on.
        reach = 6.0 * s.width_m * math.sqrt(1.0 + float(above.max()) / s.stretch_m)
        out = np.zeros((y.shape[0], x.shape[1]), np.float32)
        near = np.flatnonzero(
            (x[0] > s.x_m + lean.min() - reach) & (x[0] < s.x_m + lean.max() + reach)
        )
        rows = np.flatnonzero(h[:, 0] > -2.0 * s.flame_m)
        if near.size == 0 or rows.size == 0:
            return out
        columns, some = slice(near[0], near[-1] + 1), slice(rows[0], rows[-1] + 1)
        x0 = x[:, columns] - np.float32(s.x_m) - lean[some].astype(np.float32)
        out[some, columns] = self._broken_up(x0, h[some], t[some])
        return out

    def _broken_up(self, x: Field, h: Field, t: Times) -> Field:
        s = self._s
        if s.puffing == 0.0 and s.turbulence == 0.0:
            return self.laminar(x, h)
        dx = np.zeros((h.shape[0], x.shape[1]), np.float32)
        dy = np.zeros_like(dx)
        if s.puffing:
            self._puffs(x, h, t, dx, dy)
        if s.turbulence == 0.0:
            return self.laminar(x + dx, h + dy)
        total = np.zeros_like(dx)
        smooth = h[:, 0] <= s.laminar_m
        count = int(np.argmin(smooth[::-1])) if not smooth.all() else len(smooth)
        torn, whole = slice(0, len(smooth) - count), slice(len(smooth) - count, None)
        total[whole] = self.laminar(x[whole] + dx[whole], h[whole] + dy[whole])
        for sheet in range(self._sheets):
            step = self._torn(x[torn], h[torn], t[torn], sheet)
            total[torn] += self.laminar(
                x[torn] + dx[torn] + step[..., 0], h[torn] + dy[torn] + step[..., 1]
            )
        total[torn] *= np.float32(1.0 / self._sheets)
        return total

    def _torn(self, x: Field, h: Field, t: Times, sheet: int) -> Field:
        """Displacement by random eddies, which grows from the laminar height on."""
        s = self._s
        grow = smooth_step((h.astype(np.float64) - s.laminar_m) / (2.2 * s.laminar_m + 1e-9))
        width = s.width_m * np.sqrt(1.0 + np.maximum(h, 0.0) / s.stretch_m)
        amount = (s.turbulence * 0.42 * grow * width).astype(np.float32)
        # Sheets move past each other, so the picture changes as it rises.
        step = displacement(
            x,
            h,
            t,
            eddy_m=4.4 * s.width_m,
            rise_m_s=(0.85 - 0.15 * sheet) * s.rise_m_s,
            seed=self._seed + 40 * sheet,
        )
        step *= amount[:, :, None]
        return step

    def _puffs(self, x: Field, h: Field, t: Times, dx: Field, dy: Field) -> None:
        """Add the displacement by the vortex rings that are on their way."""
        s = self._s
        period = 1.0 / s.puffs_hz
        now = float(np.mean(t))
        reach = float(h.max()) + 0.05
        newest = math.floor(now / period)
        count = max(0, math.ceil(reach / (s.rise_m_s * period))) + 1
        for puff in range(newest - count, newest + 1):
            jitter = self._jitter[puff % 256]
            age = t - (puff + 0.06 * jitter[0]) * period
            centre = s.rise_m_s * age
            middle = float(np.mean(centre))
            if not 0.0 < middle < reach:
                continue
            wide = s.width_m * math.sqrt(1.0 + middle / s.stretch_m)
            grown = float(smooth_step(np.array((middle / (s.laminar_m + 1e-9) - 0.45) / 1.2)))
            turn = s.puffing * 2.1 * grown * (1.0 + 0.25 * jitter[1])
            if turn < 0.02:
                continue
            rows = _near(h, middle, 2.6 * wide + float(np.ptp(centre)))
            for side in (-1.0, 1.0):
                middle_x = side * 0.95 * wide
                off = np.float32(0.25 * wide * side * jitter[2])
                columns = _columns(x[rows], middle_x, 2.6 * wide)
                twirl(
                    x[rows, columns],
                    h[rows] - centre[rows].astype(np.float32) - off,
                    middle_x,
                    1.15 * wide,
                    -side * turn,
                    dx[rows, columns],
                    dy[rows, columns],
                )


def _near(h: Field, middle: float, reach: float) -> slice:
    """Rows within ``reach`` of a height (rows run downwards in the picture)."""
    near = np.flatnonzero(np.abs(h[:, 0] - middle) <= reach)
    return slice(int(near[0]), int(near[-1]) + 1) if near.size else slice(0, 0)


def _columns(x: Field, middle: float, reach: float) -> slice:
    """Columns that come within ``reach`` of a place in any row."""
    if x.size == 0:
        return slice(0, 0)
    lowest, highest = x.min(axis=0), x.max(axis=0)
    near = np.flatnonzero((highest >= middle - reach) & (lowest <= middle + reach))
    return slice(int(near[0]), int(near[-1]) + 1) if near.size else slice(0, 0)
