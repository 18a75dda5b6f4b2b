"""From optical path to the share of light that passes the blade, over the disc's box.

Flows are evaluated on a coarse grid of whole picture cells and enlarged; the fine maps hold the
mirror's own errors and the tilt of a blade out of focus.

::

    P (coarse) --slope along the blade's normal--> eps --arms of both passes--> Delta
    q = (x0 + X dz / L - Delta) / a        T = F(q)

``eps`` is positive away from the blade and brightens; X and dz are positive towards the blade's
side and towards the mirror.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.cut import CutCurve
from liveview.bench.flows.base import Field, Flow, Times
from liveview.bench.mirror import Map, MirrorMaps, Place
from liveview.bench.scene import Scene
from liveview.imaging.cv import cv2
from liveview.optics.blade import position_from_uncut
from liveview.optics.scale import geometry

_SLOPE = np.array([[1.0, -8.0, 0.0, 8.0, -1.0]], np.float32) / 12.0
"""Fourth-order central difference."""
_RIM = 2


class LightPath:
    """Blade, lamp's image and lever arms of one scene.

    Parameters
    ----------
    scene : Scene
    place : Place
    mirror : MirrorMaps
    cell_px : int
        Picture pixels per cell of the coarse grid.
    """

    def __init__(self, scene: Scene, place: Place, mirror: MirrorMaps, cell_px: int) -> None:
        self._scene = scene
        self._place = place
        self._mirror = mirror
        self.geometry = geometry(scene.settings)
        self.width_m = self.geometry.image_width_m
        self._cell = cell_px
        rows = -(-place.rows // cell_px) + 2 * _RIM
        columns = -(-place.columns // cell_px) + 2 * _RIM
        across = place.left + (np.arange(columns) - _RIM + 0.5) * cell_px - 0.5
        self.grid_rows = place.top + (np.arange(rows) - _RIM + 0.5) * cell_px - 0.5
        self._grid_columns = across
        scale = np.float32(self.geometry.object_scale)
        self.x = place.x(across) * scale
        self.y = place.y(self.grid_rows) * scale
        self._cell_m = cell_px / place.px_per_m * self.geometry.object_scale
        self._set = (math.nan, math.nan)
        self._static: Map = np.zeros((0, 0), np.float32)
        self._normal = (0.0, 0.0)
        self.curve = CutCurve()
        self._up = np.empty((place.rows, place.columns), np.float32)

    @property
    def grid_px(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Columns and rows of the picture at which the coarse grid stands, without its rim."""
        across = self._grid_columns[_RIM:-_RIM]
        return np.asarray(across, np.float64), np.asarray(self.grid_rows[_RIM:-_RIM], np.float64)

    @property
    def half_cut_m(self) -> float:
        """Edge position at which the blade's target fraction passes, blade in the focus."""
        scene = self._scene
        return float(position_from_uncut(scene.blade.target_uncut, self.width_m, scene.lamp.shape))

    def move_blade(self, axial_m: float, angle_rad: float) -> None:
        """Set the blade's axial offset (towards the mirror) and its angle error."""
        if (axial_m, angle_rad) == self._set:
            return
        self._set = (axial_m, angle_rad)
        lamp, light = self._scene.lamp, self._scene.light
        self.curve = CutCurve(
            lamp.shape,
            length_over_width=light.length_m / self.width_m,
            angle_rad=angle_rad,
            unevenness=light.unevenness,
        )
        self._normal = self._turned_normal(angle_rad)
        place, (nx, ny) = self._place, self._normal
        x = place.x(np.arange(place.left, place.left + place.columns, dtype=np.float64))
        y = place.y(np.arange(place.top, place.top + place.rows, dtype=np.float64))
        towards = np.float32(nx) * x + np.float32(ny) * y
        # The glass turns a ray by twice its own slope, once, with the mirror's whole lever.
        lever = 2.0 * self.geometry.blade_distance_m
        wrong = np.float32(nx) * self._mirror.slope_x + np.float32(ny) * self._mirror.slope_y
        tilted = towards * np.float32(axial_m / self.geometry.image_distance_m)
        static = (tilted + np.float32(lever) * wrong) / np.float32(self.width_m)
        self._static = np.ascontiguousarray(static, np.float32)

    def _turned_normal(self, angle_rad: float) -> tuple[float, float]:
        """Unit vector towards the blade, right and up, with the edge turned by an angle."""
        side = self._scene.blade.side
        (nx, ny), (ax, ay) = side.normal, side.along
        cos, sin = math.cos(angle_rad), math.sin(angle_rad)
        return (cos * nx + sin * ax, -(cos * ny + sin * ay))

    def path(self, flows: Mapping[str, Flow], sizes: Mapping[str, float], t: Times) -> Field:
        """Sum of the flows' paths on the coarse grid with its rim, each times its size."""
        total = np.zeros((self.y.shape[0], self.x.shape[1]), np.float32)
        for name, flow in flows.items():
            size = sizes[name]
            if size > 0.0:
                total += np.float32(size) * flow.path(self.x, self.y, t)
        return total

    def deflection(self, path: Field) -> Field:
        """Angle of one pass away from the blade, radians, on the coarse grid without rim."""
        nx, ny = self._normal
        step = np.float32(1.0 / self._cell_m)
        angle = np.zeros_like(path)
        if nx:
            angle -= np.float32(nx) * step * cv2.filter2D(path, cv2.CV_32F, _SLOPE)
        if ny:
            # Rows run downwards, y upwards.
            angle += np.float32(ny) * step * cv2.filter2D(path, cv2.CV_32F, _SLOPE.T)
        return np.ascontiguousarray(angle[_RIM:-_RIM, _RIM:-_RIM])

    def shift(self, deflection: Field) -> Field:
        """Shift of the lamp's image over all passes, metres, on the coarse grid."""
        arms = self.geometry.arms_m
        offset = self._scene.view.pass_offset_m / self._cell_m
        if len(arms) == 1 or offset == 0.0:
            return deflection * np.float32(sum(arms))
        out, back = arms
        move = np.array([[1.0, 0.0, offset], [0.0, 1.0, 0.0]], np.float64)
        size = (deflection.shape[1], deflection.shape[0])
        other = cv2.warpAffine(
            deflection, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(deflection * np.float32(back) + other * np.float32(out))

    def passed(self, shift: Field | None, travel_m: float, out: Map) -> Map:
        """Share of the lamp's light that passes the blade, 0..1, over the box.

        Parameters
        ----------
        shift : ndarray or None
            From ``shift``; None in still air.
        travel_m : float
            Edge position x0, 0 where nothing is cut.
        out : ndarray, float32
            Receives the result.
        """
        offset = travel_m / self.width_m
        if shift is None:
            np.add(self._static, np.float32(offset), out=self._up)
        else:
            coarse = np.float32(offset) - shift * np.float32(1.0 / self.width_m)
            size = (coarse.shape[1] * self._cell, coarse.shape[0] * self._cell)
            large = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
            place = self._place
            cv2.add(large[: place.rows, : place.columns], self._static, dst=self._up)
        return self.curve.apply(self._up, out)

    def still_uncut(self, travel_m: float) -> float:
        """Mean uncut fraction over a flawless disc in still air."""
        axial = self._set[0] if math.isfinite(self._set[0]) else 0.0
        half = 0.5 * self._scene.rig.mirror_diameter_m * axial / self.geometry.image_distance_m
        angles = np.arange(1, 64) * math.pi / 64
        weights = np.sin(angles) ** 2 / np.sum(np.sin(angles) ** 2)
        edges = (travel_m + half * np.cos(angles)) / self.width_m
        return float(np.sum(weights * self.curve.uncut(edges)))


def row_times(grid_rows: NDArray[np.floating[Any]], first_s: float, row_time_s: float) -> Times:
    """Time at which each row of the coarse grid is seen, (rows, 1)."""
    return np.asarray((first_s + grid_rows * row_time_s)[:, None])
