"""Gas: refractive index, Gladstone-Dale constants, ideal gas, slab of gas."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from liveview.optics.numbers import FloatArray, FloatOrArray, same_kind

GAS_CONSTANT = 8.314462618
"""Molar gas constant, J/(mol K), exact since 2019."""

NORMAL_PRESSURE_PA = 101325.0


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas people use before a schlieren mirror.

    ``gladstone_dale`` is k of ``n - 1 = k rho`` in m^3/kg near 589 nm, ``k_error`` how far off
    it may be (relative), ``molar_mass`` in kg/mol, ``source`` where k comes from.
    """

    name: str
    gladstone_dale: float
    k_error: float
    molar_mass: float
    source: str

    def density(self, temperature_k: float, pressure_pa: float = NORMAL_PRESSURE_PA) -> float:
        """Density as an ideal gas, kg/m^3."""
        return ideal_density(temperature_k, pressure_pa, self.molar_mass)

    def refractivity(self, temperature_k: float, pressure_pa: float = NORMAL_PRESSURE_PA) -> float:
        """``n - 1`` at this state."""
        return self.gladstone_dale * self.density(temperature_k, pressure_pa)


_DISPERSION = "published dispersion formula over the density at the same state: "
_LIQUID = "Lorentz-Lorenz from the liquid's index (handbook)"

AIR = Gas("air", 2.261e-4, 0.005, 0.0289655, _DISPERSION + "Ciddor (1996)")

GASES = MappingProxyType(
    {
        gas.name: gas
        for gas in (
            AIR,
            Gas("helium", 1.956e-4, 0.01, 0.004002602, _DISPERSION + "Mansfield & Peck (1969)"),
            Gas("argon", 1.579e-4, 0.005, 0.039948, _DISPERSION + "Peck & Fisher (1964)"),
            Gas("carbon dioxide", 2.272e-4, 0.01, 0.0440095, _DISPERSION + "Old et al. (1971)"),
            Gas("methane", 6.185e-4, 0.01, 0.0160425, _DISPERSION + "Loria (1909)"),
            Gas(
                "sulphur hexafluoride",
                1.166e-4,
                0.02,
                0.1460554,
                _DISPERSION + "Vukovic et al. (1996), extrapolated below 0.6 um",
            ),
            Gas("propane", 5.42e-4, 0.02, 0.0440956, _LIQUID),
            Gas("butane", 5.33e-4, 0.02, 0.0581222, _LIQUID),
            Gas("difluoroethane", 2.5e-4, 0.07, 0.0660500, _LIQUID),
        )
    }
)
"""Gases by name."""


def ideal_density(
    temperature_k: float, pressure_pa: float, molar_mass: float = AIR.molar_mass
) -> float:
    """``rho = p M/(R T)``, kg/m^3."""
    return pressure_pa * molar_mass / (GAS_CONSTANT * temperature_k)


def temperature_from_density(
    density: FloatOrArray, pressure_pa: float, molar_mass: float = AIR.molar_mass
) -> FloatOrArray:
    """``T = p M/(R rho)``, kelvin; NaN where the density is not above zero."""
    rho = np.asarray(density, dtype=np.float64)
    positive = np.where(rho > 0.0, rho, np.nan)
    return same_kind(density, pressure_pa * molar_mass / (GAS_CONSTANT * positive))


CIDDOR_COLDEST_K = 273.15 - 40.0
CIDDOR_HOTTEST_K = 273.15 + 100.0


