"""Turbulence as a displacement of the fluid: seeded, periodic, free of divergence.

A tile of displacements is the curl of a random stream function with a falling spectrum, carried
with the flow. Tiles that are carried at different speeds, or that fade into each other in turn,
make it change as it goes.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.flows.base import Field, Times
from liveview.imaging.cv import cv2

_SIZE = 256
_PER_SCALE = 24
"""Tile samples per largest eddy."""


@lru_cache(maxsize=32)
def _tile(seed: int) -> NDArray[np.float32]:
    """Displacement (x, y) at each point of a periodic tile, rms 1 each, (258, 258, 2)."""
    rng = np.random.default_rng([seed, 7301])
    k = np.fft.fftfreq(_SIZE)
    kx, ky = k[None, :], k[:, None]
    wave = np.hypot(kx, ky) * _PER_SCALE
    # The displacement falls as k^(-5/3 - 1/2) like the eddies of an inertial range seen in two
    # dimensions; below the largest eddy it is flat, above a cut it is smooth for the grid.
    power = np.where(wave > 0, (1.0 + wave**2) ** (-17.0 / 12.0) * np.exp(-((wave / 3.5) ** 2)), 0)
    stream = np.fft.fft2(rng.standard_normal((_SIZE, _SIZE))) * power
    along = np.fft.ifft2(stream * 2j * math.pi * ky).real
    # The tile's rows run against the flow, so its second component is turned round.
    across = np.fft.ifft2(stream * 2j * math.pi * kx).real
    scale = 1.0 / math.sqrt(0.5 * float(np.mean(along**2 + across**2)))
    tile = np.dstack([along, across]) * scale
    return np.ascontiguousarray(np.pad(tile, ((0, 2), (0, 2), (0, 0)), mode="wrap"), np.float32)


def displacement(
    x: Field,
    y: Field,
    t: Times,
    *,
    eddy_m: float,
    rise_m_s: float,
    seed: int,
    life_s: float | None = None,
) -> NDArray[np.float32]:
    """Displacement (x, y) at each point, in units of its rms, (rows, columns, 2).

    Parameters
    ----------
    x, y, t :
        As in ``Flow.path``; both may also be (rows, columns).
    eddy_m : float
        Size of the largest eddies.
    rise_m_s : float
        Speed at which they are carried upwards.
    life_s : float, optional
        Time in which the pattern changes to another; absent, it is carried along frozen.
    """
    per_m = _PER_SCALE / eddy_m
    shape = np.broadcast_shapes(x.shape, y.shape)
    across = x * np.float32(per_m)
    upwards = y * np.float32(-per_m)
    carried = rise_m_s * per_m * t
    if life_s is None:
        return _looked_up(seed, shape, across, upwards, carried)
    total = np.zeros((*shape, 2), np.float32)
    for turn in range(2):
        phase = t / life_s + 0.5 * turn
        which = np.floor(phase)
        # sin and cos weights keep the rms while one pattern follows the other.
        weight = np.sin(math.pi * (phase - which)).astype(np.float32)
        jump = np.mod(which * 97.3 + turn * 131.7, _SIZE)
        moved = across + jump.astype(np.float32)
        part = _looked_up(seed + turn, shape, moved, upwards, carried + 53.9 * jump)
        total += part * weight[:, :, None]
    return total


def _looked_up(
    seed: int, shape: tuple[int, ...], across: Field, upwards: Field, carried: Times
) -> NDArray[np.float32]:
    """The tile at places in tile samples, ``carried`` further up in each row."""
    map_x, map_y = np.empty(shape, np.float32), np.empty(shape, np.float32)
    map_x[:] = across
    # Taken modulo the tile in double precision: times may be long.
    np.add(upwards, np.mod(carried, _SIZE).astype(np.float32), out=map_y)
    # Inside the tile, which repeats its first row and column, no border has to be looked after.
    wide = np.float32(_SIZE)
    map_x -= np.floor(map_x / wide) * wide
    map_y -= np.floor(map_y / wide) * wide
    return np.asarray(cv2.remap(_tile(seed), map_x, map_y, cv2.INTER_LINEAR))


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

    def at(self, t: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
        """Value at each time, any shape."""
        total = np.zeros(np.shape(t))
        for hz, phase, size in zip(self._hz, self._phase, self._size, strict=True):
            total += size * np.sin(2.0 * math.pi * hz * t + phase)
        return total


def twirl(
    x: Field, dh: Field, centre_x: float, radius: float, angle: float, dx: Field, dy: Field
) -> None:
    """Add to dx, dy the step from each point to where its fluid was before an eddy turned it."""
    px = x - np.float32(centre_x)
    weight = np.exp(-(px * px + dh * dh) * np.float32(1.0 / radius**2))
    turned = np.float32(angle) * weight
    cos, sin = np.cos(turned) - np.float32(1.0), np.sin(turned)
    dx += px * cos - dh * sin
    dy += px * sin + dh * cos
