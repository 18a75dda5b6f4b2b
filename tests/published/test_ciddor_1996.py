"""P. E. Ciddor, 1996, "Refractive index of air: new equations for the visible and near infrared",
Appl. Opt. 35:1566, and E. R. Peck, K. Reeder, 1972, "Dispersion of air", J. Opt. Soc. Am. 62:958.

The dry-air values are the papers' formulas worked out by hand here; moist air is held against the
library ``ref_index``, whose author checked it with the figures of the NIST toolbox. Peck and
Reeder come from ``colour-science``.
"""

from __future__ import annotations

import colour
import pytest
import ref_index
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics.gas import air_refractivity


@pytest.mark.parametrize(
    ("micrometres", "value"),
    [
        (0.4500, 28053.336),
        (0.5000, 27897.381),
        (0.5500, 27783.764),
        (0.5893, 27714.732),
        (0.6330, 27653.021),
    ],
)
def test_standard_dry_air(micrometres: float, value: float) -> None:
    found = air_refractivity(288.15, 101325.0, micrometres * 1e-6) * 1e8
    assert found == pytest.approx(value, abs=0.01)  # digits of the values
    peck = (colour.phenomena.rayleigh.air_refraction_index_Peck1972(micrometres) - 1.0) * 1e8
    # the older formula is for 330 ppm of carbon dioxide instead of 450
    assert found == pytest.approx(peck, abs=2.0)


@given(
    nanometres=st.floats(350.0, 1500.0),
    celsius=st.floats(-39.0, 99.0),
    kilopascals=st.floats(80.0, 120.0),
    co2=st.floats(300.0, 600.0),
)
def test_dry_air(nanometres: float, celsius: float, kilopascals: float, co2: float) -> None:
    index = ref_index.ciddor(nanometres, celsius, kilopascals * 1e3, 0.0, co2)
    found = air_refractivity(celsius + 273.15, kilopascals * 1e3, nanometres * 1e-9, co2_ppm=co2)
    assert found == pytest.approx(index - 1.0, abs=1e-13)  # rounding of an index near 1


@given(
    nanometres=st.floats(350.0, 1500.0),
    celsius=st.floats(0.1, 60.0),
    kilopascals=st.floats(80.0, 120.0),
    humidity=st.floats(0.0, 1.0),
)
def test_moist_air(nanometres: float, celsius: float, kilopascals: float, humidity: float) -> None:
    index = ref_index.ciddor(nanometres, celsius, kilopascals * 1e3, humidity * 100.0, 450.0)
    found = air_refractivity(
        celsius + 273.15, kilopascals * 1e3, nanometres * 1e-9, humidity=humidity
    )
    # the library takes a newer formula for the vapour's pressure; Ciddor claims 2e-8 himself
    assert found == pytest.approx(index - 1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("nanometres", "celsius", "pascals", "humidity", "value"),
    [
        (633.0, 20.0, 101325.0, 0.0, 271.800),
        (633.0, 20.0, 101325.0, 0.5, 271.373),
        (633.0, 50.0, 100e3, 0.0, 243.285),
        (633.0, 5.0, 100e3, 0.0, 282.756),
        (589.3, 0.0, 101325.0, 0.0, 292.418),
        (589.3, 20.0, 101325.0, 0.0, 272.406),
    ],
)
def test_other_states(
    nanometres: float, celsius: float, pascals: float, humidity: float, value: float
) -> None:
    found = air_refractivity(celsius + 273.15, pascals, nanometres * 1e-9, humidity=humidity)
    assert found * 1e6 == pytest.approx(value, abs=0.002)  # ten times the equations' claim