def air_refractivity(
    temperature_k: float = 293.15,
    pressure_pa: float = NORMAL_PRESSURE_PA,
    wavelength_m: float = 550e-9,
    *,
    humidity: float = 0.0,
    co2_ppm: float = 450.0,
) -> float:
    """``n - 1`` of air (Ciddor 1996, Appl. Opt. 35:1566, appendices A and B).

    Outside -40 to 100 C, where the equations end, the value at the nearer end is scaled as an
    ideal gas, ``1/T``, with the moisture's share kept.

    Parameters
    ----------
    wavelength_m : float
        In vacuum; the equations hold from 0.3 to 1.7 um.
    humidity : float
        Relative, 0..1, over water.
    """
    within = min(max(temperature_k, CIDDOR_COLDEST_K), CIDDOR_HOTTEST_K)
    value = _ciddor(within, pressure_pa, wavelength_m, humidity, co2_ppm)
    return value * within / temperature_k


def _ciddor(t_k: float, p_pa: float, wavelength_m: float, humidity: float, co2: float) -> float:
    s = (1e-6 / wavelength_m) ** 2
    standard = 1e-8 * (5792105.0 / (238.0185 - s) + 167917.0 / (57.362 - s))
    dry = standard * (1.0 + 0.534e-6 * (co2 - 450.0))
    vapour = 1.022e-8 * (295.235 + s * (2.6422 + s * (-0.032380 + s * 0.004028)))
    mass_dry = 1e-3 * (28.9635 + 12.011e-6 * (co2 - 400.0))
    mass_water = 0.018015
    share = _water_share(t_k, p_pa, humidity)
    dry_density = mass_dry * (1.0 - share) * _molar_density(t_k, p_pa, share)
    wet_density = mass_water * share * _molar_density(t_k, p_pa, share)
    dry_standard = mass_dry * _molar_density(288.15, 101325.0, 0.0)
    wet_standard = mass_water * _molar_density(293.15, 1333.0, 1.0)
    return dry * dry_density / dry_standard + vapour * wet_density / wet_standard


def saturation_pressure(temperature_k: float) -> float:
    """Pressure of saturated water vapour over water, Pa (Giacomo 1982, as used by Ciddor)."""
    t = temperature_k
    return math.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def _water_share(t_k: float, p_pa: float, humidity: float) -> float:
    """Mole fraction of water vapour."""
    celsius = t_k - 273.15
    enhancement = 1.00062 + 3.14e-8 * p_pa + 5.6e-7 * celsius * celsius
    return enhancement * humidity * saturation_pressure(t_k) / p_pa


def _molar_density(t_k: float, p_pa: float, share: float) -> float:
    """Moles of moist air per cubic metre, with Ciddor's compressibility and gas constant."""
    c = t_k - 273.15
    ratio = p_pa / t_k
    linear = (
        1.58123e-6
        + c * (-2.9331e-8 + c * 1.1043e-10)
        + (5.707e-6 - 2.051e-8 * c) * share
        + (1.9898e-4 - 2.376e-6 * c) * share * share
    )
    compressibility = 1.0 - ratio * linear + ratio * ratio * (1.83e-11 - 0.765e-8 * share * share)
    return ratio / (8.314510 * compressibility)


def air_gladstone_dale(wavelength_m: float = 550e-9) -> float:
    """k of dry air at this wavelength: Ciddor's ``n - 1`` at 15 C over its density there."""
    density = 1e-3 * 28.9641 * _molar_density(288.15, 101325.0, 0.0)
    return air_refractivity(288.15, 101325.0, wavelength_m) / density


def slab_deflection(width_m: float, index_slope: FloatOrArray, index: float = 1.0) -> FloatOrArray:
    """Angle by which a slab ``width_m`` deep along the light bends it: ``(W/n0) dn/dx``, rad.

    Towards the higher index.
    """
    return same_kind(index_slope, width_m / index * np.asarray(index_slope, dtype=np.float64))


def temperature_slope_deflection(
    width_m: float, slope_k_m: float, temperature_k: float, refractivity: float
) -> float:
    """Angle of a slab of air with a temperature slope at constant pressure, radians.

    ``eps = -W (n-1)/T dT/dx``: light bends towards the colder side.
    """
    return -width_m * refractivity / temperature_k * slope_k_m


