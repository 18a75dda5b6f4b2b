"""The mirror's disc: find it, mask it.

The finder needs only an arc of the rim: the disc may be half dark from the blade, partly
outside the picture or covered by a plume. Candidates come from triples of rim points (random
sample consensus, Fischler and Bolles 1981); the winner is refined to a fraction of a pixel
along rays across the rim.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Disc, Light

Floats = NDArray[np.float64]

_WORK_SIZE = 360
"""Longest side of the reduced picture in which candidates are sought."""
_TRIPLES = 4000
_SECTORS = 120
_LEAST_ARC = 0.22
"""Share of the whole rim that must be seen as an edge."""


@dataclass(frozen=True, slots=True)
class _Rim:
    """Edge points and their directions towards the bright side (unit vectors)."""

    xy: Floats
    inward: Floats


def find_disc(light: Light) -> Disc | None:
    """Find the bright disc in a picture.

    Parameters
    ----------
    light : ndarray, float32, (rows, columns)
        Linear light, any scale; the open picture is best, one with the blade half in will do.

    Returns
    -------
    Disc or None
        Centre and radius in pixels, good to a few tenths of a pixel on a clean rim. None when
        less than about a quarter of a rim is to be seen, or the picture is even.
    """
    if min(light.shape) < 16 or not np.isfinite(light).any():
        return None
    step = max(1.0, max(light.shape) / _WORK_SIZE)
    small = _prepared(light, step)
    rim = _rim_points(small)
    if rim is None:
        return None
    circle = _best_circle(rim, small.shape)
    if circle is None:
        return None
    centre = (circle[:2] + 0.5) * step - 0.5
    return _refined(light, np.array([centre[0], centre[1], circle[2] * step]), step)


def disc_mask(shape: tuple[int, ...], disc: Disc | None, margin_px: float = 1.0) -> Bytes:
    """255 inside the disc, 0 outside; all 255 without a disc.

    Parameters
    ----------
    shape : tuple
        Rows and columns of the picture.
    disc : Disc or None
        Position in that picture.
    margin_px : float
        Kept away from the rim, where a pixel is partly frame.
    """
    rows, columns = shape[:2]
    if disc is None:
        return np.full((rows, columns), 255, np.uint8)
    y, x = np.ogrid[:rows, :columns]
    reach = max(disc.radius - margin_px, 0.0)
    inside = (x - disc.cx) ** 2 + (y - disc.cy) ** 2 <= reach * reach
    return np.where(inside, 255, 0).astype(np.uint8)


def disc_box(shape: tuple[int, ...], disc: Disc | None) -> tuple[slice, slice]:
    """Rows and columns that hold the disc, cut at the picture's border; all without a disc."""
    rows, columns = shape[:2]
    if disc is None:
        return slice(0, rows), slice(0, columns)

    def span(centre: float, size: int) -> slice:
        first = int(np.clip(np.floor(centre - disc.radius), 0, size - 1))
        last = int(np.clip(np.ceil(centre + disc.radius) + 1, first + 1, size))
        return slice(first, last)

    return span(disc.cy, rows), span(disc.cx, columns)


def _prepared(light: Light, step: float) -> Bytes:
    """Reduced, square root (evens photon noise), stretched to 8 bit."""
    rows, columns = light.shape
    size = (max(8, round(columns / step)), max(8, round(rows / step)))
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA) if step > 1 else light
    root = np.sqrt(np.maximum(np.nan_to_num(small), 0.0), dtype=np.float32)
    root = cv2.GaussianBlur(root, (0, 0), 1.2)
    low, high = np.percentile(root, (0.5, 99.5))
    if high - low < 1e-4 * max(1.0, float(high)):
        return np.zeros(root.shape, np.uint8)
    stretched: Bytes = np.clip((root - low) * (255.0 / (high - low)), 0, 255).astype(np.uint8)
    return stretched


