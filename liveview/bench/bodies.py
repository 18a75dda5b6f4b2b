"""Things before the mirror that are not gas: they hide light or give some of their own.

What stands at the flow is passed twice by the light, at slightly different places, so its shadow
is double: ``hidden`` multiplies both.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from liveview.bench.mirror import Map, Place
from liveview.bench.scene import Scene
from liveview.imaging.cv import cv2

Shape = Callable[[Scene, Map, Map], Map]


@dataclass(frozen=True, slots=True)
class Bodies:
    """Maps over the disc's box.

    ``clear`` holds one map for each flow that has a body: 0 where it stands, else 1. ``flames``
    holds the light of flames, ``arc`` that of the spark's channel and its halo, ``glare`` the
    spark's light everywhere else; all in units of the open picture's brightest light.
    """

    clear: dict[str, Map]
    flames: dict[str, Map]
    arc: Map
    glare: float


def bodies_of(scene: Scene, place: Place) -> Bodies:
    """The maps for a scene."""
    x = place.x(np.arange(place.left, place.left + place.columns, dtype=np.float64))
    y = place.y(np.arange(place.top, place.top + place.rows, dtype=np.float64))
    blur = max(0.6, 1.3 * scene.sensor.height / 720.0)
    offset = scene.view.pass_offset_m * place.px_per_m if scene.rig.kind == "one mirror" else 0.0
    return Bodies(
        {name: twice(_soft(shape(scene, x, y), blur), offset) for name, shape in _SHAPES.items()},
        {name: _soft(shape(scene, x, y), 1.8 * blur) for name, shape in _FLAMES.items()},
        _arc(scene, x, y),
        0.16 * scene.flows.spark.flash_light,
    )


def twice(clear: Map, offset_px: float) -> Map:
    """What both passes leave of the light when they cross a body ``offset_px`` apart."""
    if offset_px == 0.0:
        return clear
    move = np.array([[1.0, 0.0, -offset_px], [0.0, 1.0, 0.0]])
    size = (clear.shape[1], clear.shape[0])
    other = cv2.warpAffine(clear, move, size, borderMode=cv2.BORDER_REPLICATE)
    # The outward pass is further from the focus.
    other = cv2.GaussianBlur(other, (0, 0), 1.0 + 0.25 * abs(offset_px))
    return np.asarray(cv2.multiply(clear, other), np.float32)


def _soft(image: Map, blur: float) -> Map:
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(image, np.float32), (0, 0), blur))


def _electrodes(scene: Scene, x: Map, y: Map) -> Map:
    """Two posts from below with pointed rods that hold the gap between them."""
    s = scene.flows.spark
    rod, post = np.float32(0.0008), np.float32(0.5 * s.gap_m + 0.013)
    clear = np.ones((y.shape[0], x.shape[1]), np.float32)
    dy = y - np.float32(s.y_m)
    for sign in (-1.0, 1.0):
        dx = sign * (x - np.float32(s.x_m)) - np.float32(0.5 * s.gap_m)
        tip = (dx >= 0) & (dx < 0.013) & (np.abs(dy) < np.minimum(rod, 0.12 * dx + 0.0002))
        beside = np.abs(sign * (x - np.float32(s.x_m)) - post)
        upright = (beside < rod) & (dy < rod)
        sleeve = (beside < 2.4 * rod) & (dy < -0.014)
        clear[tip | upright | sleeve] = 0.0
    return clear


def _nozzle(scene: Scene, x: Map, y: Map) -> Map:
    """A tube that ends at the jet's mouth."""
    s = scene.flows.jet
    cos, sin = math.cos(math.radians(s.angle_deg)), math.sin(math.radians(s.angle_deg))
    px, py = x - np.float32(s.x_m), y - np.float32(s.y_m)
    along, across = cos * px + sin * py, np.abs(-sin * px + cos * py)
    tube = (along < 0) & (across < 0.5 * s.nozzle_m + 0.0012)
    thick = (along < -0.009) & (across < 0.5 * s.nozzle_m + 0.0032)
    return np.asarray(1.0 - (tube | thick), np.float32)


def _vessel(scene: Scene, x: Map, y: Map) -> Map:
    """The tilted rim of a beaker from which the cold gas runs out to the left."""
    s = scene.flows.cold_gas
    tilt = math.radians(32.0)
    px, py = x - np.float32(s.x_m), y - np.float32(s.y_m)
    along = math.cos(tilt) * px + math.sin(tilt) * py
    across = -math.sin(tilt) * px + math.cos(tilt) * py
    wall = (along > 0.0) & (np.abs(across + np.float32(0.0035)) < 0.0011)
    far = (along > 0.002) & (np.abs(across - np.float32(0.0465)) < 0.0011)
    lip = (px - 0.0004) ** 2 + (py + 0.0030) ** 2 < 0.0017**2
    return np.asarray(1.0 - (wall | far | lip), np.float32)


def _lighter(scene: Scene, x: Map, y: Map) -> Map:
    """The lighter's head with its wind guard, held from below."""
    s = scene.flows.lighter
    px, py = x - np.float32(s.x_m), y - np.float32(s.y_m)
    head = (py < 0.0) & (np.abs(px) < 0.0019)
    guard = (py < -0.003) & (px > -0.0065) & (px < 0.0095)
    body = (py < -0.012) & (px > -0.0115) & (px < 0.0125)
    return np.asarray(1.0 - (head | guard | body), np.float32)


_SHAPES: dict[str, Shape] = {
    "spark": _electrodes,
    "jet": _nozzle,
    "cold_gas": _vessel,
    "lighter": _lighter,
}


def _arc(scene: Scene, x: Map, y: Map) -> Map:
    """The channel between the tips, far above the top code, and its halo in the lens."""
    s = scene.flows.spark
    dx, dy = x - np.float32(s.x_m), y - np.float32(s.y_m)
    beyond = np.maximum(np.abs(dx) - np.float32(0.5 * s.gap_m), 0.0)
    distance = np.sqrt(dy * dy + beyond * beyond) / np.float32(0.0008)
    halo = 25.0 * np.exp(-(distance**2)) + 1.1 / (1.0 + (distance / 2.5) ** 2)
    return np.ascontiguousarray(np.float32(s.flash_light) * halo, dtype=np.float32)


def _teardrop(x: Map, y: Map, tip_x: float, tip_y: float, height: float, width: float) -> Map:
    """A flame: broad and bright below its middle, dim at the wick, pointed on top."""
    down = np.float32(1.0 / height) * (np.float32(tip_y) - y)
    inside = np.clip(down, 0, 1)
    half = np.float32(width) * np.sqrt(inside) * (1.25 - 0.75 * inside**3)
    across = np.abs(x - np.float32(tip_x)) / np.maximum(half, 1e-6)
    body = np.where((down > 0) & (down < 1), np.clip(1.15 - across**2, 0, 1), 0.0)
    return np.asarray(1.6 * body * (1.0 - 0.75 * inside**4), np.float32)


def _candle_flame(scene: Scene, x: Map, y: Map) -> Map:
    s = scene.flows.candle
    return _teardrop(x, y, s.x_m, s.y_m, 1.05 * s.flame_m, 0.24 * s.flame_m)


def _lighter_flame(scene: Scene, x: Map, y: Map) -> Map:
    s = scene.flows.lighter
    return _teardrop(x, y, s.x_m, s.y_m + 1.6 * s.flame_m, 1.6 * s.flame_m, 0.26 * s.flame_m)


_FLAMES: dict[str, Shape] = {"candle": _candle_flame, "lighter": _lighter_flame}
