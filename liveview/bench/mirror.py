"""The mirror in the picture: its rim, its dust and scratches, the errors of its figure.

All maps cover the disc's bounding box only, float32, (rows, columns), and do not change with time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.scene import Scene
from liveview.imaging.cv import cv2

Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Place:
    """The disc in the picture, and the box around it that is worked on.

    ``top``, ``left``, ``rows``, ``columns`` are the box in pixels, inside the picture.
    """

    cx: float
    cy: float
    radius: float
    px_per_m: float
    top: int
    left: int
    rows: int
    columns: int

    @property
    def box(self) -> tuple[slice, slice]:
        """Rows and columns of the picture."""
        return (
            slice(self.top, self.top + self.rows),
            slice(self.left, self.left + self.columns),
        )

    def x(self, columns: NDArray[np.floating[Any]]) -> Map:
        """Metres on the mirror, to the right of its middle, of picture columns; (1, n)."""
        return ((columns - self.cx) / self.px_per_m).astype(np.float32)[None, :]

    def y(self, rows: NDArray[np.floating[Any]]) -> Map:
        """Metres above the mirror's middle of picture rows; (n, 1)."""
        return ((self.cy - rows) / self.px_per_m).astype(np.float32)[:, None]


def place_of(scene: Scene) -> Place:
    """Where the scene's mirror is in its picture."""
    width, height = scene.sensor.width, scene.sensor.height
    radius = scene.view.disc_radius * height
    cx, cy = scene.view.disc_x * (width - 1), scene.view.disc_y * (height - 1)
    margin = math.ceil(4 + 5 * scene.view.blur_px * height / 720 + 4 * scene.room.shake)
    top = min(max(0, math.floor(cy - radius) - margin), height - 1)
    left = min(max(0, math.floor(cx - radius) - margin), width - 1)
    bottom = max(min(height, math.ceil(cy + radius) + margin + 1), top + 1)
    right = max(min(width, math.ceil(cx + radius) + margin + 1), left + 1)
    px_per_m = radius / (0.5 * scene.rig.mirror_diameter_m)
    return Place(cx, cy, radius, px_per_m, top, left, bottom - top, right - left)


@dataclass(frozen=True, slots=True)
class MirrorMaps:
    """What the mirror does to the light.

    ``reflects`` is the open picture's light, 0..1. ``slope_x`` and ``slope_y`` are errors of the
    glass's slope (right, up), radians; a ray is turned by twice as much.
    """

    reflects: Map
    slope_x: Map
    slope_y: Map


def mirror_maps(scene: Scene, place: Place) -> MirrorMaps:
    """The maps of a scene's mirror, seeded by the mirror's own seed."""
    x = place.x(np.arange(place.left, place.left + place.columns, dtype=np.float64))
    y = place.y(np.arange(place.top, place.top + place.rows, dtype=np.float64))
    half = 0.5 * scene.rig.mirror_diameter_m
    u, v = x / half, y / half
    r = np.sqrt(u * u + v * v)
    blur = scene.view.blur_px * scene.sensor.height / 720.0
    reflects = np.clip((1.0 - r) * place.radius + 0.5, 0.0, 1.0)
    reflects = reflects * (1.0 - scene.light.falloff * r * r) * (1.0 + scene.light.lean * u)
    slope_x, slope_y = _figure(scene, u, v, r)
    flaws, flaw_slope = _flaws(scene, place)
    reflects = (reflects * flaws / (1.0 + abs(scene.light.lean))).astype(np.float32)
    if blur > 0:
        reflects = cv2.GaussianBlur(reflects, (0, 0), blur)
    return MirrorMaps(
        np.ascontiguousarray(reflects),
        np.ascontiguousarray(slope_x + flaw_slope, dtype=np.float32),
        np.ascontiguousarray(slope_y + 0.4 * flaw_slope, dtype=np.float32),
    )


def _figure(scene: Scene, u: Map, v: Map, r: Map) -> tuple[Map, Map]:
    """Zones as hand polishing leaves them, a little astigmatism, and the turned edge."""
    rng = np.random.default_rng([scene.mirror.seed, 1])
    radial = np.zeros_like(r)
    for k in range(1, 6):
        size, phase = rng.normal() / k**0.5, rng.uniform(0, 2 * math.pi)
        radial += np.float32(size) * np.sin(
            np.float32(2 * math.pi * k * 0.9) * r + np.float32(phase)
        )
    radial *= np.float32(scene.mirror.figure_rad / 1.2)
    radial += np.float32(scene.mirror.turned_edge_rad) * np.clip((r - 0.965) / 0.035, 0, 2) ** 2
    safe = np.maximum(r, np.float32(1e-6))
    tilt = np.float32(0.6 * scene.mirror.figure_rad)
    rough_x, rough_y = (_smooth_noise(r.shape, rng, cells) for cells in (7, 7))
    rough = np.float32(0.7 * scene.mirror.figure_rad)
    slope_x = radial * u / safe + tilt * v + rough * rough_x
    slope_y = radial * v / safe + tilt * u + rough * rough_y
    return slope_x, slope_y