@dataclass(frozen=True, slots=True)
class SlabProfile:
    """Profile across a slab of gas, from the side where its state is known.

    ``index_change`` is ``n - n(known)``; ``index_sigma`` its standard deviation from the noise
    of the angles; ``temperature_k`` and ``temperature_sigma_k`` at constant pressure.
    """

    x_m: FloatArray
    index_change: FloatArray
    index_sigma: FloatArray
    density: FloatArray
    temperature_k: FloatArray
    temperature_sigma_k: FloatArray
    assumptions: tuple[str, ...]


def slab_from_deflection(
    x_m: FloatArray,
    eps_rad: FloatArray,
    width_m: float,
    *,
    known_first: bool = True,
    temperature_k: float = 293.15,
    pressure_pa: float = NORMAL_PRESSURE_PA,
    wavelength_m: float = 550e-9,
    eps_sigma_rad: float = 0.0,
) -> SlabProfile:
    """Index, density and temperature across a slab of air from the angle of each point.

    Parameters
    ----------
    x_m : array (n,)
        Places across the slab, increasing.
    eps_rad : array (n,)
        Angle of one pass, positive towards increasing x.
    width_m : float
        Depth W of the slab along the light.
    known_first : bool
        Whether the first (else the last) point has the temperature ``temperature_k``.
    eps_sigma_rad : float
        Noise of each angle, independent from point to point.
    """
    slope = np.asarray(eps_rad, dtype=np.float64) / width_m
    steps = np.diff(np.asarray(x_m, dtype=np.float64))
    weights = np.zeros((len(slope), len(slope)))
    for row, step in enumerate(steps, start=1):
        weights[row] = weights[row - 1]
        weights[row, row - 1 : row + 1] += step / 2.0
    if not known_first:
        weights = weights - weights[-1]
    change = weights @ slope
    sigma = np.sqrt((weights**2).sum(axis=1)) * eps_sigma_rad / width_m
    ambient = air_refractivity(temperature_k, pressure_pa, wavelength_m)
    temperature = temperature_from_index(change, ambient, temperature_k)
    density0 = ideal_density(temperature_k, pressure_pa)
    return SlabProfile(
        np.asarray(x_m, dtype=np.float64),
        change,
        sigma,
        density0 * (1.0 + change / ambient),
        temperature,
        temperature**2 / (temperature_k * ambient) * sigma,
        (
            f"the gas is {width_m:g} m deep along the light and the same through its depth",
            "air of unchanged composition at the room's pressure",
            f"the {'first' if known_first else 'last'} point is at {temperature_k:.1f} K",
        ),
    )


def temperature_from_index(
    index_change: FloatOrArray, ambient_refractivity: float, ambient_k: float
) -> FloatOrArray:
    """Temperature at constant pressure and composition: ``T0 (n0-1)/(n0-1 + dn)``, kelvin.

    NaN where the change would take away more than all of the gas.
    """
    left = ambient_refractivity + np.asarray(index_change, dtype=np.float64)
    left = np.where(left > 0.0, left, np.nan)
    return same_kind(index_change, ambient_k * ambient_refractivity / left)


def share_from_index(
    index_change: FloatOrArray, gas: Gas, ambient: float, at: float
) -> FloatOrArray:
    """Mole fraction of another gas mixed into air at the same temperature and pressure.

    Parameters
    ----------
    index_change : float or array
        ``n`` minus that of the room's air.
    ambient : float
        ``n - 1`` of the room's air.
    at : float
        ``n - 1`` of the pure gas at the same state (``gas.refractivity(T, p)``).

    Raises
    ------
    ValueError
        The gas has the index of air, so nothing can be told.
    """
    difference = at - ambient
    if abs(difference) < 0.02 * ambient:
        raise ValueError(f"{gas.name} bends light like air; its share cannot be seen")
    return same_kind(index_change, np.asarray(index_change, dtype=np.float64) / difference)
