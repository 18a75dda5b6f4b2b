"""A warm hand that comes in from below, stays and leaves.

Profile
-------
Warm air clings to the skin: ``P = dn(excess) depth exp(-d / layer)``, d the distance from the
hand's outline as seen, ``layer`` the thickness of the natural boundary layer and ``depth`` the way
of the light along the hand. From its upper edges the warmth rises: above the hand the path falls
as ``exp(-height / 0.11 m)`` and spreads. Eddies and draughts move it more and more with height.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Value

from liveview.bench.flows.base import Field, Times, smooth_step
from liveview.bench.flows.eddies import Wander, displacement
from liveview.imaging.cv import cv2
from liveview.optics.air import Air
from liveview.settings import Metres, Seconds, Section

_PX_PER_M = 1000.0
_FINE = 4
"""Pixels of the outline for one of the warmth's."""
_WIDE, _HIGH = 260, 420
_ORIGIN = (125.0, 220.0)
"""Middle of the palm in the drawing, pixels (x, y)."""

_CAPSULES = (
    ((-0.015, -0.004), (0.013, -0.004), 0.027),
    ((-0.010, -0.028), (0.010, -0.028), 0.024),
    ((-0.026, 0.010), (-0.031, 0.046), 0.0078),
    ((-0.031, 0.046), (-0.034, 0.072), 0.0068),
    ((-0.009, 0.016), (-0.011, 0.054), 0.0082),
    ((-0.011, 0.054), (-0.010, 0.084), 0.0071),
    ((0.008, 0.014), (0.011, 0.050), 0.0077),
    ((0.011, 0.050), (0.015, 0.077), 0.0067),
    ((0.023, 0.008), (0.031, 0.036), 0.0066),
    ((0.031, 0.036), (0.036, 0.056), 0.0057),
    ((-0.026, -0.018), (-0.066, 0.012), 0.0084),
    ((0.000, -0.036), (0.030, -0.260), 0.022),
)
"""Palm, heel, fingers, thumb, wrist: from (x, y) to (x, y), radius; metres, y up."""


class HandSettings(Section):
    """A warm hand."""

    on: bool = False
    x_m: Metres = 0.006
    """Of the palm's middle while it stays, to the right of the mirror's middle."""
    y_m: Metres = -0.056
    excess_k: float = Value(7.0, gt=0, le=60)
    """Skin above the room's air."""
    depth_m: Metres = Value(0.055, gt=0, le=1)
    layer_m: Metres = Value(0.0055, gt=0, le=0.1)
    every_s: Seconds = Value(9.0, gt=0, le=3600)
    stays_s: Seconds = Value(5.5, ge=0, le=3600)


