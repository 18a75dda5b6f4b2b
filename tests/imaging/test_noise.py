"""Noise from pairs of frames, with and without flow."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.noise import (
    NoiseMeter,
    block_statistics,
    contrast_sigma,
    fit_photon_transfer,
    transfer_points,
)
from liveview.imaging.transfer import Transfer
from liveview.model import Light

K, DARK_SIGMA, OFFSET, WHITE = 0.25, 1.2, 8.0, 1023.0


def scene(rows: int = 256, columns: int = 320) -> np.ndarray:
    """Mean codes above the dark level: vignetted, with dust."""
    y, x = np.mgrid[:rows, :columns]
    lit = 500 * (1 - 0.8 * ((x - columns / 2) ** 2 + (y - rows / 2) ** 2) / (columns / 2) ** 2)
    lit = np.maximum(lit, 20)
    lit[np.random.default_rng(0).random(lit.shape) < 0.002] *= 0.6
    return lit


def shot(mean: np.ndarray, rng: np.random.Generator) -> Light:
    codes = OFFSET + K * rng.poisson(mean / K) + DARK_SIGMA * rng.standard_normal(mean.shape)
    return (np.clip(np.rint(codes), 0, WHITE) / WHITE).astype(np.float32)


def measured(means: list[np.ndarray], seed: int = 9) -> NoiseMeter:
    rng = np.random.default_rng(seed)
    meter = NoiseMeter()
    for mean in means:
        meter.add(shot(mean, rng), OFFSET / WHITE)
    return meter


def test_set_noise_comes_out() -> None:
    found = measured([scene()] * 60).result
    assert found is not None and found.gain is not None and found.dark_variance is not None
    assert found.gain * WHITE == pytest.approx(K, rel=0.05)
    level = 300.0
    variance = float(found.variance_at(np.array([(level + OFFSET) / WHITE]))[0]) * WHITE**2
    # Rounding to codes adds a twelfth.
    assert variance == pytest.approx(K * level + DARK_SIGMA**2 + 1 / 12, rel=0.05)


def test_moving_flow_and_flicker_do_not_count() -> None:
    base = scene()
    x = np.arange(base.shape[1])
    rng = np.random.default_rng(4)
    means = []
    for index in range(60):
        centre = 80 + 2.0 * index
        plume = 0.3 * ((x - centre) / 20) * np.exp(-(((x - centre) / 20) ** 2))
        means.append(base * (1 + plume) * (1 + 0.03 * rng.standard_normal()))
    found = measured(means).result
    assert found is not None
    level = 300.0
    sigma = float(found.variance_at(np.array([(level + OFFSET) / WHITE]))[0]) ** 0.5 * WHITE
    assert sigma == pytest.approx((K * level + DARK_SIGMA**2) ** 0.5, rel=0.05)


def disc(lit: float) -> np.ndarray:
    """A mirror in the dark, cut out at its rim: most of the darker blocks hold both."""
    y, x = np.mgrid[:154, :154]
    return lit * np.clip(75.5 - np.hypot(x - 76.5, y - 76.5), 0, 1)


def test_the_rim_of_the_disc_does_not_bend_the_line() -> None:
    variances = []
    for seed in range(4):
        found = measured([disc(500.0)] * 150, seed).result
        assert found is not None and found.gain is not None and found.dark_variance is not None
        assert found.gain * WHITE == pytest.approx(K, rel=0.03)
        variances.append(found.dark_variance * WHITE**2)
    # Blocks that hold the rim lean on few bright pixels, which leaves some skew.
    assert np.mean(variances) == pytest.approx(DARK_SIGMA**2 + 1 / 12, rel=0.22)


def test_pairs_across_a_switched_lamp_do_not_count() -> None:
    bright, cut = [disc(500.0)] * 2, [disc(200.0)] * 2
    switched = measured([*bright, disc(500.0), disc(200.0), *cut * 2]).result
    still = measured([*bright, *bright, *cut]).result
    assert switched is not None and still is not None
    level = np.array([(100.0 + OFFSET) / WHITE])
    assert switched.variance_at(level)[0] == pytest.approx(still.variance_at(level)[0], rel=0.2)


def test_clipped_blocks_are_left_out() -> None:
    mean = np.full((64, 64), 300.0)
    rng = np.random.default_rng(2)
    a, b = shot(mean, rng), shot(mean, rng)
    a[5, 5], b[40, 40] = 1.0, 0.0
    levels, variances = block_statistics(a, b)
    # (64 - 2) // 16 = 3 columns of blocks, 4 rows, two blocks out.
    assert levels.size == variances.size == 10


def test_no_noise_no_variance() -> None:
    flat = np.full((64, 64), 0.5, np.float32)
    assert block_statistics(flat, flat)[1].max() == 0


def test_too_small_a_picture_gives_nothing() -> None:
    meter = NoiseMeter()
    for _ in range(4):
        meter.add(np.full((10, 10), 0.5, np.float32))
    assert meter.result is None
    assert transfer_points(np.empty(0), np.empty(0))[0].size == 0
    assert fit_photon_transfer(np.array([0.5]), np.array([1e-4])) is None


def test_one_level_does_not_tell_gain_from_dark_noise() -> None:
    found = measured([np.full((256, 320), 300.0)] * 30).result
    assert found is not None
    assert found.gain is None
    assert found.dark_variance is None
    sigma = float(found.variance_at(np.array([0.3]))[0]) ** 0.5 * WHITE
    assert sigma == pytest.approx((K * 300 + DARK_SIGMA**2) ** 0.5, rel=0.05)


def test_contrast_sigma_is_what_the_contrast_scatters_by() -> None:
    mean = scene()
    meter = measured([mean] * 60)
    assert meter.result is not None
    rng = np.random.default_rng(77)
    reference = np.mean([shot(mean, rng) for _ in range(8)], axis=0)
    dark = OFFSET / WHITE
    contrast = (shot(mean, rng) - reference) / (reference - dark)
    told = contrast_sigma(meter.result, reference, reference, dark, reference_frames=8)
    # The median pixel's scatter, from pixels about as bright as the median one.
    light = reference - dark
    near = np.abs(light - np.median(light)) < 0.1 * np.median(light)
    assert told == pytest.approx(contrast[near].std(), rel=0.05)
    assert contrast_sigma(meter.result, reference, reference, reference) is None


def test_restart_forgets() -> None:
    meter = measured([scene()] * 6)
    assert meter.result is not None
    meter.restart()
    assert meter.result is None


def test_rounding_behind_a_curve_is_not_taken_for_photons() -> None:
    curve = Transfer.named("srgb")
    rng = np.random.default_rng(3)
    light = scene() / WHITE * 1.5
    photons = 3e-5
    meter = NoiseMeter()
    for _ in range(40):
        seen = light + np.sqrt(photons * light) * rng.standard_normal(light.shape)
        frame = curve.to_light(curve.to_code(seen, 255), 255)
        meter.add(frame, 0.0, lambda level: curve.rounding_variance(level, 255))
    found = meter.result
    assert found is not None and found.gain is not None
    assert found.gain == pytest.approx(photons, rel=0.05)
    # The noise that is there includes the rounding.
    there = photons * 0.4 + float(curve.rounding_variance(0.4, 255))
    assert found.variance_at(np.array([0.4]))[0] == pytest.approx(there, rel=0.05)


def test_frozen_pictures_are_called_so() -> None:
    """Compressed video repeats blocks unchanged: no photon transfer, a lower bound only."""
    curve = Transfer.named("linear")
    same = shot(scene(), np.random.default_rng(1))
    meter = NoiseMeter()
    for _ in range(4):
        meter.add(same, 0.0, lambda level: curve.rounding_variance(level, 255))
    found = meter.result
    assert found is not None and found.frozen
    assert found.gain is None and found.dark_variance is None
    assert found.variance_at(np.array([0.3]))[0] == pytest.approx(1 / 12 / 255**2)
    assert not measured([scene()] * 4).result.frozen
