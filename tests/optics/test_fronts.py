"""Shocks and fits: zero cases, round trips, honesty of the confidence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics import fronts as f


def test_no_shock_at_mach_one() -> None:
    jump = f.normal_shock(1.0)
    assert (jump.pressure, jump.density, jump.temperature, jump.mach_behind) == (1, 1, 1, 1)
    with pytest.raises(ValueError, match="not slower"):
        f.normal_shock(0.99)


@given(mach=st.floats(1.0, 20.0))
def test_mach_round_trips(mach: float) -> None:
    jump = f.normal_shock(mach)
    assert f.mach_from_pressure(jump.pressure) == pytest.approx(mach, rel=1e-9)
    # near the limit of 6 the density hardly changes: rounding is magnified by M^2
    assert f.mach_from_density(jump.density) == pytest.approx(mach, rel=1e-9)


@given(mach=st.floats(1.0, 20.0))
def test_shock_conserves_mass_momentum_and_energy(mach: float) -> None:
    """Rankine and Hugoniot's conditions, in units of upstream density and sound speed."""
    jump = f.normal_shock(mach)
    before, after = mach, jump.mach_behind * np.sqrt(jump.temperature)
    assert jump.density * after == pytest.approx(before)
    pressure = 1.0 / 1.4
    assert jump.pressure * pressure + jump.density * after**2 == pytest.approx(pressure + before**2)
    assert jump.temperature / 0.4 + after**2 / 2 == pytest.approx(1.0 / 0.4 + before**2 / 2)


@pytest.mark.parametrize("wrong", [0.9, 6.1])
def test_impossible_density_ratio(wrong: float) -> None:
    with pytest.raises(ValueError, match="density ratio"):
        f.mach_from_density(wrong)


def test_impossible_pressure_ratio() -> None:
    with pytest.raises(ValueError, match="not lower"):
        f.mach_from_pressure(0.5)


TIMES = np.linspace(1e-4, 1e-3, 10)


def test_exact_line() -> None:
    fit = f.fit_front(TIMES, 0.01 + 400.0 * TIMES)
    assert fit.speed == pytest.approx(400.0)
    assert fit.start_m == pytest.approx(0.01)
    assert fit.mach == pytest.approx(400.0 / 343.2146, rel=1e-6)
    assert fit.shock is not None
    assert not fit.slows


def test_slower_than_sound_is_no_shock() -> None:
    assert f.fit_front(TIMES, 10.0 * TIMES).shock is None


@pytest.mark.slow
def test_confidence_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        fit = f.fit_front(TIMES, 360.0 * TIMES + rng.normal(0, 2e-3, TIMES.size))
        held += fit.speed_low <= 360.0 <= fit.speed_high
    # binomial: 95 % +- 3 * 1.1 %
    assert held / 400 == pytest.approx(0.95, abs=0.034)


def test_a_slowing_front_is_told() -> None:
    rng = np.random.default_rng(5)
    radius = 500.0 * TIMES - 1.2e5 * TIMES**2 + rng.normal(0, 2e-4, TIMES.size)
    assert f.fit_front(TIMES, radius).slows
    straight = 500.0 * TIMES + rng.normal(0, 2e-4, TIMES.size)
    assert not f.fit_front(TIMES, straight).slows


@given(
    energy=st.floats(1e-3, 1e3),
    time=st.floats(1e-6, 1e-3),
    shape=st.sampled_from(["point", "line"]),
)
def test_blast_round_trips(energy: float, time: float, shape: str) -> None:
    radius = f.blast_radius(time, energy, 1.204, shape)
    assert f.blast_energy(time, radius, 1.204, shape) == pytest.approx(energy)


@pytest.mark.parametrize(("shape", "exponent"), [("point", 0.4), ("line", 0.5)])
def test_strong_blast_is_recovered(shape: str, exponent: float) -> None:
    t = np.geomspace(1e-8, 8e-8, 12)
    fit = f.fit_blast(t, f.blast_radius(t, 5.0, 1.204, shape), shape=shape)
    assert fit.exponent == pytest.approx(exponent)
    assert fit.energy_j == pytest.approx(5.0)
    assert fit.valid
    assert fit.reason == ""
    assert all(fit.strong)


def test_weak_part_is_left_out_and_told() -> None:
    t = np.geomspace(1e-6, 1e-3, 12)
    fit = f.fit_blast(t, f.blast_radius(t, 1.0, 1.204))
    assert not fit.valid
    assert "slower than Mach 3" in fit.reason
    assert 0 < sum(fit.strong) < 12
    assert fit.energy_j == pytest.approx(1.0)


def test_sound_only_has_no_energy() -> None:
    t = np.linspace(1e-3, 2e-3, 5)
    fit = f.fit_blast(t, 343.0 * t)
    assert fit.energy_j is None
    assert not fit.valid


def test_wrong_start_time_is_told() -> None:
    t = np.geomspace(1e-8, 8e-8, 12)
    fit = f.fit_blast(t + 4e-8, f.blast_radius(t, 50.0, 1.204))
    assert not fit.valid
    assert "start time" in fit.reason


@pytest.mark.parametrize(
    ("t", "r", "words"),
    [
        ([1.0, 2.0], [1.0, 2.0], "at least 3"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], "same time"),
        ([1.0, 2.0, np.nan], [1.0, 2.0, 3.0], "finite"),
    ],
)
def test_refusals(t: list[float], r: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        f.fit_front(np.array(t), np.array(r))


def test_blast_refuses_time_zero() -> None:
    with pytest.raises(ValueError, match="above zero"):
        f.fit_blast(np.array([0.0, 1.0, 2.0]), np.array([1.0, 2.0, 3.0]))
