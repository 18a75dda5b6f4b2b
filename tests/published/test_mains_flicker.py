"""Aliases, bands and exposure factors of mains flicker: sampling theorem and sinc, by arithmetic.

Common practice gives twice the mains frequency as the ripple of a lamp (100 or 120 Hz).
"""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.mains import (
    alias_hz,
    bands_in_frame,
    mains_in_frames,
    mains_in_rows,
    ripple_kept,
)


@pytest.mark.parametrize(
    ("ripple", "rate", "alias"),
    [
        (100, 25, 0),
        (100, 30, 10),
        (100, 50, 0),
        (100, 60, 20),
        (100, 120, 20),
        (120, 25, 5),
        (120, 30, 0),
        (120, 50, 20),
        (120, 60, 0),
        (120, 29.97, 0.12),
        (100, 29.97, 10.09),
        (100, 59.94, 19.88),
        (100, 40, 20),
    ],
)
def test_alias(ripple: float, rate: float, alias: float) -> None:
    assert alias_hz(ripple, rate) == pytest.approx(alias, abs=1e-3)


def test_bands_and_exposure() -> None:
    assert bands_in_frame(100, 0.030) == pytest.approx(3.0)
    assert bands_in_frame(120, 0.010) == pytest.approx(1.2)
    assert ripple_kept(100, 0.010) == pytest.approx(0.0, abs=1e-12)
    assert ripple_kept(100, 0.005) == pytest.approx(0.636620, abs=1e-6)
    assert ripple_kept(100, 1 / 60) == pytest.approx(0.165399, abs=1e-6)
    assert ripple_kept(120, 1 / 60) == pytest.approx(0.0, abs=1e-12)
    assert ripple_kept(100, 0.001) == pytest.approx(0.983632, abs=1e-6)


def lit(ripple: float, rate: float, depth: float, frames: int = 240) -> tuple:
    rng = np.random.default_rng(int(ripple + rate))
    times = np.arange(frames) / rate
    light = 0.3 * (1 + 0.1 * times + depth * np.sin(2 * np.pi * ripple * times + 1.0))
    return light + rng.normal(0, 0.0005, frames), times


@pytest.mark.parametrize(("ripple", "rate"), [(100, 60), (100, 30), (120, 50), (120, 25)])
def test_found_in_frames(ripple: float, rate: float) -> None:
    light, times = lit(ripple, rate, 0.03)
    found = mains_in_frames(light, times, rate)
    assert found is not None
    assert found.ripple_hz == ripple
    # Amplitude scatters by sqrt(2/240) * 0.0005 / 0.3, and the mean by the drift of 40 % at most.
    assert found.depth == pytest.approx(0.03 * 0.3 / float(light.mean()), rel=0.05)
    assert f"{ripple:.0f} Hz" in found.advice


def test_steady_lamp_and_standing_alias_give_nothing() -> None:
    light, times = lit(100, 60, 0.0)
    assert mains_in_frames(light, times, 60.0) is None
    light, times = lit(100, 50, 0.05)
    assert mains_in_frames(light, times, 50.0) is None
    assert mains_in_frames(light[:10], times[:10], 60.0) is None
    assert mains_in_frames(np.zeros(240), times, 60.0) is None


def test_a_flickering_flow_is_no_mains() -> None:
    """A wandering brightness with power at all frequencies, as a plume makes it."""
    times = np.arange(240) / 60.0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        wander = np.convolve(rng.normal(0, 0.01, 300), np.ones(6) / 6, "same")[:240]
        assert mains_in_frames(0.3 * (1 + wander), times, 60.0) is None


def test_found_in_rows() -> None:
    row_time = 0.020 / 720
    t = np.arange(720) * row_time
    rng = np.random.default_rng(3)
    rows = 1 + 0.04 * np.sin(2 * np.pi * 100 * t) + rng.normal(0, 0.003, 720)
    rows[:60] = np.nan
    found = mains_in_rows(rows, row_time)
    assert found is not None
    assert found.ripple_hz == 100
    assert found.depth == pytest.approx(0.04, rel=0.1)
    quiet = 1 + rng.normal(0, 0.003, 720)
    assert mains_in_rows(quiet, row_time) is None
    assert mains_in_rows(rows, 0.0) is None