class Hand:
    """Path and shade of a hand, see the module."""

    def __init__(self, settings: HandSettings, air: Air, seed: int = 0) -> None:
        self._s = settings
        self._seed = seed + 601
        self.path_m = air.warmed(settings.excess_k) * settings.depth_m
        self._sway = Wander(seed + 602, 0.2, 1.3)
        self._tremble = tuple(Wander(seed + 603 + k, 0.3, 3.0) for k in range(2))

    def at(self, t: float) -> tuple[float, float]:
        """Where the palm's middle is, metres right and up."""
        s = self._s
        since = t % s.every_s
        come = float(smooth_step(np.array((since - 0.3) / 1.4)))
        go = float(smooth_step(np.array((since - 1.7 - s.stays_s) / 1.2)))
        out = 0.22 * (1.0 - come + go)
        small = [0.0012 * float(w.at(np.array(t))) for w in self._tremble]
        return s.x_m + 0.15 * out + small[0], s.y_m - out + small[1]

    @cached_property
    def outline(self) -> Field:
        """1 on the hand, 0 beside it; 4000 pixels a metre, row 0 on top."""
        drawn = np.zeros((_HIGH * _FINE, _WIDE * _FINE), np.uint8)
        for (x0, y0), (x1, y1), radius in _CAPSULES:
            ends = [
                (
                    round((_ORIGIN[0] + x * _PX_PER_M) * _FINE),
                    round((_ORIGIN[1] - y * _PX_PER_M) * _FINE),
                )
                for x, y in ((x0, y0), (x1, y1))
            ]
            cv2.line(drawn, ends[0], ends[1], 255, round(2 * radius * _PX_PER_M * _FINE))
        # Skin between the fingers rounds the corners off.
        soft = cv2.GaussianBlur(drawn, (0, 0), 1.7 * _FINE).astype(np.float32)
        return np.asarray(np.clip((soft - 127.5) / 25.0 + 0.5, 0, 1), np.float32)

    @cached_property
    def _warmth(self) -> Field:
        """Share of the skin's path at each place of the drawing, 1000 pixels a metre."""
        fine = self.outline
        away = cv2.distanceTransform((fine < 0.5).astype(np.uint8), cv2.DIST_L2, 5)
        size = (_WIDE, _HIGH)
        hand = cv2.resize(fine, size, interpolation=cv2.INTER_AREA)
        far = cv2.resize(np.asarray(away), size, interpolation=cv2.INTER_AREA)
        layer = np.exp(-far / np.float32(self._s.layer_m * _PX_PER_M * _FINE))
        fade = np.float32(math.exp(-1.0 / (0.11 * _PX_PER_M)))
        rising = np.zeros((_HIGH, _WIDE), np.float32)
        line = np.asarray(hand[-1], np.float32)
        for row in range(_HIGH - 1, -1, -1):
            # It spreads sideways as it goes up.
            wider = cv2.GaussianBlur(line[None, :], (9, 1), 0.75)[0]
            line = np.maximum(hand[row], wider * fade)
            rising[row] = line
        soft = cv2.GaussianBlur(rising, (0, 0), 3.0)
        return np.ascontiguousarray(0.45 * layer + 0.55 * soft, np.float32)

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """See ``Flow.path``."""
        shape = (y.shape[0], x.shape[1])
        hx, hy = self.at(float(np.mean(t)))
        if hy < -0.26:
            return np.zeros(shape, np.float32)
        above = np.maximum(y - np.float32(hy), 0).astype(np.float64)
        step = displacement(x, y, t, eddy_m=0.028, rise_m_s=0.22, life_s=0.5, seed=self._seed)
        amount = (0.010 * smooth_step((above - 0.045) / 0.10)).astype(np.float32)
        lean = 0.07 * above * self._sway.at(t - above / 0.22)
        px = x - np.float32(hx) - lean.astype(np.float32) + step[..., 0] * amount
        py = y - np.float32(hy) + step[..., 1] * amount
        map_x = np.ascontiguousarray(px * np.float32(_PX_PER_M) + np.float32(_ORIGIN[0]))
        map_y = np.ascontiguousarray(np.float32(_ORIGIN[1]) - py * np.float32(_PX_PER_M))
        warm = cv2.remap(
            self._warmth, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
        edge = smooth_step((map_y.astype(np.float64) + 60.0) / 90.0).astype(np.float32)
        return np.asarray(np.float32(self.path_m) * warm * edge)

    def shade(
        self, left_m: float, top_m: float, px_per_m: float, size: tuple[int, int], t: float
    ) -> NDArray[np.float32] | None:
        """1 where light passes, 0 behind the hand, over a picture part (columns, rows).

        ``left_m`` and ``top_m`` are where its first pixel lies, right of and above the mirror's
        middle. None while the hand is away.
        """
        hx, hy = self.at(t)
        if hy < -0.26:
            return None
        scale = px_per_m / (_PX_PER_M * _FINE)
        middle = (_ORIGIN[0] * _FINE, _ORIGIN[1] * _FINE)
        move = np.array(
            [
                [scale, 0.0, (hx - left_m) * px_per_m - middle[0] * scale],
                [0.0, scale, (top_m - hy) * px_per_m - middle[1] * scale],
            ]
        )
        hand = cv2.warpAffine(self.outline, move, size, flags=cv2.INTER_LINEAR)
        return np.asarray(np.float32(1.0) - hand)