def _smooth_noise(shape: tuple[int, ...], rng: np.random.Generator, cells: int) -> Map:
    small = rng.standard_normal((cells + 4, cells + 4)).astype(np.float32)
    noise = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(noise / noise.std(), np.float32)


def _flaws(scene: Scene, place: Place) -> tuple[Map, Map]:
    """Dust and scratches: what they take from the light, and the slopes at their edges."""
    rng = np.random.default_rng([scene.mirror.seed, 2])
    # Painted at twice the size so that specks are round and fine.
    shape = (2 * place.rows, 2 * place.columns)
    taken = np.zeros(shape, np.float32)
    bent = np.zeros(shape, np.float32)
    mid = (2 * (place.cx - place.left), 2 * (place.cy - place.top))
    radius = 2 * place.radius
    grain = radius / 650.0

    def somewhere() -> tuple[float, float]:
        angle, far = rng.uniform(0, 2 * math.pi), math.sqrt(rng.uniform())
        return mid[0] + radius * far * math.cos(angle), mid[1] + radius * far * math.sin(angle)

    for _ in range(scene.mirror.dust):
        px, py = somewhere()
        size = grain * min(6.0, float(rng.lognormal(0.35, 0.55)))
        dark = float(rng.uniform(0.15, 0.85))
        _dot(taken, px, py, size, dark)
    for _ in range(scene.mirror.scratches):
        px, py = somewhere()
        angle, length = rng.uniform(0, math.pi), radius * rng.uniform(0.08, 0.5)
        bow = rng.uniform(-0.06, 0.06) * length
        line = _bow(px, py, angle, length, bow)
        width = max(1, round(grain * rng.uniform(0.6, 1.4)))
        first, last = line.min(axis=0) // 16, line.max(axis=0) // 16
        there = _patch(shape, (first[0], first[1]), (last[0], last[1]), width + 3)
        stroke = np.zeros_like(taken[there])
        line -= 16 * np.array([there[1].start, there[0].start], np.int32)
        cv2.polylines(stroke, [line], False, 1.0, width, cv2.LINE_AA, 4)
        _darken(taken[there], stroke * np.float32(rng.uniform(0.1, 0.35)))
        bent[there] += stroke * np.float32(rng.uniform(-6e-5, 6e-5))
    for _ in range(scene.mirror.smudges):
        px, py = somewhere()
        axes = (round(radius * rng.uniform(0.05, 0.11)), round(radius * rng.uniform(0.03, 0.07)))
        middle, blur = (round(px), round(py)), 9 * grain
        there = _patch(shape, middle, middle, max(axes) + math.ceil(4 * blur) + 3)
        smudge = np.zeros_like(taken[there])
        inside = (middle[0] - there[1].start, middle[1] - there[0].start)
        cv2.ellipse(smudge, inside, axes, rng.uniform(0, 180), 0, 360, 1.0, -1)
        soft = np.asarray(cv2.GaussianBlur(smudge, (0, 0), blur), np.float32)
        _darken(taken[there], soft * np.float32(rng.uniform(0.02, 0.05)))
    small = (place.columns, place.rows)
    less = np.asarray(cv2.resize(taken, small, interpolation=cv2.INTER_AREA), np.float32)
    slope = np.asarray(cv2.resize(bent, small, interpolation=cv2.INTER_AREA), np.float32)
    return 1.0 - np.clip(less, 0, 1), slope


def _patch(
    shape: tuple[int, int], first: tuple[int, int], last: tuple[int, int], around: int
) -> tuple[slice, slice]:
    """Rows and columns of a picture from ``first`` to ``last`` (x, y) and so much around them.

    Of what lies outside the picture one pixel at its edge, which then gets nothing.
    """

    def part(low: int, high: int, size: int) -> slice:
        begin = min(max(int(low) - around, 0), size - 1)
        return slice(begin, min(max(int(high) + around, begin), size - 1) + 1)

    return part(first[1], last[1], shape[0]), part(first[0], last[0], shape[1])


def _darken(part: Map, by: Map) -> None:
    np.maximum(part, by, out=part)


def _dot(into: Map, px: float, py: float, size: float, dark: float) -> None:
    reach = math.ceil(3 * size) + 1
    top, left = max(0, round(py) - reach), max(0, round(px) - reach)
    part = into[top : round(py) + reach + 1, left : round(px) + reach + 1]
    if part.size:
        ys = np.arange(top, top + part.shape[0], dtype=np.float32)[:, None] - np.float32(py)
        xs = np.arange(left, left + part.shape[1], dtype=np.float32)[None, :] - np.float32(px)
        distance = np.sqrt(xs * xs + ys * ys)
        np.maximum(part, np.float32(dark) * np.clip(size - distance + 0.5, 0, 1), out=part)


def _bow(px: float, py: float, angle: float, length: float, bow: float) -> NDArray[np.int32]:
    """A slightly bent line in sixteenths of a pixel, as ``cv2.polylines`` takes with shift 4."""
    s = np.linspace(-0.5, 0.5, 24)
    along, across = s * length, bow * (1 - 4 * s * s)
    xs = px + along * math.cos(angle) - across * math.sin(angle)
    ys = py + along * math.sin(angle) + across * math.cos(angle)
    return np.rint(np.stack([xs, ys], axis=1) * 16).astype(np.int32)
