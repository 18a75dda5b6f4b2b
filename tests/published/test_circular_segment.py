"""Area of a circular segment, from elementary geometry; figures by quadrature of the chord."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from liveview.optics.blade import position_from_uncut, uncut_from_position


@pytest.mark.parametrize(
    ("covered", "passed"),
    [(0.10, 0.947956), (0.25, 0.804499), (0.50, 0.5), (0.75, 0.195501), (0.90, 0.052044)],
)
def test_share_passed(covered: float, passed: float) -> None:
    found = uncut_from_position(covered, 1.0, "round")
    assert found == pytest.approx(passed, abs=1e-6)  # digits of the table
    chord, _ = quad(lambda h: 4.0 * math.sqrt(0.25 - h * h) * 2.0 / math.pi, covered - 0.5, 0.5)
    assert found == pytest.approx(chord, abs=1e-9)  # of the quadrature


@pytest.mark.parametrize(
    ("passed", "covered"),
    [(0.9, 0.156476), (0.8, 0.254069), (0.5, 0.5), (0.2, 0.745931), (0.1, 0.843524)],
)
def test_share_covered(passed: float, covered: float) -> None:
    assert position_from_uncut(passed, 1.0, "round") == pytest.approx(covered, abs=1e-6)
