"""Source: M. Guizar-Sicairos et al., 2008, "Efficient subpixel image registration algorithms",
Opt. Lett. 33:156, as coded in scikit-image (``phase_cross_correlation``).

Its answer is the shift that undoes the motion, minus ours, in the order (row, column).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, shift
from skimage.registration import phase_cross_correlation

from liveview.imaging.steadiness import Steadiness


def texture() -> np.ndarray:
    rng = np.random.default_rng(4)
    blurred = gaussian_filter(rng.standard_normal((256, 256)), 2.0, mode="wrap")
    return 0.4 + 0.1 * blurred / blurred.std()


@pytest.mark.parametrize("moved", [(3, -5), (-1.62, 0.37), (2.25, 2.75)])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_same_shift(moved: tuple[float, float], noise: float) -> None:
    reference = texture()
    frame = shift(reference, moved, order=3, mode="grid-wrap")
    frame = frame + noise * np.random.default_rng(1).standard_normal(frame.shape)
    answer = phase_cross_correlation(reference, frame, upsample_factor=100, normalization=None)[0]
    everywhere = np.full(reference.shape, 255, np.uint8)
    found = Steadiness(reference.astype(np.float32), everywhere).find(frame.astype(np.float32))
    assert found is not None
    # 0.01 of its grid, and what noise and interpolation do to both.
    assert (found.y, found.x) == pytest.approx(-answer, abs=0.05)
    assert (found.y, found.x) == pytest.approx(moved, abs=0.05)
