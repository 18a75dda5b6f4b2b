"""From bent light to brightness: signs for all sides, closed forms, the shadow test."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.bench.flows.base import Field, Times
from liveview.bench.lightpath import LightPath
from liveview.bench.mirror import MirrorMaps, mirror_maps, place_of
from liveview.bench.scene import Scene
from liveview.model import Side
from liveview.optics.deflection import contrast_from_angle
from liveview.optics.gas import slab_deflection

SIDES = list(Side)


class Slab:
    """Gas of even index slope: ``n - n0`` rises by ``slope`` per metre along (dx, dy)."""

    def __init__(self, width_m: float, slope: float, dx: float, dy: float) -> None:
        self.width_m, self.slope, self.dx, self.dy = width_m, slope, dx, dy

    def path(self, x: Field, y: Field, t: Times) -> Field:
        rise = self.slope * (self.dx * x + self.dy * y)
        return np.asarray(self.width_m * rise, np.float32)


def scene(side: Side = Side.LEFT, **values: object) -> Scene:
    return Scene.model_validate(
        {
            "sensor": {"width": 320, "height": 240},
            "mirror": {"figure_rad": 0, "turned_edge_rad": 0, "dust": 0, "scratches": 0},
            "blade": {"side": side.value},
            **values,
        }
    )


def light(which: Scene, cell: int = 2) -> tuple[LightPath, MirrorMaps]:
    place = place_of(which)
    maps = mirror_maps(which, place)
    path = LightPath(which, place, maps, cell)
    path.move_blade(0.0, 0.0)
    return path, maps


def passed(path: LightPath, maps: MirrorMaps, flow: object, travel_m: float) -> np.ndarray:
    shape = maps.reflects.shape
    times = np.zeros((path.y.shape[0], 1))
    shift = path.shift(path.deflection(path.path({"f": flow}, {"f": 1.0}, times)))  # type: ignore[dict-item]
    return path.passed(shift, travel_m, np.empty(shape, np.float32))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("cell", [2, 4])
def test_slab_equals_the_closed_form(side: Side, cell: int) -> None:
    path, maps = light(scene(side), cell)
    nx, ny = side.normal
    # Denser gas away from the blade: picture x is right, picture y is down.
    slab = Slab(0.1, 2.4e-4, -nx, ny)
    eps = float(slab_deflection(0.1, 2.4e-4))
    got = passed(path, maps, slab, path.half_cut_m)
    wanted = contrast_from_angle(eps, path.geometry.arm_sum_m, path.width_m, 0.5)
    # Single precision and the enlarged grid; the rig promises 1 %.
    np.testing.assert_allclose(got[40:-40, 40:-40] / 0.5 - 1.0, wanted, rtol=0.01)


@pytest.mark.parametrize("side", SIDES)
def test_light_bent_away_from_the_blade_is_brighter(side: Side) -> None:
    path, maps = light(scene(side))
    nx, ny = side.normal
    away, towards = (Slab(0.1, sign * 2e-4, -nx, ny) for sign in (1, -1))
    across = Slab(0.1, 2e-4, ny, nx)
    middle = tuple(n // 2 for n in maps.reflects.shape)
    assert passed(path, maps, away, path.half_cut_m)[middle] > 0.55
    assert passed(path, maps, towards, path.half_cut_m)[middle] < 0.45
    assert passed(path, maps, across, path.half_cut_m)[middle] == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("side", SIDES)
def test_too_near_to_the_mirror_darkens_the_blades_side(side: Side) -> None:
    which = scene(side)
    path, maps = light(which)
    path.move_blade(0.002, 0.0)
    got = path.passed(None, path.half_cut_m, np.empty(maps.reflects.shape, np.float32))
    place = place_of(which)
    nx, ny = side.normal
    reach = 0.9 * place.radius
    rows = [round(place.cy - place.top + sign * reach * ny) for sign in (1, -1)]
    columns = [round(place.cx - place.left + sign * reach * nx) for sign in (1, -1)]
    blade_side, other = (float(got[r, c]) for r, c in zip(rows, columns, strict=True))
    # dT = D dz / (a L) over the whole diameter.
    tilt = which.rig.mirror_diameter_m * 0.002 / (path.width_m * path.geometry.image_distance_m)
    assert other - blade_side == pytest.approx(0.9 * tilt, rel=0.01)


def test_tilt_follows_the_turned_edge() -> None:
    path, maps = light(scene(Side.LEFT))
    path.move_blade(0.004, 0.3)
    got = path.passed(None, path.half_cut_m, np.empty(maps.reflects.shape, np.float32))
    rows, columns = got.shape
    # Along the edge of a left blade is upwards in the picture (left -> top, clockwise).
    along = float(got[rows // 2 + 60, columns // 2] - got[rows // 2 - 60, columns // 2])
    across = float(got[rows // 2, columns // 2 + 60] - got[rows // 2, columns // 2 - 60])
    assert along / across == pytest.approx(np.tan(0.3), rel=0.02)


def test_weak_flows_move_light_about_and_lose_none() -> None:
    """Slit, nothing clipped: brightness is linear in the angle, whose sum across a plume is 0."""
    path, maps = light(scene())

    class Plume:
        def path(self, x: Field, y: Field, t: Times) -> Field:
            return np.asarray(-2e-7 * np.exp(-((x / 0.006) ** 2)) + 0 * y, np.float32)

    got = passed(path, maps, Plume(), path.half_cut_m)
    assert got.std() > 0.01
    assert got.mean() == pytest.approx(0.5, abs=2e-4)


def test_one_pass_between_two_mirrors() -> None:
    rig = {"kind": "two mirrors", "focal_length": 1.5}
    path, maps = light(scene(rig=rig))
    slab = Slab(0.1, 3e-4, 1.0, 0.0)
    got = passed(path, maps, slab, path.half_cut_m)
    wanted = 0.5 + 3e-5 * 1.5 / path.width_m
    assert got[100, 100] == pytest.approx(wanted, rel=1e-3)


def test_the_two_passes_of_one_mirror_see_the_air_apart() -> None:
    which = scene(view={"pass_offset": "6 mm"})
    path, _ = light(which)
    eps = np.zeros((60, 90), np.float32)
    eps[:, 40] = 1e-4
    shift = path.shift(eps)[30]
    cells = round(0.006 / (2 / place_of(which).px_per_m))
    out, back = path.geometry.arms_m
    assert shift[40] == pytest.approx(1e-4 * back, rel=0.05)
    assert shift[36:52].sum() == pytest.approx(1e-4 * (out + back), rel=0.02)
    assert abs(int(np.argmax(shift[42:])) + 42 - 40) == pytest.approx(cells, abs=1)
