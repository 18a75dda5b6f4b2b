"""Sound in air: its speed, and how long it takes. The trigger may import this, too."""

from __future__ import annotations

import math

from liveview.optics.gas import saturation_pressure


def sound_speed(temperature_k: float) -> float:
    """Speed of sound in dry air, ``331.3 sqrt(T/273.15)`` m/s; good to 0.2 m/s near 20 C."""
    return 331.3 * math.sqrt(temperature_k / 273.15)


def sound_delay(distance_m: float, temperature_k: float) -> float:
    """Seconds a crack needs to reach a microphone at this distance: 2.9 ms a metre at 20 C."""
    return distance_m / sound_speed(temperature_k)


def sound_speed_cramer(
    temperature_k: float,
    humidity: float = 0.0,
    pressure_pa: float = 101325.0,
    co2_ppm: float = 425.0,
) -> float:
    """Speed of sound in moist air, m/s (Cramer 1993, J. Acoust. Soc. Am. 93:2510, eq. 15).

    For 0 to 30 C, 75 to 102 kPa, up to 1 % carbon dioxide.

    Parameters
    ----------
    humidity : float
        Relative, 0..1.
    """
    t = temperature_k - 273.15
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * t * t
    x = humidity * enhancement * saturation_pressure(temperature_k) / pressure_pa
    c = co2_ppm * 1e-6
    p = pressure_pa
    return (
        331.5024
        + 0.603055 * t
        - 0.000528 * t * t
        + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * x
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * c
        - 2.835149 * x * x
        - 2.15e-13 * p * p
        + 29.179762 * c * c
        + 0.000486 * x * p * c
    )
