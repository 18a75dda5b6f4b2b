"""G. S. Settles, 2001, Schlieren and Shadowgraph Techniques, chapter 3: contrast of a knife edge.

The formula is from memory of the book; the figures of the table were worked out from it, those of a
round lamp with the exact circular segment.
"""

from __future__ import annotations

import math

import pytest

from liveview.optics.blade import ROUND_SLOPE_HALF_CUT
from liveview.optics.deflection import angle_range, contrast_from_angle, sensitivity
from liveview.optics.gas import temperature_slope_deflection
from liveview.units import arcsec_to_rad, rad_to_arcsec


@pytest.mark.parametrize(
    ("passes", "arm", "angle", "width", "slit", "round_lamp"),
    [
        (1, 1.5, arcsec_to_rad(1.0), 1.0e-3, 0.014544, 0.018518),
        (2, 3.0, arcsec_to_rad(1.0), 0.5e-3, 0.116355, 0.147813),
        (2, 2.4, 9.292e-5, 2.0e-3, 0.446016, 0.548451),
    ],
)
def test_contrast(
    passes: int, arm: float, angle: float, width: float, slit: float, round_lamp: float
) -> None:
    arms = passes * arm
    assert contrast_from_angle(angle, arms, width, 0.5) == pytest.approx(slit, abs=1e-5)
    assert contrast_from_angle(angle, arms, width, 0.5, "round") == pytest.approx(
        round_lamp, abs=1e-5
    )
    assert sensitivity(arms, width, 0.5) == pytest.approx(arms / (width * 0.5))


def test_linear_range() -> None:
    low, high = angle_range(6.0, 1e-3, 0.3)
    assert high == pytest.approx(1e-3 * 0.7 / 6.0)
    assert low == pytest.approx(-1e-3 * 0.3 / 6.0)


def test_round_against_slit() -> None:
    assert pytest.approx(1.2732395, abs=1e-6) == ROUND_SLOPE_HALF_CUT


def test_hot_air_slope() -> None:
    angle = abs(temperature_slope_deflection(0.1, 1000.0, 293.15, 272.4e-6))
    assert rad_to_arcsec(angle) == pytest.approx(19.17, abs=0.01)
    assert arcsec_to_rad(1.0) == pytest.approx(math.pi / 648000.0)
    assert arcsec_to_rad(1.0) == pytest.approx(4.84814e-6, abs=1e-11)
