"""Whole frames: what is lit, what is cut, what repeats."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import Flows, Scene, load_scene, scene_names
from liveview.imaging.transfer import Transfer

QUIET = {name: {"on": False} for name in Flows.model_fields}


def scene(flows: dict[str, Any] | None = None, **sections: Any) -> Scene:
    sensor = {"width": 320, "height": 240, "bits": 12, "transfer": "linear", "hot_pixels": 0}
    sensor.update(sections.pop("sensor", {}))
    return Scene.model_validate({"sensor": sensor, "flows": {**QUIET, **(flows or {})}, **sections})


def frame(rig: SimulatedRig, number: int = 3) -> np.ndarray:
    out = np.zeros((rig.scene.sensor.height, rig.scene.sensor.width), rig.chip.dtype)
    rig.render(number, out)
    return out


def mean_light(rig: SimulatedRig, first: int, count: int = 8) -> np.ndarray:
    curve = Transfer.named(rig.scene.sensor.transfer)
    white = rig.scene.sensor.white
    total = sum(curve.to_light(frame(rig, first + k), white) for k in range(count))
    return np.asarray(total / count)


def disc(rig: SimulatedRig, share: float = 0.9) -> np.ndarray:
    place = rig.place
    rows = np.arange(rig.scene.sensor.height)[:, None] - place.cy
    columns = np.arange(rig.scene.sensor.width)[None, :] - place.cx
    return np.hypot(rows, columns) < share * place.radius


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False])
def test_same_seed_same_bytes_in_any_order(exact: bool) -> None:
    flows = {"candle": {"on": True}, "spark": {"on": True, "first": 0.1}}
    one, two = (SimulatedRig(scene(flows), 7, exact=exact) for _ in range(2))
    first = {number: frame(one, number) for number in (3, 6, 9)}
    for number in (9, 3, 6):
        assert np.array_equal(frame(two, number), first[number])
    assert not np.array_equal(first[3], first[6])
    other = SimulatedRig(scene(flows), 8, exact=exact)
    assert not np.array_equal(frame(other, 3), first[3])


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("travel", [0.2, 0.5, 0.8])
def test_uncut_fraction_read_from_the_pictures_is_the_set_one(exact: bool, travel: float) -> None:
    rig = SimulatedRig(scene(mirror={"figure_rad": 0, "turned_edge_rad": 0}), 1, exact=exact)
    rig.knobs.turn("blade_x_m", travel * rig.light.width_m, -1.0)
    cut = mean_light(rig, 0)
    rig.knobs.turn("blade_out", 1.0, -1.0)
    opened = mean_light(rig, 20)
    rig.knobs.turn("lens_capped", 1.0, -1.0)
    dark = mean_light(rig, 40)
    inside = disc(rig)
    uncut = (cut - dark)[inside].mean() / (opened - dark)[inside].mean()
    assert uncut == pytest.approx(1.0 - travel, abs=0.006)


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("shutter", ["rolling", "global"])
@pytest.mark.parametrize("late", [0.02, 0.4, 0.97])
def test_rows_lit_by_a_flash_are_exactly_those_exposed(
    exact: bool, shutter: str, late: float
) -> None:
    spark = {"on": True, "first": (5 + late) / 60, "count": 1, "flash": "2 us", "flash_light": 2}
    which = scene({"spark": spark}, sensor={"shutter": shutter, "rate": 60, "exposure": "3 ms"})
    rig = SimulatedRig(which, 2, exact=exact)
    side = slice(0, 30)
    for number in range(4, 8):
        out = np.zeros((240, 320), np.uint16)
        truth = rig.render(number, out)
        rows = out[:, side].mean(axis=1)
        quiet = frame(SimulatedRig(scene(sensor={"shutter": shutter, "exposure": "3 ms"}), 2))
        lit = np.flatnonzero(rows > quiet[:, side].mean() + 200)
        if truth.sparks:
            seen = truth.sparks[0]
            assert lit.tolist() == list(range(seen.first_row, seen.last_row + 1))
            begin = number / 60 + np.arange(240) * which.sensor.row_time_s
            at = rig.spark_times.planned(0)
            wanted = (begin < at + 2e-6) & (begin + 3e-3 > at)
            assert lit.tolist() == np.flatnonzero(wanted).tolist()
        else:
            assert lit.size == 0


@pytest.mark.parametrize("exact", [True, False])
def test_hot_air_is_dark_on_the_blades_side_and_bright_on_the_other(exact: bool) -> None:
    candle = {"on": True, "x": 0, "y": -0.06, "draught": 0, "turbulence": 0, "puffing": 0}
    candle["excess"] = 60
    which = scene({"candle": candle}, view={"pass_offset": 0})
    rig, quiet = SimulatedRig(which, 1, exact=exact), SimulatedRig(scene(), 1, exact=exact)
    contrast = mean_light(rig, 0) / np.maximum(mean_light(quiet, 0), 1e-3) - 1.0
    row, column, off = round(rig.place.cy), round(rig.place.cx), round(0.006 * rig.place.px_per_m)
    left = contrast[row - 5 : row + 5, column - off - 1 : column - off + 2].mean()
    right = contrast[row - 5 : row + 5, column + off - 1 : column + off + 2].mean()
    assert left < -0.05
    assert right > 0.05


def test_capped_lens_sees_nothing_not_even_sparks() -> None:
    rig = SimulatedRig(scene({"spark": {"on": True, "first": 0.051}}), 1)
    rig.knobs.turn("lens_capped", 1.0, -1.0)
    out = np.zeros((240, 320), np.uint16)
    truth = rig.render(3, out)
    assert truth.lens_capped
    assert not truth.sparks
    assert out.mean() == pytest.approx(rig.scene.sensor.dark_level * 4095, abs=1)


def test_light_follows_exposure_lamp_and_gain() -> None:
    rig = SimulatedRig(scene(room={"light": 0}), 1)
    inside = disc(rig)
    level = rig.scene.sensor.dark_level

    def light() -> float:
        return float(mean_light(rig, 0, 2)[inside].mean()) - level

    usual = light()
    for knob, factor in (("exposure_s", 0.5), ("lamp_brightness", 1.5), ("gain", 1.4)):
        before = rig.knobs.at(knob, 0.0)
        rig.knobs.turn(knob, before * factor, -1.0)
        assert light() == pytest.approx(usual * factor, rel=0.01)
        rig.knobs.turn(knob, before, -1.0)


def test_shake_moves_picture_and_truth_together() -> None:
    rig = SimulatedRig(scene(room={"shake": 3}, sensor={"width": 640, "height": 480}), 1)
    still = SimulatedRig(scene(sensor={"width": 640, "height": 480}), 1)
    out = np.zeros((480, 640), np.uint16)
    reference = mean_light(still, 0)
    for number in (1, 5, 9):
        truth = rig.render(number, out)
        light = out / 4095.0
        columns, rows = np.arange(640), np.arange(480)
        dx = (light.sum(0) @ columns / light.sum()) - (reference.sum(0) @ columns / reference.sum())
        dy = (light.sum(1) @ rows / light.sum()) - (reference.sum(1) @ rows / reference.sum())
        assert (dx, dy) == pytest.approx(truth.shift_px, abs=0.25)


def test_a_mains_lamp_makes_bands_with_a_rolling_shutter() -> None:
    which = scene(light={"ripple": 0.3}, room={"mains": 50}, sensor={"exposure": "1 ms"})
    rig = SimulatedRig(which, 1, exact=True)
    still = SimulatedRig(scene(sensor={"exposure": "1 ms"}), 1, exact=True)
    rows = slice(30, 210)
    column = slice(150, 170)
    ratio = frame(rig, 4)[rows, column].mean(1) / frame(still, 4)[rows, column].mean(1)
    times = 4 / 60 + 0.5e-3 + np.arange(30, 210) * which.sensor.row_time_s
    wanted = 1 + 0.3 * np.sinc(100 * 1e-3) * np.sin(2 * np.pi * 100 * times)
    # 20 pixels a row at 2 % each.
    assert np.abs(ratio - wanted).std() < 0.02


def test_live_and_exact_agree() -> None:
    flows = {"candle": {"on": True, "turbulence": 0}}
    which = scene(flows, sensor={"exposure": "0.2 ms", "width": 640, "height": 480})
    live, exact = (mean_light(SimulatedRig(which, 1, exact=e), 30, 1) for e in (False, True))
    inside = disc(SimulatedRig(which, 1))
    # Noise of two frames, the coarser grid at the plume's sharp edges.
    assert np.abs(live - exact)[inside].mean() < 0.02
    assert live[inside].mean() == pytest.approx(exact[inside].mean(), rel=0.005)


def test_auto_exposure_settles() -> None:
    rig = SimulatedRig(scene(sensor={"auto_exposure": True, "transfer": "srgb", "bits": 8}), 1)
    rig.knobs.turn("lamp_brightness", 0.25, -1.0)
    first = rig.knobs.at("exposure_s", 0.0)
    out = np.zeros((240, 320), np.uint8)
    for number in range(60):
        rig.render(number, out)
    settled = rig.knobs.at("exposure_s", 1.1)
    assert settled > 1.5 * first
    assert out[rig.place.box].mean() / 255 == pytest.approx(0.45, abs=0.05)


@pytest.mark.parametrize("name", scene_names())
def test_every_shipped_scene_renders(name: str) -> None:
    which = load_scene(name).replaced("sensor", width=160, height=120)
    rig = SimulatedRig(which, 1)
    for step in which.all_steps():
        rig.knobs.turn(step.knob, step.value, step.at_s, step.over_s)
    last = round(which.seconds * which.sensor.rate_hz) - 1
    pictures = [frame(rig, number) for number in (0, last // 2, last)]
    assert not np.array_equal(pictures[0], pictures[2])


@pytest.mark.parametrize(
    "odd",
    [
        {"width": 17, "height": 16},
        {"width": 333, "height": 201, "bits": 16},
        {"width": 100, "height": 300},
        {"width": 64, "height": 64, "bits": 10, "shutter": "global"},
    ],
)
def test_odd_sizes(odd: dict[str, Any]) -> None:
    flows = {name: {"on": True} for name in Flows.model_fields}
    rig = SimulatedRig(scene(flows, sensor=odd), 1, exact=odd["height"] < 100)
    assert frame(rig, 150).any()


def test_disc_partly_outside_the_picture() -> None:
    which = scene({"candle": {"on": True}}, view={"disc_x": 0.0, "disc_y": 1.1, "disc_radius": 0.9})
    assert frame(SimulatedRig(which, 1), 5).any()
