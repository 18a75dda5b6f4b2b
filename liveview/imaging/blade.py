"""The blade meter: uncut fraction and tilt of the disc, from light and the calibration.

``T = (I - I_dark)/(I_open - I_dark)`` per pixel, in linear light; clipped pixels and what an
opaque thing hides are left out. The tilt is that of a plane fitted to T (never to the raw picture:
an uneven lamp would tilt it), robustly, so that dust and flow do not tilt it.

::

      n = unit vector towards the blade's side         tilt_across = fall of T over the
      t = n turned clockwise in the picture            diameter along n, tilt_along along t
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.disc import disc_mask
from liveview.imaging.quick import median
from liveview.model import Bytes, Disc, Light, Side

Floats = NDArray[np.float64]

_SAMPLES = 1500
_OPPOSITE = {
    Side.LEFT: Side.RIGHT,
    Side.RIGHT: Side.LEFT,
    Side.TOP: Side.BOTTOM,
    Side.BOTTOM: Side.TOP,
}
_OPAQUE = 0.1
"""Of the uncut fraction of the rest: what is opaque lets less through,"""
_LEAST_OPAQUE = 0.04
"""and takes up at least this share of the disc: a candle's plume has up to 0.03 so dark."""
_LEAST_REST, _MOST_REST = 0.05, 0.9
"""Uncut fractions of the rest between which an opaque thing can be told."""
EVEN_TILT = 0.02
"""Tilts up to this, or three of their sigma, count as even."""


class Sampled(Protocol):
    """Light of which parts can be had."""

    def __getitem__(self, part: Any, /) -> Any:
        """Some of it, float32."""


@dataclass(frozen=True, slots=True)
class BladeFit:
    """Result of one frame. ``valid`` is the share of the disc's samples that could be used."""

    uncut: float
    tilt_across: float | None
    tilt_along: float | None
    tilt_sigma: float | None
    valid: float


