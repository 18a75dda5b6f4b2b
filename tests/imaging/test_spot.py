"""The lamp's image on a card."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.spot import SpotSearch, Walk, measure_spot

Y, X = np.mgrid[:240, :320].astype(np.float64)


def card(width: float, power: float = 400.0, seed: int = 1, noise: float = 0.004) -> np.ndarray:
    """A spot of constant power on a grey card: narrower is brighter."""
    w = width / 2
    spot = power / (np.pi * w * w / 2) * np.exp(-2 * ((X - 170) ** 2 + (Y - 100) ** 2) / w**2)
    rng = np.random.default_rng(seed)
    return np.clip(spot + 0.05 + rng.normal(0, noise, X.shape), 0, 1).astype(np.float32)


def test_nothing_on_the_card_is_none() -> None:
    assert measure_spot(card(30, power=0.0)) is None
    assert measure_spot(np.zeros((100, 100), np.float32)) is None
    assert measure_spot(np.zeros((4, 4), np.float32)) is None


@pytest.mark.parametrize("width", [20.0, 40.0, 70.0])
def test_width_under_noise(width: float) -> None:
    spot = measure_spot(card(width, power=100.0, noise=0.001))
    assert spot is not None
    # Noise in the window scatters the second moment by about a per cent here.
    assert spot.mean_px == pytest.approx(width, rel=0.04)
    assert (spot.cx, spot.cy) == pytest.approx((170, 100), abs=0.5)
    assert spot.background == pytest.approx(0.05, abs=0.002)


def test_clipping_is_told_and_not_recorded() -> None:
    search = SpotSearch()
    spot = measure_spot(card(20, power=2000.0))
    assert spot is not None
    assert spot.clipped
    assert search.see(spot) is Walk.UNKNOWN
    assert search.smallest is None


def test_walking_through_the_focus() -> None:
    search = SpotSearch()
    told = []
    for step, width in enumerate([60, 50, 40, 30, 22, 20, 24, 30, 24, 20.2]):
        spot = measure_spot(card(width, power=100.0, seed=step))
        assert spot is not None
        told.append(search.see(spot))
    assert told[0] is Walk.UNKNOWN
    assert told[1:5] == [Walk.ON] * 4
    assert told[6] is Walk.BACK
    assert told[7] is Walk.BACK
    assert told[-1] is Walk.HERE
    assert search.smallest is not None
    assert search.smallest.mean_px == pytest.approx(20, rel=0.04)
    assert search.brightest is not None
    search.forget()
    assert search.smallest is None
