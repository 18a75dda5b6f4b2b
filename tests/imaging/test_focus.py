"""The focus aid: right order of sharpness, no reward for noise."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from liveview.imaging.cv import cv2
from liveview.imaging.focus import FocusSearch, patch_around, rim_patch, sharpness
from liveview.model import Disc


def edge(blur: float, noise: float, seed: int, level: float = 0.4) -> np.ndarray:
    picture = np.full((64, 64), 0.02, np.float32)
    picture[:, :32] = level
    if blur > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), blur)
    rng = np.random.default_rng(seed)
    return (picture + rng.normal(0, noise, picture.shape)).astype(np.float32)


def test_even_patch_has_no_sharpness_whatever_its_noise() -> None:
    rng = np.random.default_rng(5)
    one, two = (rng.normal(0.4, 0.05, (64, 64)).astype(np.float32) for _ in range(2))
    value = sharpness(one, two)
    assert value is not None
    # A single noisy picture's squared gradient would be 2 * 12 * (0.05/8)^2 / 0.16 = 0.0059;
    # the product of two has zero mean and scatters by about a fiftieth of that.
    assert abs(value) < 0.0006


def test_blur_lowers_it_in_order_and_noise_does_not_raise_it() -> None:
    clean = [sharpness(edge(b, 0, 1), edge(b, 0, 2)) for b in (0.5, 1, 2, 4)]
    noisy = [sharpness(edge(b, 0.02, 1), edge(b, 0.02, 2)) for b in (0.5, 1, 2, 4)]
    assert all(a > b for a, b in itertools.pairwise(clean))
    for without, with_noise in zip(clean, noisy, strict=True):
        assert with_noise == pytest.approx(without, rel=0.12)


def test_brightness_does_not_count() -> None:
    bright, dim = sharpness(edge(1, 0, 1), edge(1, 0, 1)), None
    half = edge(1, 0, 1) * 0.5
    dim = sharpness(half, half)
    assert dim == pytest.approx(bright, rel=1e-5)


def test_gaussian_edge_closed_form() -> None:
    """An edge blurred by sigma has gradient h/(sigma sqrt(2 pi)) exp(-x^2/2 sigma^2); its square
    integrates to h^2 / (2 sigma sqrt(pi)). The 3x3 derivative adds a variance of 1/2 or so."""
    sigma = 4.0
    patch = edge(sigma, 0, 1)
    height, mean = 0.38, float(patch.mean())
    expected = height**2 / (2 * np.sqrt(sigma**2 + 0.33) * np.sqrt(np.pi)) / 62 / mean**2
    assert sharpness(patch, patch) == pytest.approx(expected, rel=0.02)


def test_search_holds_the_best() -> None:
    search = FocusSearch()
    assert search.see(edge(3, 0, 0)) is None
    shares = []
    for blur in (3, 2, 1, 2, 3):
        search.see(edge(blur, 0, 0))
        reading = search.see(edge(blur, 0, 0))
        assert reading is not None
        shares.append(reading.share)
    assert shares[:3] == [1.0, 1.0, 1.0]
    assert shares[3] < 0.8
    assert shares[4] < shares[3]


def test_dark_patch_is_none() -> None:
    assert sharpness(np.zeros((32, 32), np.float32), np.zeros((32, 32), np.float32)) is None


def test_patches_stay_in_the_picture() -> None:
    rows, columns = rim_patch((100, 120), Disc(60, 50, 58))
    assert rows.stop <= 100
    assert columns.stop <= 120
    assert columns.stop - columns.start == pytest.approx(29, abs=1)
    assert patch_around((100, 120), -5, 200, 20) == (slice(80, 100), slice(0, 20))
    tiny = patch_around((6, 5), 2, 2, 20)
    assert tiny == (slice(0, 6), slice(0, 5))
