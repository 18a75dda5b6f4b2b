"""The lamp's gain comes from the quiet part of the disc."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.lamp import block_ratios, block_side, quiet_level

RNG = np.random.default_rng(11)


def test_level_of_noise() -> None:
    values = 1.1 + 0.01 * RNG.standard_normal(3000)
    # Standard error 0.01/sqrt(3000) over the estimator's efficiency, four times.
    assert quiet_level(values) == pytest.approx(1.1, abs=0.001)


@pytest.mark.parametrize("height", [1.0, 3.0, 6.0, 10.0, 200.0])
def test_a_third_of_flow_does_not_bend_it(height: float) -> None:
    sigma = 0.002
    values = 1.0 + sigma * RNG.standard_normal((50, 60))
    values[:, :20] += height * sigma
    # Flow of three sigmas of a block is the worst case: block by block it cannot be told from
    # noise. A block is the mean of 256 pixels, so this is a twentieth of one pixel's noise.
    limit = 0.8 if height < 6 else 0.15
    assert abs(quiet_level(values) - 1.0) < limit * sigma


def test_too_few() -> None:
    assert quiet_level(np.array([1.0, 1.0, np.nan, 1.0])) is None
    assert quiet_level(np.full(10, np.nan)) is None
    assert quiet_level(np.full(10, 0.5)) == pytest.approx(0.5)


@pytest.mark.parametrize("shape", [(300, 400), (100, 90)])
def test_blocks_leave_out_what_is_not_usable(shape: tuple[int, int]) -> None:
    side = block_side(shape)
    usable = np.ones(shape)
    usable[:side, : side // 4] = 0
    usable[:side, side : 2 * side] = 0
    ratio = np.where(usable > 0, 1.2, 1.0).astype(np.float32)
    rows, columns = shape[0] // side, shape[1] // side
    whole = usable[: rows * side, : columns * side]
    share = whole.reshape(rows, side, columns, side).mean(axis=(1, 3))
    found = block_ratios(ratio, share)
    assert found.shape == (rows, columns)
    assert np.isnan(found[0, 1])
    found[0, 1] = 1.2
    assert found == pytest.approx(np.full(found.shape, 1.2), abs=1e-6)


def test_no_blocks_in_a_tiny_disc() -> None:
    assert quiet_level(block_ratios(np.ones((5, 5), np.float32), np.zeros((0, 0)))) is None
