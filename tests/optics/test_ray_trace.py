"""Rays through lamp, mirror and blade, traced here with vectors and nothing of the program's
optics, against the closed forms: size and sign of deflection and tilt, on all four sides.

::

    y up                 z
    |        mirror (vertex at z = 0, faces +z) ....... lamp, blade and camera at z > 0
    +-- x    the camera looks along -z with y up, so +x is the picture's right

"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from liveview.model import Side
from liveview.optics.blade import AxialState, axial_offset_from_tilt, tilt_from_axial_offset
from liveview.optics.deflection import brightening_side, contrast_from_angle
from liveview.optics.rig import resolve

Array = NDArray[np.float64]

DIAMETER, FOCAL = 0.2, 1.5


def in_world(x_right: float, y_down: float) -> Array:
    """A direction in the picture as a direction across the axis."""
    return np.array([x_right, -y_down])


def lamp_points(shape: str, width: float, count: int) -> Array:
    """Points of a lamp of this width, (points, 2), evenly spread."""
    steps = np.array([0.7548776662466927, 0.5698402909980532])  # additive recurrence, even in 2-D
    grid = ((np.arange(1, count + 1)[:, None] * steps) % 1.0 - 0.5) * width
    if shape == "round":
        grid = grid[np.hypot(grid[:, 0], grid[:, 1]) <= width / 2.0]
    return grid


def on_sphere(point: Array, direction: Array, radius: float) -> Array:
    """Where rays going to -z meet the sphere of this radius whose vertex is the origin."""
    centre = np.array([0.0, 0.0, radius])
    off = point - centre
    along = (off * direction).sum(-1)
    root = np.sqrt(along**2 - (off**2).sum(-1) + radius**2)
    return point + (root - along)[..., None] * direction


def unit(vector: Array) -> Array:
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def bend(direction: Array, angle: Array) -> Array:
    """Add slopes to rays; their sense along z is kept."""
    slopes = direction[..., :2] / np.abs(direction[..., 2:]) + angle
    return unit(np.concatenate([slopes, np.sign(direction[..., 2:])], axis=-1))


def to_plane(point: Array, direction: Array, z: float) -> Array:
    return point + ((z - point[..., 2]) / direction[..., 2])[..., None] * direction


def at_blade(
    mirror_points: Array, lamp: Array, lamp_z: float, blade_z: float, object_z: float, eps: Array
) -> Array:
    """Where rays from each lamp point by each mirror point cross the blade's plane,
    (mirror points, lamp points, 2). ``eps`` is the bend at the object in each of the two passes.
    """
    radius = 2.0 * FOCAL
    start = np.concatenate([lamp, np.full((len(lamp), 1), lamp_z)], axis=1)[None]
    aim = np.concatenate([mirror_points, np.zeros((len(mirror_points), 1))], axis=1)[:, None]
    direction = unit(aim - start)
    point = to_plane(np.broadcast_to(start, direction.shape), direction, object_z)
    direction = bend(direction, eps)
    point = on_sphere(point, direction, radius)
    normal = unit(np.array([0.0, 0.0, radius]) - point)
    direction = direction - 2.0 * (direction * normal).sum(-1, keepdims=True) * normal
    point = to_plane(point, direction, object_z)
    direction = bend(direction, eps)
    return to_plane(point, direction, blade_z)[..., :2]


def uncut(crossings: Array, blade_normal: Array, edge: float) -> Array:
    """Share of rays that pass a blade covering everything beyond ``edge`` along its normal."""
    return ((crossings @ blade_normal) < edge).mean(axis=-1)


def edge_for(crossings: Array, blade_normal: Array, wanted: float) -> float:
    return float(np.quantile(crossings @ blade_normal, wanted))


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("shape", ["slit", "round"])
@pytest.mark.parametrize(("lamp_z", "object_z"), [(3.0, 0.0), (3.0, 0.6), (3.4, 0.5)])
def test_contrast_of_bent_light(side: Side, shape: str, lamp_z: float, object_z: float) -> None:
    rig = resolve(
        "one mirror",
        DIAMETER,
        FOCAL,
        lamp_distance_m=lamp_z,
        object_distance_m=object_z,
        lamp_width_m=1e-3,
    )
    lamp = lamp_points(shape, 1e-3, 20_000)
    blade = in_world(*side.normal)
    middle = np.array([[0.0, 0.0]])
    rest = at_blade(middle, lamp, lamp_z, rig.blade_distance_m, object_z, np.zeros(2))
    edge = edge_for(rest[0], blade, 0.4)
    before = uncut(rest, blade, edge)[0]
    assert before == pytest.approx(0.4, abs=1e-3)  # evenness of 20 000 rays: some 1e-3
    for angle in (2e-5, -3e-5):
        eps = angle * in_world(*brightening_side(side).normal)
        bent = at_blade(middle, lamp, lamp_z, rig.blade_distance_m, object_z, eps)
        contrast = uncut(bent, blade, edge)[0] / before - 1.0
        expected = contrast_from_angle(angle, rig.arm_sum_m, rig.image_width_m, 0.4, shape)
        # evenness of 20 000 rays, 1e-3 of light, over 0.4
        assert contrast == pytest.approx(expected, abs=0.004)
        assert np.sign(contrast) == np.sign(angle)
        along = angle * in_world(*side.along)
        slid = at_blade(middle, lamp, lamp_z, rig.blade_distance_m, object_z, along)
        assert uncut(slid, blade, edge)[0] == pytest.approx(before, abs=1e-3)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("shape", ["slit", "round"])
@pytest.mark.parametrize("offset", [2e-3, -2e-3])
def test_tilt_of_a_blade_out_of_focus(side: Side, shape: str, offset: float) -> None:
    lamp = lamp_points(shape, 1e-3, 8_000)
    blade = in_world(*side.normal)
    line = np.linspace(-0.98, 0.98, 25) * DIAMETER / 2.0
    points = line[:, None] * blade  # from the far side to the blade's side
    distance = 2.0 * FOCAL
    crossings = at_blade(points, lamp, distance, distance - offset, 0.0, np.zeros(2))
    edge = edge_for(crossings[12], blade, 0.5)
    light = uncut(crossings, blade, edge)
    # least squares over the disc: each point of the line stands for its chord
    weight = np.sqrt(1.0 - (2.0 * line / DIAMETER) ** 2)
    slope = np.polyfit(line, light, 1, w=np.sqrt(weight))[0]
    tilt = -slope * DIAMETER
    expected = tilt_from_axial_offset(offset, 0.5, 1e-3, DIAMETER, distance, shape)
    # 8 000 rays and 25 points; aberration of the sphere off its centre is below this
    assert tilt == pytest.approx(expected, rel=0.02)
    found = axial_offset_from_tilt(tilt, float(light[12]), 1e-3, DIAMETER, distance, shape)
    assert found.state is (AxialState.TOO_NEAR if offset > 0 else AxialState.TOO_FAR)
    assert found.offset_m == pytest.approx(offset, rel=0.03)
    # the picture: the blade's side is the darker one when it is too near
    assert (light[-1] < light[0]) == (offset > 0)


@pytest.mark.parametrize("place", [0.2, 2.0])
@pytest.mark.parametrize("side", list(Side))
def test_parallel_beam_of_two_mirrors(side: Side, place: float) -> None:
    first, second, width = 1.0, 1.6, 1e-3
    rig = resolve(
        "two mirrors",
        DIAMETER,
        second,
        first_focal_length_m=first,
        object_distance_m=place,
        lamp_width_m=width,
    )
    blade = in_world(*side.normal)
    lamp = lamp_points("slit", width, 20_000)
    slopes = lamp / first  # a point of the lamp in the first focus gives one direction

    def crossings(eps: Array) -> Array:
        point = np.zeros((len(lamp), 3))
        point[:, 2] = place
        direction = unit(np.concatenate([slopes + eps, -np.ones((len(lamp), 1))], axis=1))
        # paraboloid z = r^2/(4 f): a few steps of Newton's method from its vertex plane
        hit = to_plane(point, direction, 0.0)
        for _ in range(5):
            height = (hit[:, :2] ** 2).sum(1) / (4.0 * second)
            hit = hit + ((height - hit[:, 2]) / direction[:, 2])[:, None] * direction
        normal = unit(np.column_stack([-hit[:, :2] / (2.0 * second), np.ones(len(hit))]))
        away = direction - 2.0 * (direction * normal).sum(1, keepdims=True) * normal
        return to_plane(hit, away, second)[:, :2]

    rest = crossings(np.zeros(2))
    edge = edge_for(rest, blade, 0.5)
    assert np.ptp(rest @ blade) == pytest.approx(rig.image_width_m, rel=0.001)  # of 20 000 rays
    angle = 5e-5
    bent = crossings(angle * in_world(*brightening_side(side).normal))
    contrast = uncut(bent[None], blade, edge)[0] / uncut(rest[None], blade, edge)[0] - 1.0
    expected = contrast_from_angle(angle, rig.arm_sum_m, rig.image_width_m, 0.5)
    assert contrast == pytest.approx(expected, abs=0.004)
    assert rig.arm_sum_m == second