def _rim_points(small: Bytes) -> _Rim | None:
    gx = cv2.Sobel(small, cv2.CV_16S, 1, 0)
    gy = cv2.Sobel(small, cv2.CV_16S, 0, 1)
    size = np.hypot(gx, gy)
    edges = cv2.Canny(gx, gy, 30.0, 70.0, L2gradient=True)
    y, x = np.nonzero(edges)
    if x.size < 20:
        return None
    grad = np.stack([gx[y, x], gy[y, x]], axis=1) / np.maximum(size[y, x], 1e-9)[:, None]
    return _Rim(np.stack([x, y], axis=1).astype(np.float64), grad.astype(np.float64))


def _best_circle(rim: _Rim, shape: tuple[int, ...]) -> Floats | None:
    """The circle with the longest seen arc, as (cx, cy, radius) in reduced pixels."""
    rng = np.random.default_rng(12345)
    count = len(rim.xy)
    circles = _through(rim.xy[rng.integers(0, count, (_TRIPLES, 3))])
    reach = float(max(shape))
    fits = np.isfinite(circles).all(axis=1)
    fits &= (circles[:, 2] > 0.04 * reach) & (circles[:, 2] < 1.5 * reach)
    circles = circles[fits]
    if not len(circles):
        return None
    few = rng.permutation(count)[:300]
    rough = np.concatenate(
        [_votes(part, rim.xy[few], rim.inward[few]) for part in np.array_split(circles, 12)]
    )
    best: tuple[float, Floats] | None = None
    for index in np.argsort(rough)[::-1][:40]:
        circle = _settled(circles[index], rim)
        arc = _seen_arc(circle, rim)
        score = arc * np.sqrt(circle[2])
        if arc >= _LEAST_ARC and (best is None or score > best[0]):
            best = (score, circle)
    return None if best is None else best[1]


def _through(points: Floats) -> Floats:
    """Circles through triples of points, (n, 3, 2) to (n, 3); not finite where collinear."""
    a, b, c = points[:, 0], points[:, 1], points[:, 2]
    ab, ac = b - a, c - a
    cross = 2.0 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    sab, sac = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ux = (ac[:, 1] * sab - ab[:, 1] * sac) / cross
        uy = (ab[:, 0] * sac - ac[:, 0] * sab) / cross
    return np.stack([a[:, 0] + ux, a[:, 1] + uy, np.hypot(ux, uy)], axis=1)


def _votes(circles: Floats, xy: Floats, inward: Floats) -> Floats:
    """How many points lie on each circle and face its centre, per root of its length."""
    dx = circles[:, 0:1] - xy[None, :, 0]
    dy = circles[:, 1:2] - xy[None, :, 1]
    far = np.maximum(np.hypot(dx, dy), 1e-9)
    facing = (dx * inward[None, :, 0] + dy * inward[None, :, 1]) / far
    on = (np.abs(far - circles[:, 2:3]) < 1.5) & (facing > 0.85)
    votes: Floats = on.sum(axis=1) / np.sqrt(circles[:, 2])
    return votes


def _on_rim(circle: Floats, rim: _Rim, width: float) -> NDArray[np.bool_]:
    away = circle[None, :2] - rim.xy
    far = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
    facing = (away * rim.inward).sum(axis=1) / far
    found: NDArray[np.bool_] = (np.abs(far - circle[2]) < width) & (facing > 0.85)
    return found


def _settled(circle: Floats, rim: _Rim) -> Floats:
    """A few least-squares turns on the points near the circle."""
    for width in (2.5, 1.5, 1.5):
        near = rim.xy[_on_rim(circle, rim, width)]
        if len(near) < 8:
            break
        circle = fit_circle(near)
    return circle


def _seen_arc(circle: Floats, rim: _Rim) -> float:
    near = rim.xy[_on_rim(circle, rim, 1.5)]
    angles = np.arctan2(near[:, 1] - circle[1], near[:, 0] - circle[0])
    sectors = np.unique(((angles / (2 * np.pi) + 0.5) * _SECTORS).astype(int) % _SECTORS)
    return len(sectors) / _SECTORS


