"""Gas: ideal gas, humidity, slabs, mixtures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics import gas as g


@given(temperature=st.floats(200.0, 3000.0))
def test_temperature_round_trips_through_density(temperature: float) -> None:
    density = g.ideal_density(temperature, 101325.0)
    assert g.temperature_from_density(density, 101325.0) == pytest.approx(temperature)


@given(temperature=st.floats(200.0, 3000.0))
def test_temperature_round_trips_through_index(temperature: float) -> None:
    ambient = 2.7e-4
    change = ambient * (293.15 / temperature - 1.0)
    assert g.temperature_from_index(change, ambient, 293.15) == pytest.approx(temperature)


def test_no_temperature_without_gas() -> None:
    assert math.isnan(g.temperature_from_index(-3e-4, 2.7e-4, 293.15))
    assert math.isnan(g.temperature_from_density(0.0, 101325.0))


def test_refractivity_goes_with_pressure_and_falls_with_heat() -> None:
    assert g.air_refractivity(293.15, 50000.0) == pytest.approx(
        g.air_refractivity(293.15, 100000.0) / 2.0, rel=3e-4
    )  # compressibility
    hot = [g.air_refractivity(kelvin) for kelvin in (233.0, 293.0, 373.0, 374.0, 1000.0)]
    assert hot == sorted(hot, reverse=True)


def test_no_step_where_ciddors_equations_end() -> None:
    below, above = (g.air_refractivity(g.CIDDOR_HOTTEST_K + d) for d in (-0.01, 0.01))
    assert above == pytest.approx(below, rel=1e-4)  # 0.02 K of 373 K


def test_gladstone_dale_of_air_agrees_with_the_table() -> None:
    assert g.air_gladstone_dale(589.3e-9) == pytest.approx(g.AIR.gladstone_dale, rel=5e-4)
    assert g.air_gladstone_dale(450e-9) > g.air_gladstone_dale(650e-9)


def test_helium_bends_the_other_way_than_carbon_dioxide() -> None:
    air = g.AIR.refractivity(293.15)
    assert (
        g.GASES["helium"].refractivity(293.15)
        < air
        < g.GASES["carbon dioxide"].refractivity(293.15)
    )


def test_light_bends_towards_the_cold() -> None:
    assert g.temperature_slope_deflection(0.1, 1000.0, 293.15, 272.4e-6) == pytest.approx(
        -9.292e-5, rel=1e-4
    )
    slope = -272.4e-6 / 293.15 * 1000.0
    assert g.slab_deflection(0.1, slope) == pytest.approx(-9.292e-5, rel=1e-4)
    assert g.slab_deflection(0.1, np.zeros(3)) == pytest.approx(np.zeros(3))


def slab(known_first: bool) -> tuple[np.ndarray, np.ndarray]:
    """A layer from 293.15 K to 393.15 K and the angles it makes, 0.05 m deep."""
    x = np.linspace(0.0, 0.02, 401)
    rise = 50.0 * (1.0 + np.tanh((x - 0.01) / 0.002))
    kelvin = 293.15 + (rise if known_first else rise[::-1])
    index = g.air_refractivity(293.15) * 293.15 / kelvin
    return kelvin, 0.05 * np.gradient(index, x)


@pytest.mark.parametrize("known_first", [True, False])
def test_slab_gives_its_temperatures_back(known_first: bool) -> None:
    x = np.linspace(0.0, 0.02, 401)
    kelvin, eps = slab(known_first)
    profile = g.slab_from_deflection(x, eps, 0.05, known_first=known_first, eps_sigma_rad=1e-7)
    assert profile.temperature_k == pytest.approx(kelvin, abs=0.1)  # differences over 50 um
    assert profile.density == pytest.approx(
        g.ideal_density(293.15, 101325.0) * 293.15 / kelvin, rel=1e-3
    )
    known, far = (0, -1) if known_first else (-1, 0)
    assert profile.index_sigma[known] == 0.0
    assert profile.index_sigma[far] > 0.0
    assert any("deep" in words for words in profile.assumptions)


def test_slab_error_is_that_of_repeated_noise() -> None:
    x = np.linspace(0.0, 0.02, 101)
    rng = np.random.default_rng(7)
    runs = [
        g.slab_from_deflection(x, rng.normal(0.0, 1e-6, 101), 0.05).index_change for _ in range(400)
    ]
    told = g.slab_from_deflection(x, np.zeros(101), 0.05, eps_sigma_rad=1e-6).index_sigma
    # a standard deviation of 400 runs is known to 1/sqrt(800) = 3.5 %; three of those
    assert np.std(runs, axis=0)[1:] == pytest.approx(told[1:], rel=0.11)


def test_share_of_a_gas_in_air() -> None:
    helium = g.GASES["helium"].refractivity(293.15)
    air = g.air_refractivity(293.15)
    assert g.share_from_index(
        0.4 * (helium - air), g.GASES["helium"], air, helium
    ) == pytest.approx(0.4)
    with pytest.raises(ValueError, match="like air"):
        g.share_from_index(1e-6, g.AIR, air, air * 1.001)
