"""R. N. Bracewell, The Fourier Transform and Its Applications, table of Abel transforms: the
Gaussian pair, and the angles of a Gaussian plume that follow from it. Forward transform by
quadrature here; the inverse by PyAbel as the program uses it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from liveview.optics.plume import GAUSS_PEAK, gaussian_plume_angle, index_from_angles

SIZE = 40.0
Y = np.arange(201.0)


def path(y: np.ndarray | float) -> np.ndarray:
    return math.sqrt(math.pi) * SIZE * np.exp(-(np.asarray(y) ** 2) / SIZE**2)


@pytest.mark.parametrize(
    ("y", "value"), [(0, 70.898154), (20, 55.215538), (40, 26.081973), (80, 1.298545)]
)
def test_forward_pair(y: float, value: float) -> None:
    def along(z: float) -> float:
        return 2.0 * math.exp(-(y * y + z * z) / SIZE**2)

    assert path(y) == pytest.approx(value, abs=1e-6)
    assert quad(along, 0.0, 400.0)[0] == pytest.approx(value, abs=1e-6)


def test_angles_give_the_profile_back() -> None:
    angles = -2.0 * Y / SIZE**2 * path(Y)
    found = index_from_angles(angles, 1.0)
    # twice what the method reaches on the path itself (3.1e-4 of the peak), trapezoids on top
    assert found == pytest.approx(np.exp(-((Y / SIZE) ** 2)), abs=8e-4)


def test_peak_slope() -> None:
    assert pytest.approx(1.520347, abs=1e-6) == GAUSS_PEAK
    steepest = np.abs(np.gradient(path(np.linspace(0, 200, 200_001)), 1e-3)).max()
    assert gaussian_plume_angle(1.0) == pytest.approx(steepest, rel=1e-6)