class BladeMeter:
    """Reads the blade from frames, on a grid of some thousand pixels of the disc.

    Parameters
    ----------
    dark, open_light : ndarray, float32, (rows, columns)
        Calibration pictures.
    usable : ndarray, uint8, (rows, columns)
        0 where a calibration picture is clipped.
    disc : Disc or None
        The whole picture counts without one; then tilts run over its shorter side.
    side : Side
        From which the blade comes in.
    """

    def __init__(
        self, dark: Light, open_light: Light, usable: Bytes, disc: Disc | None, side: Side
    ) -> None:
        rows, columns = dark.shape
        inside = disc_mask(dark.shape, disc, 2.0) & usable
        span = open_light - dark
        lit = span > 0.02 * float(np.percentile(span, 99))
        count = max(1, int(np.count_nonzero(inside)))
        step = max(1, int(np.sqrt(count / _SAMPLES)))
        self._grid = grid = (slice(step // 2, None, step),) * 2
        self._chosen = chosen = ((inside > 0) & lit)[grid]
        self._dark = dark[grid][chosen]
        self._recip = (1.0 / np.maximum(span[grid][chosen], 1e-9)).astype(np.float32)
        across, along = _axes(rows, columns, disc, side, grid)
        self._matrix = np.stack([a[chosen] for a in (np.ones_like(across), across, along)])

    def read(self, light: Sampled, unclipped: Bytes) -> BladeFit | None:
        """Uncut fraction and tilts; None when no pixel of the disc can be used.

        Parameters
        ----------
        light : ndarray, float32, (rows, columns)
            Or anything that gives a grid of it by slices.
        unclipped : ndarray, uint8, (rows, columns)
            255 where the frame is neither at the top nor at the bottom code.
        """
        total = self._dark.size
        share = (light[self._grid][self._chosen] - self._dark) * self._recip
        fine = unclipped[self._grid][self._chosen] > 0
        kept = int(np.count_nonzero(fine))
        if kept == 0:
            return None
        matrix = self._matrix
        if kept < total:
            share, matrix = share[fine], matrix[:, fine]
        lit = _in_the_light(share)
        if lit is not None:
            share, matrix, kept = share[lit], matrix[:, lit], int(np.count_nonzero(lit))
        values = share.astype(np.float64)
        uncut = float(values.mean())
        plane = _robust_plane(values, matrix) if kept >= 50 else None
        if plane is None:
            return BladeFit(uncut, None, None, None, kept / total)
        across, along, sigma = plane
        return BladeFit(uncut, -2 * across, -2 * along, 2 * sigma, kept / total)


def _in_the_light(share: Light) -> NDArray[np.bool_] | None:
    """Which samples see past a hand or a thing in the light; None where there is nothing opaque.

    An opaque thing is dark against the rest with next to nothing between, while a flow and the
    shadow of a blade off the focus have all shades. Where the rest is not cut, the dark part may
    be the shadow of a blade far from the focus, so that everything counts.
    """
    rest = float(np.partition(share, 3 * share.size // 4)[3 * share.size // 4])
    if not _LEAST_REST < rest < _MOST_REST:
        return None
    dark = share < _OPAQUE * rest
    opaque = np.count_nonzero(dark) / share.size
    shades = np.count_nonzero(share < 0.5 * rest) / share.size - opaque
    return ~dark if opaque > _LEAST_OPAQUE and shades < opaque / 3 else None


def _axes(
    rows: int, columns: int, disc: Disc | None, side: Side, grid: tuple[slice, slice]
) -> tuple[Floats, Floats]:
    """Positions of the samples along n and t in units of the disc's radius."""
    cx, cy = ((columns - 1) / 2, (rows - 1) / 2) if disc is None else (disc.cx, disc.cy)
    radius = min(rows, columns) / 2 if disc is None else disc.radius
    y = (np.arange(rows)[grid[0]] - cy)[:, None] / radius
    x = (np.arange(columns)[grid[1]] - cx)[None, :] / radius
    (nx, ny), (tx, ty) = side.normal, side.along
    return x * nx + y * ny, x * tx + y * ty


def _robust_plane(values: Floats, matrix: Floats) -> tuple[float, float, float] | None:
    """Slopes of ``values`` along n and t, and the first one's standard deviation.

    Least squares, reweighted twice (Tukey's biweight). ``matrix`` is (3, samples): ones, n, t.
    None when the samples lie on a line.
    """
    full = np.concatenate([matrix, values[None]])
    inverse = _inverse(matrix @ full.T)
    if inverse is None:
        return None
    solved, spread = inverse
    scale = 0.0
    for _ in range(2):
        miss = np.array((*solved, -1.0)) @ full
        np.abs(miss, out=miss)
        scale = max(1.4826 * median(miss), 1e-9)
        miss *= 1 / (4.685 * scale)
        np.minimum(miss, 1.0, out=miss)
        miss *= miss
        np.subtract(1.0, miss, out=miss)
        miss *= miss
        inverse = _inverse((matrix * miss) @ full.T)
        if inverse is None:
            return None
        solved, spread = inverse
    return solved[1], solved[2], scale * spread**0.5


def _inverse(sums: Floats) -> tuple[tuple[float, float, float], float] | None:
    """Least squares of three terms, written out: NumPy's solver costs more than the sums do.

    Parameters
    ----------
    sums : ndarray, (3, 4)
        Normal matrix and, in the last column, the right side.

    Returns
    -------
    solution, spread : tuple of float, float
        ``spread`` is the second diagonal element of the inverse; None when singular.
    """
    (a, b, c, u), (_, d, e, v), (_, _, f, w) = sums.tolist()
    aa, ab, ac = d * f - e * e, c * e - b * f, b * e - c * d
    bb, bc, cc = a * f - c * c, b * c - a * e, a * d - b * b
    det = a * aa + b * ab + c * ac
    if not det > 1e-6 * a**3:
        return None
    x = (aa * u + ab * v + ac * w) / det
    y = (ab * u + bb * v + bc * w) / det
    z = (ac * u + bc * v + cc * w) / det
    return (x, y, z), bb / det


def advice(
    side: Side,
    uncut: float | None,
    tilt_across: float | None,
    tilt_sigma: float | None,
    target: float = 0.5,
    band: float = 0.05,
) -> str:
    """One sentence for the person at the rig; empty where nothing can be said."""
    if uncut is None:
        return ""
    if uncut < 0.01:
        return "no light passes the blade: draw it back"
    if uncut > 0.97:
        return f"the blade does not cut yet: bring it in from the {side.value}"
    if tilt_across is not None and abs(tilt_across) > max(EVEN_TILT, 3 * (tilt_sigma or 0.0)):
        darker = side if tilt_across > 0 else _OPPOSITE[side]
        move = "away from the mirror" if tilt_across > 0 else "nearer to the mirror"
        return f"the {darker.value} side is darker: move the blade {move}"
    even = "darkens evenly, in the focus" if tilt_across is not None else "tilt not known"
    if abs(uncut - target) <= band:
        return f"{even}; cut as wanted"
    return f"{even}; {'cut more' if uncut > target else 'draw back'}, to {target:.0%} uncut"
