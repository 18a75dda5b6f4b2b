"""Source: J. Immerkaer, 1996, "Fast noise variance estimation", Comput. Vis. Image Underst.
64:300; F. R. Hampel, 1974, J. Am. Stat. Assoc. 69:383, the latter as coded in SciPy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from liveview.imaging.noise import block_statistics, immerkaer_sigma, median_deviation_sigma


def ramp(sigma: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:480, :640]
    return 60 + 0.1 * x + 0.05 * y + sigma * rng.standard_normal((480, 640))


@pytest.mark.parametrize("sigma", [2.0, 5.0, 10.0])
def test_noise_on_a_ramp(sigma: float) -> None:
    immerkaer = np.mean([immerkaer_sigma(ramp(sigma, s)) for s in range(8)])
    median = np.mean([median_deviation_sigma(ramp(sigma, s)) for s in range(8)])
    # One picture scatters by 0.2 to 0.3 %.
    assert immerkaer == pytest.approx(sigma, rel=0.01)
    assert median == pytest.approx(sigma, rel=0.01)


def test_median_deviation_is_scipys() -> None:
    import cv2

    picture = ramp(3.0, 1)
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float64)
    answer = cv2.filter2D(picture, cv2.CV_64F, kernel)[1:-1, 1:-1]
    expected = median_abs_deviation(answer, axis=None, scale="normal") / 6
    assert median_deviation_sigma(picture) == pytest.approx(expected, rel=1e-5)


def test_pairs_agree_with_single_pictures() -> None:
    a, b = (ramp(5.0, s) / 255 for s in (3, 4))
    pairs = block_statistics(a.astype(np.float32), b.astype(np.float32))[1]
    assert np.sqrt(pairs.mean()) * 255 == pytest.approx(immerkaer_sigma(ramp(5.0, 3)), rel=0.02)
