"""O. Cramer, 1993, "The variation of the specific heat ratio and the speed of sound in air with
temperature, pressure, humidity, and CO2 concentration", J. Acoust. Soc. Am. 93:2510.

Against the coefficients as coded in the library ``pyfar`` (the paper was not read again), and the
thermodynamics library CoolProp.
"""

from __future__ import annotations

import pyfar
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics.sound import sound_delay, sound_speed, sound_speed_cramer


@pytest.mark.slow
@given(
    celsius=st.floats(0.0, 30.0),
    humidity=st.floats(0.0, 1.0),
    kilopascals=st.floats(76.0, 101.9),
    co2=st.floats(200.0, 5000.0),
)
def test_against_pyfar(celsius: float, humidity: float, kilopascals: float, co2: float) -> None:
    theirs = pyfar.constants.speed_of_sound_cramer(celsius, humidity, co2, kilopascals * 1e3)
    ours = sound_speed_cramer(celsius + 273.15, humidity, kilopascals * 1e3, co2)
    assert ours == pytest.approx(float(theirs), abs=0.01)  # they round some constants


@pytest.mark.parametrize(
    ("celsius", "simple", "delay_us", "dry", "humid"),
    [
        (0.0, 331.300, 3018.41, 331.446, 331.601),
        (20.0, 343.215, 2913.63, 343.357, 343.984),
        (25.0, 346.129, 2889.10, 346.265, 347.124),
    ],
)
def test_table(celsius: float, simple: float, delay_us: float, dry: float, humid: float) -> None:
    kelvin = celsius + 273.15
    assert sound_speed(kelvin) == pytest.approx(simple, abs=0.001)
    assert sound_delay(1.0, kelvin) * 1e6 == pytest.approx(delay_us, abs=0.01)
    assert sound_speed_cramer(kelvin) == pytest.approx(dry, abs=0.01)
    assert sound_speed_cramer(kelvin, 0.5) == pytest.approx(humid, abs=0.015)  # vapour formula
    assert sound_speed(kelvin) == pytest.approx(dry, abs=0.2)
    thermodynamic = PropsSI("A", "T", kelvin, "P", 101325.0, "Air")
    assert sound_speed_cramer(kelvin) == pytest.approx(thermodynamic, abs=0.05)
