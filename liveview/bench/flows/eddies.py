"""Turbulence as a displacement of the fluid: seeded, periodic, free of divergence.

A tile of displacements is the curl of a random stream function with a falling spectrum. It drifts
with the flow; two tiles that drift at slightly different speeds and fade into each other in turn
make it change as it goes.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from liveview.bench.flows.base import Field, Times
from liveview.imaging.cv import cv2

_SIZE = 256
_PER_SCALE = 24
"""Tile samples per largest eddy."""


@lru_cache(maxsize=16)
def _tile(seed: int) -> tuple[Field, Field]:
    """Two components of displacement in units of the largest eddy, rms 1 each, (256, 256)."""
    rng = np.random.default_rng([seed, 7301])
    k = np.fft.fftfreq(_SIZE)
    kx, ky = k[None, :], k[:, None]
    wave = np.hypot(kx, ky) * _PER_SCALE
    # The displacement falls as k^(-5/3 - 1/2) like the eddies of an inertial range seen in two
    # dimensions; below the largest eddy it is flat, above a cut it is smooth for the grid.
    power = np.where(wave > 0, (1.0 + wave**2) ** (-17.0 / 12.0) * np.exp(-((wave / 6.0) ** 2)), 0)
    stream = np.fft.fft2(rng.standard_normal((_SIZE, _SIZE))) * power
    along = np.fft.ifft2(stream * 2j * math.pi * ky).real
    across = np.fft.ifft2(-stream * 2j * math.pi * kx).real
    scale = 1.0 / math.sqrt(0.5 * float(np.mean(along**2 + across**2)))
    return (along * scale).astype(np.float32), (across * scale).astype(np.float32)


def displacement(
    x: Field, y: Field, t: Times, *, eddy_m: float, rise_m_s: float, life_s: float, seed: int
) -> tuple[Field, Field]:
    """Displacement (x, y) at each point, in units of its rms, (rows, columns) each.

    Parameters
    ----------
    x, y, t :
        As in ``Flow.path``; ``x`` may also be (rows, columns).
    eddy_m : float
        Size of the largest eddies.
    rise_m_s : float
        Speed at which they are carried upwards.
    life_s : float
        Time in which the pattern changes to another.
    """
    per_m = _PER_SCALE / eddy_m
    shape = (y.shape[0], x.shape[1])
    total_x: NDArray[np.float32] | None = None
    total_y: NDArray[np.float32] | None = None
    for turn in range(2):
        phase = t / life_s + 0.5 * turn
        which = np.floor(phase)
        # cos^2 and sin^2 weights in amplitude keep the rms while one pattern follows the other.
        weight = np.sin(math.pi * (phase - which)).astype(np.float32)
        jump = np.mod(which * 97.3 + turn * 131.7, _SIZE)
        map_x = np.broadcast_to(x * np.float32(per_m) + jump.astype(np.float32), shape)
        carried = np.mod((-y.astype(np.float64) + rise_m_s * t) * per_m + 53.9 * jump, _SIZE)
        map_y = np.broadcast_to(carried.astype(np.float32), shape)
        map_x = np.ascontiguousarray(np.mod(map_x, np.float32(_SIZE)))
        map_y = np.ascontiguousarray(map_y)
        tiles = _tile(seed + turn)
        parts = [_sampled(tile, map_x, map_y) * weight for tile in tiles]
        total_x = parts[0] if total_x is None else total_x + parts[0]
        total_y = parts[1] if total_y is None else total_y + parts[1]
    assert total_x is not None and total_y is not None
    return total_x, total_y


def _sampled(tile: Field, map_x: Field, map_y: Field) -> Field:
    return np.asarray(cv2.remap(tile, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))


class Wander:
    """A smooth random movement in time: a few sines of seeded frequency and phase, rms 1.

    Parameters
    ----------
    seed : int
    low_hz, high_hz : float
        Range of the frequencies.
    """

    def __init__(self, seed: int, low_hz: float, high_hz: float, sines: int = 5) -> None:
        rng = np.random.default_rng([seed, 4177])
        self._hz = np.exp(rng.uniform(math.log(low_hz), math.log(high_hz), sines))
        self._phase = rng.uniform(0.0, 2.0 * math.pi, sines)
        size = (self._hz / low_hz) ** -0.5
        self._size = size / math.sqrt(0.5 * float(np.sum(size**2)))

    def at(self, t: Times) -> NDArray[np.float64]:
        """Value at each time, any shape."""
        total = np.zeros(np.shape(t))
        for hz, phase, size in zip(self._hz, self._phase, self._size, strict=True):
            total += size * np.sin(2.0 * math.pi * hz * t + phase)
        return total
