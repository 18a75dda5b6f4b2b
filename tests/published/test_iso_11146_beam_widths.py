"""ISO 11146-1 (2005, revised 2021) beam widths, against laserbeamsize 2.5 and closed forms.

Gaussian exp(-2 r^2 / w^2): width 2 w. Uniform disc: its diameter. Uniform square of side s:
2 s / sqrt(3). (Definitions from memory of the standard; the library states the same.)
"""

from __future__ import annotations

import math

import laserbeamsize
import numpy as np
import pytest

from liveview.imaging.spot import measure_spot

SIZE = 801
Y, X = np.mgrid[:SIZE, :SIZE].astype(np.float64)


def gaussian(wx: float, wy: float, cx: float = 400.3, cy: float = 398.7) -> np.ndarray:
    return 0.9 * np.exp(-2 * ((X - cx) / wx) ** 2 - 2 * ((Y - cy) / wy) ** 2)


def test_gaussian_is_two_w_wide() -> None:
    spot = measure_spot(gaussian(60, 60).astype(np.float32))
    assert spot is not None
    # A window three widths wide cuts off exp(-18) of the power: far below 1e-3.
    assert spot.major_px == pytest.approx(120.0, abs=2e-3)
    assert spot.minor_px == pytest.approx(120.0, abs=2e-3)
    assert (spot.cx, spot.cy) == pytest.approx((400.3, 398.7), abs=1e-4)


@pytest.mark.parametrize("angle", [0.0, 0.4, -1.1, math.pi / 2])
def test_rotated_ellipse_agrees_with_the_library(angle: float) -> None:
    dx, dy = X - 400.3, Y - 398.7
    u = dx * math.cos(angle) + dy * math.sin(angle)
    v = -dx * math.sin(angle) + dy * math.cos(angle)
    picture = 0.9 * np.exp(-2 * (u / 100) ** 2 - 2 * (v / 50) ** 2)
    spot = measure_spot(picture.astype(np.float32))
    assert spot is not None
    _, _, major, minor, _ = laserbeamsize.beam_size(picture)
    # The library's default window follows the same standard; both end within 0.01 px of 2 w.
    assert spot.major_px == pytest.approx(major, abs=0.05)
    assert spot.minor_px == pytest.approx(minor, abs=0.05)
    assert spot.major_px == pytest.approx(200.0, abs=0.05)
    assert math.sin(spot.angle_rad - angle) == pytest.approx(0.0, abs=1e-3)


def test_uniform_disc_is_as_wide_as_it_is() -> None:
    disc = ((X - 400) ** 2 + (Y - 400) ** 2 <= 100**2).astype(np.float32) * 0.5
    spot = measure_spot(disc)
    assert spot is not None
    # The pixelated rim: a direct sum over the pixels gives 200.013.
    assert spot.mean_px == pytest.approx(200.0, rel=1e-3)


def test_uniform_square() -> None:
    square = np.zeros((SIZE, SIZE), np.float32)
    square[300:499, 300:499] = 0.5
    spot = measure_spot(square)
    assert spot is not None
    # N pixels in a row have the exact width 4 sqrt((N^2 - 1) / 12).
    assert spot.minor_px == pytest.approx(4 * math.sqrt((199**2 - 1) / 12), abs=1e-3)


def test_a_pedestal_does_not_widen_the_spot() -> None:
    with_pedestal = gaussian(60, 60) + 0.009
    plain = 4 * math.sqrt(float((with_pedestal * (X - 400.3) ** 2).sum() / with_pedestal.sum()))
    assert plain > 600  # what a second moment over the whole picture would say
    spot = measure_spot(with_pedestal.astype(np.float32))
    assert spot is not None
    assert spot.mean_px == pytest.approx(120.0, abs=0.1)
