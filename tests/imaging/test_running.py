"""Backgrounds that follow: drift is followed, flow is not swallowed."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.running import (
    KEYS,
    Followed,
    MedianBackground,
    RunningBackground,
    median_of_nine,
    smooth_surface,
)

SIZE, SIDE, SIGMA, RATE = 192, 8, 0.02, 60.0
Y, X = np.mgrid[:SIZE, :SIZE]
BASE = (0.3 + 0.1 * np.cos(X / 50)).astype(np.float32)
FLOW = (X > 60) & (X < 120)


def run(background: RunningBackground | MedianBackground, contrast: object, frames: int) -> None:
    """Show ``contrast(number)`` over the base for so many frames."""
    rng = np.random.default_rng(1)
    for number in range(frames):
        clean = BASE * (1 + contrast(number))  # type: ignore[operator]
        light = (clean * (1 + SIGMA * rng.standard_normal(BASE.shape))).astype(np.float32)
        ratio = light / background.light
        count = SIZE // SIDE
        blocks = ratio.reshape(count, SIDE, count, SIDE).mean(axis=(1, 3)).astype(float)
        background.follow(
            Followed(lambda rows, whole=light: whole[rows], number / RATE, blocks, SIDE, SIGMA)
        )


def moved(background: RunningBackground | MedianBackground) -> np.ndarray:
    return background.light / BASE - 1


def test_quiet_air_changes_nothing() -> None:
    background = RunningBackground(BASE, 0.5)
    run(background, lambda n: 0.0, 120)
    assert abs(moved(background).mean()) < 1e-3
    assert moved(background).std() < SIGMA


@pytest.mark.parametrize("strength", [0.5, 1.0, 5.0])
def test_lasting_flow_is_not_swallowed(strength: float) -> None:
    background = RunningBackground(BASE, 0.5)
    run(background, lambda n: strength * SIGMA * FLOW, 120)
    inner = moved(background)[20:-20, 70:110]
    # Four time constants: a plain running mean would have taken 98 %.
    assert inner.mean() < 0.2 * strength * SIGMA


@pytest.mark.slow
@pytest.mark.parametrize("drift", [0.02, 0.1])
def test_drift_is_followed_also_under_flow(drift: float) -> None:
    background = RunningBackground(BASE, 0.2)
    frames = 240
    tilt = (X - SIZE / 2) / SIZE

    def contrast(number: int) -> np.ndarray:
        return drift * tilt * number / frames + 5 * SIGMA * FLOW

    run(background, contrast, frames)
    rest = moved(background) - drift * tilt
    # It lags by a time constant of 12 frames of 240.
    assert np.abs(rest[:, 130:].mean(axis=0)).max() < 0.1 * drift + 0.004
    assert np.abs(rest[20:-20, 70:110].mean(axis=0)).max() < 0.15 * drift + 0.004


def test_small_marks_are_followed_where_it_is_quiet() -> None:
    background = RunningBackground(BASE, 0.3)
    mark = -0.02 * ((np.abs(X - 150) < 2) & (np.abs(Y - 50) < 2))
    run(background, lambda n: mark, 240)
    assert moved(background)[49:52, 149:152].mean() == pytest.approx(-0.02, abs=0.006)


def test_time_that_jumps_is_not_followed() -> None:
    background = RunningBackground(BASE, 0.5)
    blocks = np.ones((24, 24))
    for time_s in (5.0, 1.0, 1000.0, 3.0):
        for _ in range(8):
            background.follow(Followed(lambda rows: 9 + BASE[rows], time_s, blocks, SIDE, SIGMA))
    assert np.array_equal(background.light, BASE)


def test_surface_through_the_quiet_majority() -> None:
    y, x = np.mgrid[-1:1:24j, -1:1:30j]
    truth = 0.02 + 0.05 * x - 0.03 * y * y
    blocks = truth + 0.001 * np.random.default_rng(0).standard_normal(truth.shape)
    blocks[:, :9] += 0.2
    blocks[0, 0] = np.nan
    found = smooth_surface(blocks, 0.001)
    assert found is not None
    assert found.of_blocks() == pytest.approx(truth, abs=0.003)
    side = 4
    pixels = found.of_pixels(
        np.arange(24 * side, dtype=np.float32), np.arange(30 * side, dtype=np.float32), side
    )
    whole = pixels.reshape(24, side, 30, side).mean(axis=(1, 3))
    assert whole == pytest.approx(found.of_blocks(), abs=1e-4)
    assert smooth_surface(np.full((10, 10), np.nan), 0.001) is None


def test_median_of_nine_is_the_median() -> None:
    rng = np.random.default_rng(0)
    pictures = [rng.random((20, 30), np.float32) for _ in range(9)]
    kept = [p.copy() for p in pictures]
    assert np.array_equal(median_of_nine(pictures), np.median(kept, axis=0))
    assert all(np.array_equal(a, b) for a, b in zip(pictures, kept, strict=True))


def test_moving_median_forgets_what_passes() -> None:
    background = MedianBackground(BASE, 1.0)
    run(background, lambda n: 0.5 * FLOW if n % 60 < 20 else 0.0, 180)
    assert abs(moved(background)[:, 70:110].mean()) < 0.02


def test_moving_median_takes_on_what_stays() -> None:
    background = MedianBackground(BASE, 0.5)
    run(background, lambda n: 0.5 * FLOW, 60)
    assert moved(background)[:, 70:110].mean() == pytest.approx(0.5, abs=0.02)
    assert KEYS == 9
