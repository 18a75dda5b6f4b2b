"""The sensor's noise by photon transfer (EMVA Standard 1288), as a camera maker measures it."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.bench.scene import Sensor
from liveview.bench.sensor import SensorChip

SIZE = 256


def chip(*, exact: bool, **values: object) -> SensorChip:
    sensor = Sensor(
        width=SIZE,
        height=SIZE,
        bits=values.pop("bits", 12),  # type: ignore[arg-type]
        transfer="linear",
        hot_pixels=0,
        full_well_e=8000,
        **values,  # type: ignore[arg-type]
    )
    return SensorChip(sensor, 5, exact=exact)


def exposed(camera: SensorChip, electrons: float, number: int, gain: float = 1.0) -> np.ndarray:
    out = np.empty((SIZE, SIZE), camera.dtype)
    level = np.full((SIZE, SIZE), electrons, np.float32)
    camera.expose(level, 0, 0, gain, number, out)
    return out.astype(np.float64)


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("gain", [1.0, 4.0])
def test_photon_transfer_recovers_the_set_gain(exact: bool, gain: float) -> None:
    camera = chip(exact=exact)
    levels = np.linspace(0.02, 0.7, 9) * 8000 / gain
    means, variances = [], []
    for index, electrons in enumerate(levels):
        a, b = (exposed(camera, electrons, 2 * index + k, gain) for k in range(2))
        means.append((a.mean() + b.mean()) / 2)
        variances.append(np.var(a - b) / 2)
    slope = np.polyfit(means, variances, 1)[0]
    # 9 pairs of 65536 pixels: 0.3 % statistical; the band is what the rig promises.
    assert slope == pytest.approx(camera.code_per_electron(gain), rel=0.02)


@pytest.mark.parametrize("exact", [True, False])
def test_dark_noise_is_read_noise_and_rounding(exact: bool) -> None:
    camera = chip(exact=exact, read_noise_e=9.0, dark_level=0.02)
    a, b = exposed(camera, 0.0, 1), exposed(camera, 0.0, 2)
    k = camera.code_per_electron(1.0)
    assert np.var(a - b) / 2 == pytest.approx((9 * k) ** 2 + 1 / 12, rel=0.03)
    assert a.mean() == pytest.approx(0.02 * 4095, abs=0.2)


@pytest.mark.parametrize("exact", [True, False])
def test_mean_is_linear_and_saturates_at_white(exact: bool) -> None:
    camera = chip(exact=exact, dark_level=0.0)
    for electrons in (500.0, 2000.0, 6000.0):
        assert exposed(camera, electrons, 3).mean() == pytest.approx(
            electrons * camera.code_per_electron(1.0), rel=2e-3
        )
    assert exposed(camera, 20000.0, 4).min() == 4095


def test_low_gain_saturates_at_the_full_well() -> None:
    top = exposed(chip(exact=False, dark_level=0.0), 40000.0, 4, gain=0.5)
    assert top.max() == pytest.approx(0.5 * 4095, abs=1)


def test_live_noise_differs_from_frame_to_frame() -> None:
    camera = chip(exact=False)
    a, b, c = (exposed(camera, 3000.0, number) for number in (1, 2, 1))
    assert np.array_equal(a, c)
    correlation = np.corrcoef(a.ravel(), b.ravel())[0, 1]
    # 65536 independent pixels: 0.004 standard deviation.
    assert abs(correlation) < 0.02


def test_surroundings_have_the_same_statistics_as_the_disc() -> None:
    camera = chip(exact=False)
    out = np.zeros((SIZE, SIZE), np.uint16)
    hole = (slice(100, 120), slice(50, 90))
    camera.surroundings(60.0, 1.0, 7, hole, out)
    assert not out[hole].any()
    around = np.ones((SIZE, SIZE), bool)
    around[hole] = False
    wanted = exposed(camera, 60.0, 8)
    assert out[around].mean() == pytest.approx(wanted.mean(), rel=0.01)
    assert out[around].std() == pytest.approx(wanted.std(), rel=0.03)


def test_hot_pixels_stand_still_and_grow_with_exposure() -> None:
    sensor = Sensor(width=64, height=64, hot_pixels=5)
    one, two = SensorChip(sensor, 9, exact=True), SensorChip(sensor, 9, exact=True)
    assert np.array_equal(one.hot_rows, two.hot_rows)
    assert len(set(zip(one.hot_rows, one.hot_columns, strict=True))) == 5
