"""Knife edge: ends, shape, inverses, and the shadow test."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from liveview.optics.blade import (
    AxialState,
    axial_offset_from_tilt,
    axial_tolerance,
    position_from_uncut,
    slope_at_uncut,
    tilt_from_axial_offset,
    travel_between,
    uncut_from_position,
)

SHAPES = ("slit", "round")
shapes = st.sampled_from(SHAPES)
fractions = st.floats(0.0, 1.0)
widths = st.floats(1e-5, 0.05)


@pytest.mark.parametrize("shape", SHAPES)
def test_open_half_and_cut(shape: str) -> None:
    position = np.array([-1.0, 0.0, 1e-3, 2e-3, 5.0])
    assert uncut_from_position(position, 2e-3, shape) == pytest.approx([1, 1, 0.5, 0, 0], abs=1e-15)


def test_a_number_stays_a_number_and_an_array_keeps_its_shape() -> None:
    assert isinstance(uncut_from_position(1e-4, 1e-3, "round"), float)
    assert isinstance(position_from_uncut(0.5, 1e-3), float)
    assert position_from_uncut(np.full((2, 3), 0.4), 1e-3, "round").shape == (2, 3)


@given(uncut=fractions, width=widths, shape=shapes)
def test_position_round_trips(uncut: float, width: float, shape: str) -> None:
    position = position_from_uncut(uncut, width, shape)
    assert 0.0 <= position <= width
    # rounding only: the inverse is exact
    assert uncut_from_position(position, width, shape) == pytest.approx(uncut, abs=1e-13)


@given(uncut=st.floats(1e-9, 1.0 - 1e-9))
def test_round_inverse_agrees_with_a_root_finder(uncut: float) -> None:
    def excess(u: float) -> float:
        return (math.acos(u) - u * math.sqrt(1.0 - u * u)) / math.pi - uncut

    root = brentq(excess, -1.0, 1.0, xtol=1e-15, rtol=1e-15)
    assert 2.0 * position_from_uncut(uncut, 1.0, "round") - 1.0 == pytest.approx(root, abs=1e-9)


@given(uncut=fractions, shape=shapes)
def test_cut_and_uncut_are_mirror_images(uncut: float, shape: str) -> None:
    there = position_from_uncut(uncut, 1.0, shape)
    back = position_from_uncut(1.0 - uncut, 1.0, shape)
    # 1 - uncut loses digits where the round segment is steepest: a cube root of rounding
    assert there + back == pytest.approx(1.0, abs=1e-9)


@given(low=fractions, high=fractions, shape=shapes)
def test_more_blade_means_less_light(low: float, high: float, shape: str) -> None:
    positions = np.sort([low, high])
    uncut = uncut_from_position(positions, 1.0, shape)
    assert uncut[0] >= uncut[1]


@pytest.mark.parametrize("wrong", [-0.01, 1.01, math.nan])
@pytest.mark.parametrize("shape", SHAPES)
def test_no_position_for_impossible_fractions(wrong: float, shape: str) -> None:
    assert math.isnan(position_from_uncut(wrong, 1e-3, shape))
    assert math.isnan(slope_at_uncut(wrong, 1e-3, shape))


@given(uncut=st.floats(0.01, 0.99), shape=shapes)
def test_slope_is_the_derivative(uncut: float, shape: str) -> None:
    step = 1e-6
    x = position_from_uncut(uncut, 1.0, shape)
    low, high = uncut_from_position(np.array([x - step, x + step]), 1.0, shape)
    # central difference: error of step^2 times the third derivative
    assert slope_at_uncut(uncut, 1.0, shape) == pytest.approx((low - high) / (2 * step), rel=1e-6)


def test_round_lamp_is_four_over_pi_as_steep_at_half_cut() -> None:
    ratio = slope_at_uncut(0.5, 1e-3, "round") / slope_at_uncut(0.5, 1e-3, "slit")
    assert ratio == pytest.approx(4.0 / math.pi, rel=1e-12)


def test_travel_is_inwards_for_less_light() -> None:
    assert travel_between(0.8, 0.5, 1e-3) == pytest.approx(0.3e-3)
    assert travel_between(0.5, 0.8, 1e-3, "round") < 0.0


RIG = {"width_m": 1e-3, "mirror_diameter_m": 0.2, "blade_distance_m": 3.0}


@pytest.mark.parametrize("shape", SHAPES)
def test_blade_in_focus(shape: str) -> None:
    assert tilt_from_axial_offset(0.0, 0.4, **RIG, shape=shape) == pytest.approx(0.0, abs=1e-15)
    found = axial_offset_from_tilt(0.0, 0.4, **RIG, shape=shape)
    assert found.state is AxialState.IN_FOCUS
    assert found.offset_m == pytest.approx(0.0, abs=1e-15)


@pytest.mark.slow
@given(
    offset=st.floats(-3e-3, 3e-3),
    uncut=st.floats(0.35, 0.65),
    shape=shapes,
)
def test_axial_offset_round_trips(offset: float, uncut: float, shape: str) -> None:
    tilt = tilt_from_axial_offset(offset, uncut, **RIG, shape=shape)
    found = axial_offset_from_tilt(tilt, uncut, **RIG, shape=shape)
    assert not found.clipped
    assert found.offset_m is not None
    # the inverse takes the disc's mean for the fraction that went in at its centre: for a round
    # lamp the two differ by the curve's bend, 2 % of the offset at worst within these limits
    limit = 1e-12 if shape == "slit" else 0.02 * abs(offset) + 1e-12
    assert found.offset_m == pytest.approx(offset, abs=limit)


@pytest.mark.slow
@given(offset=st.floats(-2e-3, 2e-3), uncut=st.floats(0.4, 0.6))
def test_round_lamp_is_solved_for_mean_and_tilt_together(offset: float, uncut: float) -> None:
    x = position_from_uncut(uncut, 1e-3, "round")
    reach = 0.1 * offset / 3.0
    # an independent disc: a fine grid of mirror points, least squares by lstsq
    grid = np.linspace(-1, 1, 201)
    gx, gy = np.meshgrid(grid, grid)
    inside = gx**2 + gy**2 <= 1.0
    light = uncut_from_position(x + reach * gx[inside], 1e-3, "round")
    design = np.column_stack([np.ones(light.size), gx[inside]])
    slope = np.linalg.lstsq(design, light, rcond=None)[0][1]
    found = axial_offset_from_tilt(-2.0 * slope, float(light.mean()), **RIG, shape="round")
    assert found.offset_m == pytest.approx(offset, rel=2e-3, abs=1e-9)  # grid's ragged rim


def test_directions() -> None:
    # Foucault: the blade's own side darkens first when the blade is too near to the mirror.
    assert axial_offset_from_tilt(0.1, 0.5, **RIG).state is AxialState.TOO_NEAR
    assert axial_offset_from_tilt(-0.1, 0.5, **RIG).state is AxialState.TOO_FAR
    assert axial_offset_from_tilt(0.1, 0.5, **RIG).offset_m == pytest.approx(1.5e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_direction_only_where_the_disc_is_clipped(shape: str) -> None:
    found = axial_offset_from_tilt(0.9, 0.2, **RIG, shape=shape)
    assert found.clipped
    assert found.offset_m is None
    assert found.error_m is None
    assert found.state is AxialState.TOO_NEAR


@pytest.mark.parametrize(
    ("tilt", "uncut"), [(0.0, 0.0), (0.1, 1.0), (math.nan, 0.5), (0.1, math.nan)]
)
def test_nothing_known(tilt: float, uncut: float) -> None:
    assert axial_offset_from_tilt(tilt, uncut, **RIG).state is AxialState.UNKNOWN


def test_noise_decides_what_counts_as_in_focus() -> None:
    assert axial_offset_from_tilt(0.05, 0.5, **RIG).state is AxialState.TOO_NEAR
    noisy = axial_offset_from_tilt(0.05, 0.5, **RIG, tilt_sigma=0.02)
    assert noisy.state is AxialState.IN_FOCUS
    assert noisy.error_m == pytest.approx(0.02 * 1e-3 * 3.0 / 0.2)


def test_tolerance_is_the_offset_of_that_tilt() -> None:
    offset = axial_tolerance(0.05, 1e-3, 0.2, 3.0)
    assert tilt_from_axial_offset(offset, 0.5, **RIG) == pytest.approx(0.05)


@given(st.floats(0.0, 1.0))
@pytest.mark.parametrize("shape", ["slit", "round"])
def test_one_number_and_an_array_give_the_same(shape: str, uncut: float) -> None:
    # Rounding of two ways of writing the same sum; the slope is a root near either end.
    position = position_from_uncut(np.array([uncut]), 1e-3, shape)[0]
    assert position_from_uncut(uncut, 1e-3, shape) == pytest.approx(position, abs=1e-15)
    slope = slope_at_uncut(np.array([uncut]), 1e-3, shape)[0]
    assert slope_at_uncut(uncut, 1e-3, shape) == pytest.approx(slope, rel=1e-6, abs=1e-3)
