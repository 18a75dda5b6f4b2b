"""Averaging and smoothing, and the noise they leave."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.smoothing import (
    TimeAverage,
    average_delay_s,
    smooth,
    smoothing_noise,
)

RNG = np.random.default_rng(6)


def noise(shape: tuple[int, int] = (200, 220)) -> np.ndarray:
    return RNG.standard_normal(shape).astype(np.float32)


@pytest.mark.parametrize("frames", [2, 4, 16])
def test_noise_of_the_average(frames: int) -> None:
    average = TimeAverage()
    for count in range(5 * frames):
        mean = average.add(1 + noise(), 1.0, frames)
        if count + 1 in (1, frames // 2):
            assert average.equivalent == pytest.approx(count + 1, rel=1e-6)
    assert average.equivalent == pytest.approx(frames, rel=0.02)
    assert mean.std() == pytest.approx(frames**-0.5, rel=0.03)
    assert mean.mean() == pytest.approx(1, abs=0.01)


def test_gain_is_taken_out_of_each_frame() -> None:
    average = TimeAverage()
    for gain in (0.5, 1.0, 2.0):
        mean = average.add(np.full((5, 6), 1.1 * gain, np.float32), gain, 8)
    assert mean == pytest.approx(np.full((5, 6), 1.1), abs=1e-6)


def test_restart_and_new_size_begin_anew() -> None:
    average = TimeAverage()
    average.add(np.ones((5, 6), np.float32), 1.0, 8)
    assert average.add(np.full((7, 6), 3, np.float32), 1.0, 8).mean() == 3
    average.restart()
    assert average.mean is None
    assert average.add(np.full((7, 6), 2, np.float32), 1.0, 8).mean() == 2


def test_delay() -> None:
    assert average_delay_s(1, 60.0) == 0
    assert average_delay_s(13, 60.0) == pytest.approx(0.1)


@pytest.mark.parametrize("radius", [0.5, 1.0, 2.0, 3.0, 6.0])
def test_noise_of_the_smoothed_picture(radius: float) -> None:
    picture = 0.02 * noise()
    out = smooth(picture, radius, 0.02, np.empty_like(picture))
    told = smoothing_noise(radius)
    assert out[20:-20, 20:-20].std() / 0.02 == pytest.approx(told, rel=0.06)
    assert 0.1 < told < 0.75


def test_more_radius_less_noise() -> None:
    told = [smoothing_noise(r) for r in (1.0, 2.0, 5.0)]
    assert told == sorted(told, reverse=True)


def test_edges_stay_sharp() -> None:
    picture = 0.02 * noise()
    picture[:, 100:] += 0.5
    out = smooth(picture, 3.0, 0.02, np.empty_like(picture))
    step = out[30:-30].mean(axis=0)
    assert step[103] - step[96] > 0.47
    assert out[30:-30, 20:80].std() < 0.01


def test_a_constant_stays() -> None:
    picture = np.full((50, 60), 0.3, np.float32)
    out = smooth(picture, 2.0, 0.01, np.empty_like(picture))
    assert out == pytest.approx(picture, abs=1e-5)


@pytest.mark.parametrize("shape", [(1, 1), (3, 2), (7, 50)])
def test_tiny_pictures(shape: tuple[int, int]) -> None:
    picture = np.zeros(shape, np.float32)
    assert smooth(picture, 5.0, 0.01, np.empty_like(picture)).shape == shape
