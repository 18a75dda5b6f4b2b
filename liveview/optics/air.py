"""The still air of a room and the light that crosses it."""

from __future__ import annotations

from dataclasses import dataclass

from liveview.optics.gas import air_refractivity, ideal_density
from liveview.optics.sound import sound_speed


@dataclass(frozen=True, slots=True)
class Air:
    """Temperature (K), pressure (Pa) and wavelength (m); 20 degrees C, one atmosphere, green."""

    temperature_k: float = 293.15
    pressure_pa: float = 101325.0
    wavelength_m: float = 550e-9

    @property
    def refractivity(self) -> float:
        """``n0 - 1``."""
        return air_refractivity(self.temperature_k, self.pressure_pa, self.wavelength_m)

    @property
    def density(self) -> float:
        """kg/m^3."""
        return ideal_density(self.temperature_k, self.pressure_pa)

    @property
    def sound_speed(self) -> float:
        """m/s."""
        return sound_speed(self.temperature_k)

    def warmed(self, excess_k: float) -> float:
        """Index change of air warmed by this much at constant pressure: ``-(n0-1) dT/(T+dT)``."""
        return -self.refractivity * excess_k / (self.temperature_k + excess_k)
