"""Contrast and angle: zero, shape, both ends of the range, round trips."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.model import Side
from liveview.optics import deflection as d

shapes = st.sampled_from(("slit", "round"))
uncuts = st.floats(0.05, 0.95)


@given(uncut=uncuts, shape=shapes)
def test_no_bend_no_contrast(uncut: float, shape: str) -> None:
    assert d.contrast_from_angle(0.0, 4.8, 1e-3, uncut, shape) == pytest.approx(0.0, abs=1e-12)


@given(uncut=uncuts, shape=shapes, share=st.floats(0.001, 0.999))
def test_angle_round_trips_inside_the_range(uncut: float, shape: str, share: float) -> None:
    low, high = d.angle_range(4.8, 1e-3, uncut, shape)
    angle = low + share * (high - low)
    contrast = d.contrast_from_angle(angle, 4.8, 1e-3, uncut, shape)
    assert d.angle_from_contrast(contrast, 4.8, 1e-3, uncut, shape) == pytest.approx(
        angle, abs=1e-9 * (high - low)
    )


@given(uncut=uncuts, shape=shapes)
def test_the_range_ends_fully_dark_and_fully_open(uncut: float, shape: str) -> None:
    low, high = d.angle_range(4.8, 1e-3, uncut, shape)
    ends = d.contrast_from_angle(np.array([2 * low, low, high, 2 * high]), 4.8, 1e-3, uncut, shape)
    dark, bright = d.contrast_range(uncut)
    assert ends == pytest.approx([dark, dark, bright, bright], abs=1e-9)
    assert high - low == pytest.approx(1e-3 / 4.8)


@given(uncut=uncuts, shape=shapes)
def test_sensitivity_is_the_slope_at_zero(uncut: float, shape: str) -> None:
    step = 1e-10
    low, high = d.contrast_from_angle(np.array([-step, step]), 4.8, 1e-3, uncut, shape)
    slope = (high - low) / (2 * step)
    # central difference of about 1e-6 contrast: rounding leaves nine digits
    assert d.sensitivity(4.8, 1e-3, uncut, shape) == pytest.approx(slope, rel=1e-6)


def test_more_cutoff_more_contrast_less_light() -> None:
    values = [d.sensitivity(3.0, 1e-3, uncut) for uncut in (0.8, 0.5, 0.2)]
    assert values == pytest.approx([3.0 / 0.8e-3, 3.0 / 0.5e-3, 3.0 / 0.2e-3])


def test_contrast_that_cannot_be_has_no_angle() -> None:
    angles = d.angle_from_contrast(np.array([-1.2, -1.0, 0.0, 1.0, 1.2]), 2.0, 1e-3, 0.5)
    assert np.isnan(angles[[0, 4]]).all()
    assert angles[1:4] == pytest.approx([-0.25e-3, 0.0, 0.25e-3], abs=1e-18)


def test_smallest_angle_states_k() -> None:
    one = d.smallest_angle(0.01, 4.8, 1e-3, 0.5)
    assert one == pytest.approx(0.01 * 1e-3 * 0.5 / 4.8)
    assert d.smallest_angle(0.01, 4.8, 1e-3, 0.5, k=3.0) == pytest.approx(3.0 * one)
    back = d.contrast_from_angle(one, 4.8, 1e-3, 0.5)
    assert back == pytest.approx(0.01)


def test_diffraction() -> None:
    assert d.diffraction_spread(550e-9, 0.01) == pytest.approx(5.5e-5)


@pytest.mark.parametrize("side", list(Side))
def test_light_bent_away_from_the_blade_brightens(side: Side) -> None:
    towards = d.brightening_side(side).normal
    assert np.dot(towards, side.normal) == -1.0


def test_scalar_in_scalar_out() -> None:
    assert isinstance(d.contrast_from_angle(1e-6, 1.0, 1e-3, 0.5), float)
    assert isinstance(d.angle_from_contrast(0.1, 1.0, 1e-3, 0.5), float)
    assert math.isfinite(d.angle_from_contrast(0.1, 1.0, 1e-3, 0.5, "round"))
