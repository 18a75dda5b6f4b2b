from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.gui.dial import (
    GAUGE_HALF,
    DialGeometry,
    compass,
    direction,
    shadow_of,
    uncut_to_angle,
)
from liveview.model import BladeReading, Side


def test_half_cut_is_at_the_top_and_the_ends_are_symmetric() -> None:
    assert uncut_to_angle(0.5) == 0.0
    assert uncut_to_angle(0.0) == -GAUGE_HALF
    assert uncut_to_angle(1.0) == GAUGE_HALF
    assert uncut_to_angle(1.4) == GAUGE_HALF


@given(st.floats(0, 359.9))
def test_direction_and_compass_round_trip(angle: float) -> None:
    off = (compass(*direction(angle)) - angle + 180) % 360 - 180
    assert abs(off) < 1e-9


@pytest.mark.parametrize(
    ("side", "angle"),
    [(Side.TOP, 0.0), (Side.RIGHT, 90.0), (Side.BOTTOM, 180.0), (Side.LEFT, 270.0)],
)
def test_a_positive_tilt_across_shades_the_blades_side(side: Side, angle: float) -> None:
    shadow = shadow_of(BladeReading(side, tilt_across=0.1, tilt_sigma=0.001))
    assert shadow is not None
    assert shadow.angle_deg == pytest.approx(angle)
    opposite = shadow_of(BladeReading(side, tilt_across=-0.1, tilt_sigma=0.001))
    assert opposite is not None
    assert opposite.angle_deg == pytest.approx((angle + 180) % 360)


@pytest.mark.parametrize("side", list(Side))
def test_a_tilt_along_shades_a_quarter_turn_on(side: Side) -> None:
    across = shadow_of(BladeReading(side, tilt_across=0.1, tilt_sigma=0.001))
    along = shadow_of(BladeReading(side, tilt_across=0.0, tilt_along=0.1, tilt_sigma=0.001))
    assert across is not None
    assert along is not None
    assert (along.angle_deg - across.angle_deg) % 360 == pytest.approx(90.0)


def test_a_tilt_below_its_uncertainty_is_even() -> None:
    shadow = shadow_of(BladeReading(Side.LEFT, tilt_across=0.03, tilt_sigma=0.02))
    assert shadow is not None
    assert shadow.even
    assert shadow_of(BladeReading(Side.LEFT)) is None


def test_rings_lie_in_order_and_the_disc_gets_the_rest() -> None:
    g = DialGeometry.for_square(780.0, 7.5)
    radii = [g.disc, g.shadow_in, g.shadow_out, g.gauge_in, g.gauge_out, g.memory_in, g.memory_out]
    assert radii == sorted(radii)
    assert g.memory_out <= 390.0
    assert g.disc > 0.8 * 390.0
    assert math.dist(g.at(90.0, 100.0), (g.centre + 100.0, g.centre)) < 1e-9
