"""Source: EMVA Standard 1288, release 4.0 linear (2021), photon transfer; from memory.

The camera is that of the ``emva1288`` package, written by others after the standard; a second
one is drawn here from Poisson and normal numbers.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from liveview.imaging.noise import block_statistics, fit_photon_transfer, transfer_points

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from emva1288.camera import Camera


def through(pairs: list[tuple[np.ndarray, np.ndarray]], white: float, dark: float):
    """Our photon transfer over pairs of exposures, in codes."""
    levels, variances = [], []
    for a, b in pairs:
        light = [np.asarray(p / white, np.float32) for p in (a, b)]
        at, typical = transfer_points(*block_statistics(*light))
        levels.append(at)
        variances.append(typical)
    return fit_photon_transfer(np.concatenate(levels), np.concatenate(variances), dark / white)


@pytest.mark.slow
def test_against_the_standards_camera() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        camera = Camera(
            bit_depth=12, K=0.5, u_esat=10000, blackoffset=60, width=256, height=256, seed=3
        )
        pairs = []
        for share in (0.1, 0.2, 0.35, 0.5, 0.65):
            radiance = camera.get_radiance_for(mean=share * 4095)
            pairs.append((camera.grab(radiance), camera.grab(radiance)))
        gain = camera.K
    found = through(pairs, 4095.0, 60.0)
    assert found is not None and found.gain is not None
    # Five pairs of 65536 pixels, median over blocks: the slope scatters by about one per cent.
    assert found.gain * 4095 == pytest.approx(gain, rel=0.03)


def test_gain_and_dark_noise_of_a_drawn_camera() -> None:
    rng = np.random.default_rng(1)
    gain, read, offset = 0.25, 3.0, 20.0

    def grab(electrons: float) -> np.ndarray:
        signal = rng.poisson(electrons, (512, 512)) + read * rng.standard_normal((512, 512))
        return np.rint(offset + gain * signal)

    pairs = [(grab(e), grab(e)) for e in (50, 100, 200, 400, 800, 1600, 3200, 6000)]
    found = through(pairs, 4095.0, offset)
    assert found is not None and found.gain is not None and found.dark_variance is not None
    assert found.gain * 4095 == pytest.approx(gain, rel=0.01)
    # K^2 sigma_d^2 + 1/12 = 0.645833; extrapolated, so a tenth.
    assert found.dark_variance * 4095**2 == pytest.approx(0.645833, rel=0.1)


def test_fixed_pattern_cancels() -> None:
    rng = np.random.default_rng(2)
    pattern = 300 * (1 + 0.2 * rng.standard_normal((256, 256)))
    a, b = (pattern + 5 * rng.standard_normal((256, 256)) for _ in range(2))
    _, variances = block_statistics((a / 1023).astype(np.float32), (b / 1023).astype(np.float32))
    assert np.sqrt(np.median(variances)) * 1023 == pytest.approx(5, rel=0.03)
