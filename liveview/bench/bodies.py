"""Things before the mirror that are not gas: they hide light or give some of their own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.bench.mirror import Map, Place
from liveview.bench.scene import Scene
from liveview.imaging.cv import cv2


@dataclass(frozen=True, slots=True)
class Bodies:
    """Maps over the disc's box.

    ``clear`` is 0 where the electrodes stand, else 1. ``arc`` is the light of the spark's channel
    and its halo, ``glare`` its light everywhere else, ``flame`` the candle's flame; in units of the
    open picture's brightest light.
    """

    clear: Map
    arc: Map
    glare: float
    flame: Map


def bodies_of(scene: Scene, place: Place) -> Bodies:
    """The maps for a scene."""
    x = place.x(np.arange(place.left, place.left + place.columns, dtype=np.float64))
    y = place.y(np.arange(place.top, place.top + place.rows, dtype=np.float64))
    blur = max(0.6, 1.5 * scene.sensor.height / 720.0)
    return Bodies(
        _soft(_clear(scene, x, y), blur)
        if scene.flows.spark.on
        else np.ones((place.rows, place.columns), np.float32),
        _arc(scene, x, y),
        0.16 * scene.flows.spark.flash,
        _soft(_flame(scene, x, y), 1.6 * blur),
    )


def _soft(image: Map, blur: float) -> Map:
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(image, np.float32), (0, 0), blur))


def _clear(scene: Scene, x: Map, y: Map) -> Map:
    """Two pointed rods that reach in from the right and hold the gap between them."""
    s = scene.flows.spark
    rod = np.float32(0.0009)
    clear = np.ones((y.shape[0], x.shape[1]), np.float32)
    for sign in (-1.0, 1.0):
        dy = sign * (y - np.float32(s.y_m)) - np.float32(0.5 * s.gap_m)
        dx = x - np.float32(s.x_m)
        # The tip points at the gap, then the rod turns to the right.
        tip = (dy >= 0) & (dy < 0.012) & (np.abs(dx) < np.minimum(rod, 0.12 * dy + 0.0002))
        holder = (np.abs(dy - np.float32(0.012)) < rod) & (dx > -rod)
        clear[tip | holder] = 0.0
    return clear


def _arc(scene: Scene, x: Map, y: Map) -> Map:
    """The channel between the tips, far above the top code, and its halo in the lens."""
    s = scene.flows.spark
    dx, dy = x - np.float32(s.x_m), y - np.float32(s.y_m)
    beyond = np.maximum(np.abs(dy) - np.float32(0.5 * s.gap_m), 0.0)
    distance = np.sqrt(dx * dx + beyond * beyond) / np.float32(0.0008)
    halo = 25.0 * np.exp(-(distance**2)) + 1.1 / (1.0 + (distance / 2.5) ** 2)
    return np.ascontiguousarray(np.float32(s.flash) * halo, dtype=np.float32)


def _flame(scene: Scene, x: Map, y: Map) -> Map:
    """A teardrop of light below the plume."""
    s = scene.flows.candle
    height = 1.9 * s.flame_m
    up = (np.float32(s.y_m) - y) / np.float32(height)
    inside = np.clip(up, 0, 1)
    width = np.float32(0.26 * s.flame_m) * np.sqrt(inside) * (1.25 - 0.5 * inside**3)
    across = np.abs(x - np.float32(s.x_m)) / np.maximum(width, 1e-6)
    body = np.where((up > 0) & (up < 1.05), np.clip(1.15 - across**2, 0, 1), 0.0)
    return np.asarray(1.6 * body * (1.0 - 0.55 * inside**2), np.float32)
