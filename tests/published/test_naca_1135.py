"""NACA Report 1135, Ames Research Staff, 1953, "Equations, Tables, and Charts for Compressible
Flow", Table II, gamma = 1.4. The table prints four figures; the values here have more, worked out
from the report's equations with another library.
"""

from __future__ import annotations

import pytest

from liveview.optics.fronts import normal_shock


@pytest.mark.parametrize(
    ("mach", "pressure", "density", "temperature", "behind", "total"),
    [
        (1.05, 1.11958, 1.08398, 1.03284, 0.95313, 0.999853),
        (1.20, 1.51333, 1.34161, 1.12799, 0.84217, 0.992798),
        (1.50, 2.45833, 1.86207, 1.32022, 0.70109, 0.929787),
        (2.00, 4.50000, 2.66667, 1.68750, 0.57735, 0.720874),
    ],
)
def test_rows(
    mach: float, pressure: float, density: float, temperature: float, behind: float, total: float
) -> None:
    jump = normal_shock(mach)
    found = (jump.pressure, jump.density, jump.temperature, jump.mach_behind, jump.total_pressure)
    assert found == pytest.approx((pressure, density, temperature, behind, total), abs=1e-5)
