"""Row gains follow the lamp's bands and not the flow."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.lamp import block_ratios, block_side
from liveview.imaging.rowgain import RowGains

SIZE, SIGMA = 400, 0.03
SIDE = block_side((SIZE, SIZE))
Y, X = np.mgrid[:SIZE, :SIZE]
INSIDE = np.hypot(X - 200, Y - 200) < 195
COUNT = SIZE // SIDE
SHARE = INSIDE[: COUNT * SIDE, : COUNT * SIDE].reshape(COUNT, SIDE, COUNT, SIDE).mean(axis=(1, 3))
MIDDLE = slice(15, -15)


def bands(number: float, depth: float, phase: float) -> np.ndarray:
    return 1 + depth * np.sin(2 * np.pi * number * np.arange(SIZE) / SIZE + phase)


def blocks(lamp: np.ndarray, flow: np.ndarray | float, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ratio = lamp[:, None] * (1 + flow) + SIGMA * rng.standard_normal((SIZE, SIZE))
    return block_ratios(np.where(INSIDE, ratio, 1).astype(np.float32), SHARE)


ACROSS = (X - 180) / 35
FLOWS = {
    "none": 0.0 * ACROSS,
    "both signs": ACROSS * np.exp(0.5 - ACROSS**2 / 2),
    "one sign, a third of the disc": 1.0 * ((X > 145) & (X < 250)),
}


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("strength", [0.5, 2.0, 5.0])
def test_flow_over_a_third_does_not_bend_it(flow: str, strength: float) -> None:
    lamp = bands(2.7, 0.1, 1.0)
    rows = RowGains(SHARE, SIZE, SIDE)
    found = rows.fit(blocks(lamp, strength * SIGMA * FLOWS[flow]))
    assert found is not None and found.dtype == np.float32
    error = (found / lamp - 1)[MIDDLE] / SIGMA
    # A fifth of one pixel's noise adds two per cent to it.
    assert np.sqrt(np.mean(error**2)) < 0.2


def test_number_of_bands_is_learned() -> None:
    rows = RowGains(SHARE, SIZE, SIDE)
    assert rows.bands is None
    for frame in range(30):
        rows.fit(blocks(bands(3.35, 0.05, 2.1 * frame), 0.0, frame))
    assert rows.bands == pytest.approx(3.35, abs=0.05)


def test_steady_lamp_has_no_bands() -> None:
    found = RowGains(SHARE, SIZE, SIDE).fit(blocks(np.full(SIZE, 0.8), 0.0))
    assert found is not None
    assert found[MIDDLE] == pytest.approx(0.8, abs=0.2 * SIGMA)


def test_too_little_to_go_by() -> None:
    small = RowGains(np.zeros((5, 5)), 60, 8)
    assert small.fit(np.full((5, 5), np.nan)) is None