def fit_circle(xy: Floats, weights: Floats | None = None) -> Floats:
    """Algebraic least-squares circle (Kasa 1976), (n, 2) points to (cx, cy, radius)."""
    w = np.ones(len(xy)) if weights is None else np.sqrt(weights)
    middle = xy.mean(axis=0)
    p = xy - middle
    matrix = np.column_stack([p, np.ones(len(p))]) * w[:, None]
    solved = np.linalg.lstsq(matrix, (p**2).sum(axis=1) * w, rcond=None)[0]
    centre = solved[:2] / 2
    radius = np.sqrt(max(solved[2] + (centre**2).sum(), 0.0))
    return np.array([centre[0] + middle[0], centre[1] + middle[1], radius])


def _refined(light: Light, circle: Floats, step: float) -> Disc | None:
    """Sub-pixel rim along rays, then a robust fit; None when the rim does not stand out."""
    clean: Any = np.nan_to_num(light).astype(np.float32, copy=False)
    for _ in range(3):
        found = _rim_on_rays(clean, circle, reach=max(4.0, 3.0 * step))
        if found is None:
            return None
        xy, strength, rays = found
        circle = _robust_circle(xy, strength)
        if not np.isfinite(circle).all():
            return None
    return _confirmed(circle, xy, rays)


def _confirmed(circle: Floats, xy: Floats, rays: int) -> Disc | None:
    """Noise and straight edges scatter along the rays; a rim is where the circle is."""
    miss = np.abs(np.hypot(xy[:, 0] - circle[0], xy[:, 1] - circle[1]) - circle[2])
    close = miss < max(1.0, 0.004 * circle[2])
    if close.sum() < _LEAST_ARC * rays or close.mean() < 0.4:
        return None
    return Disc(float(circle[0]), float(circle[1]), float(circle[2]))


def _rim_on_rays(light: Light, circle: Floats, reach: float) -> tuple[Floats, Floats, int] | None:
    """Rim points, weights, rays cast: on each ray the steepest fall of light going outwards."""
    cx, cy, radius = circle
    angles = np.linspace(0, 2 * np.pi, int(np.clip(2 * np.pi * radius, 90, 720)), endpoint=False)
    offsets = np.arange(-reach - 2, reach + 2.01, 0.5)
    r = radius + offsets
    x = cx + np.cos(angles)[:, None] * r
    y = cy + np.sin(angles)[:, None] * r
    rows, columns = light.shape
    within = ((x >= 0) & (x <= columns - 1) & (y >= 0) & (y <= rows - 1)).all(axis=1)
    if within.sum() < 8:
        return None
    x, y, angles = x[within], y[within], angles[within]
    ray = cv2.remap(light, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    ray = cv2.GaussianBlur(ray, (5, 7), 1.0, sigmaY=1.5)
    fall = -np.gradient(ray, axis=1)
    steepest = np.argmax(fall[:, 2:-2], axis=1) + 2
    index = np.arange(len(fall))
    before, peak, after = (fall[index, steepest + k] for k in (-1, 0, 1))
    bend = before - 2 * peak + after
    shift = np.where(np.abs(bend) > 1e-12, 0.5 * (before - after) / np.minimum(bend, -1e-12), 0.0)
    at = radius + offsets[steepest] + np.clip(shift, -1, 1) * 0.5
    spread = 1.4826 * np.median(np.abs(fall - np.median(fall, axis=1, keepdims=True)), axis=1)
    strong = peak > np.maximum(4.0 * spread, 0.02 * np.percentile(peak, 95))
    if strong.sum() < 8:
        return None
    xy = np.stack([cx + np.cos(angles) * at, cy + np.sin(angles) * at], axis=1)[strong]
    return xy, np.asarray(peak[strong], np.float64), len(within)


def _robust_circle(xy: Floats, strength: Floats) -> Floats:
    """Circle by reweighted least squares (Tukey's biweight on the radial residual)."""
    weights = np.minimum(strength / np.median(strength), 1.0)
    circle = fit_circle(xy, weights)
    for _ in range(6):
        miss = np.hypot(xy[:, 0] - circle[0], xy[:, 1] - circle[1]) - circle[2]
        scale = max(1.4826 * float(np.median(np.abs(miss))), 0.05)
        u = np.clip(np.abs(miss) / (4.685 * scale), 0, 1)
        circle = fit_circle(xy, weights * (1 - u * u) ** 2 + 1e-12)
    return circle
