"""Will it be seen? Noise, diffraction and the range against flows that have a name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from liveview.optics.air import Air
from liveview.optics.blade import LampShape, position_from_uncut, uncut_from_position
from liveview.optics.deflection import (
    NOISE_EQUIVALENT,
    SEEN_BY_EYE,
    angle_range,
    contrast_from_angle,
    diffraction_spread,
)
from liveview.optics.fronts import normal_shock
from liveview.optics.gas import GASES, temperature_slope_deflection
from liveview.optics.plume import gaussian_plume_angle
from liveview.optics.sound import sound_speed
from liveview.units import number_text


@dataclass(frozen=True, slots=True)
class NamedFlow:
    """A flow people want to see, and about how much it bends light in one pass.

    ``feature_m`` is the size of what is to be made out, ``speed_m_s`` how fast it moves.
    ``origin`` says from which formula and which assumed figures ``angle_rad`` comes.
    """

    name: str
    angle_rad: float
    feature_m: float
    speed_m_s: float
    origin: str


def _plume(name: str, warmer_k: float, size_m: float, speed_m_s: float, why: str) -> _Maker:
    def make(air: Air) -> NamedFlow:
        change = -air.refractivity * warmer_k / (air.temperature_k + warmer_k)
        origin = (
            f"round plume of Gaussian profile, {warmer_k:g} K warmer than the room on its axis "
            f"({why}): 1.52 times the index change"
        )
        return NamedFlow(name, gaussian_plume_angle(change), size_m, speed_m_s, origin)

    return make


def _skin(name: str, skin_k: float, deep_m: float, thick_m: float, speed_m_s: float) -> _Maker:
    def make(air: Air) -> NamedFlow:
        slope = abs(skin_k - air.temperature_k) / thick_m
        angle = abs(
            temperature_slope_deflection(deep_m, slope, air.temperature_k, air.refractivity)
        )
        origin = (
            f"layer {thick_m * 1e3:g} mm thick against skin at {skin_k - 273.15:g} C, "
            f"{deep_m * 1e3:g} mm deep along the light: W (n-1)/T dT/dx"
        )
        return NamedFlow(name, angle, thick_m, speed_m_s, origin)

    return make


def _jet(name: str, gas_name: str, share: float, size_m: float, speed_m_s: float) -> _Maker:
    gas = GASES[gas_name]

    def make(air: Air) -> NamedFlow:
        pure = gas.refractivity(air.temperature_k, air.pressure_pa)
        change = share * (pure - air.refractivity)
        origin = (
            f"round jet, {share * 100:g} % {gas_name} on its axis at the room's temperature, "
            "Gaussian profile: 1.52 times the index change"
        )
        return NamedFlow(name, gaussian_plume_angle(change), size_m, speed_m_s, origin)

    return make


def _front(name: str, mach: float, radius_m: float, thick_m: float) -> _Maker:
    def make(air: Air) -> NamedFlow:
        change = air.refractivity * (normal_shock(mach).density - 1.0)
        angle = 2.0 * change * math.sqrt(radius_m / (2.0 * thick_m))
        origin = (
            f"spherical step of radius {radius_m * 1e3:g} mm at Mach {mach:g}, seen "
            f"{thick_m * 1e3:g} mm inside its rim: 2 dn sqrt(R/(2 d))"
        )
        speed = mach * sound_speed(air.temperature_k)
        return NamedFlow(name, angle, thick_m, speed, origin)

    return make


_Maker = Callable[[Air], NamedFlow]

_FLOWS: tuple[_Maker, ...] = (
    _plume("draught of a person nearby", 0.5, 0.200, 0.1, "assumed"),
    _plume("warm air rising from a hand", 5.0, 0.060, 0.2, "plume of about 5 W, 0.3 m up"),
    _skin("air at the skin of a hand", 306.15, 0.080, 0.008, 0.1),
    _plume("breath", 7.0, 0.040, 1.0, "air of 34 C thinned to half"),
    _plume("hot air from a hair dryer", 40.0, 0.040, 8.0, "assumed"),
    _plume("plume of a candle", 500.0, 0.010, 1.0, "some centimetres above the flame"),
    _jet("carbon dioxide flowing down", "carbon dioxide", 0.30, 0.030, 0.3),
    _jet("unburnt gas of a lighter", "butane", 0.30, 0.005, 1.0),
    _jet("jet of helium", "helium", 0.70, 0.008, 5.0),
    _front("blast front of a small spark", 1.1, 0.050, 0.002),
)


def named_flows(air: Air) -> tuple[NamedFlow, ...]:
    """The flows that have a name, for the air of this room; weakest sort of flow first."""
    return tuple(make(air) for make in _FLOWS)


def flow_names() -> tuple[str, ...]:
    """Names of the flows."""
    return tuple(flow.name for flow in named_flows(Air()))


def noise_of_contrast(
    uncut: float, open_snr: float, averaged: int = 1, reference_frames: int = 64
) -> float:
    """Standard deviation of the contrast of one pixel where photons make the noise.

    Light falls with the uncut fraction, so ``sqrt(1/n + 1/n_ref)/(SNR sqrt(T0))``.

    Parameters
    ----------
    open_snr : float
        Mean over standard deviation of one pixel of one frame with the blade out.
    averaged, reference_frames : int
        Frames averaged in the picture and in the reference.
    """
    frames = math.sqrt(1.0 / averaged + 1.0 / reference_frames)
    return frames / (open_snr * math.sqrt(uncut))


class Verdict(str, Enum):
    """What becomes of a flow at one cutoff."""

    NO = "no"
    """Less than the noise."""
    PERHAPS = "perhaps"
    """Above the noise but below what an eye accepts, or below the diffraction spread."""
    YES = "yes"
    BEYOND = "beyond the range"
    """Seen, but its strongest parts are fully dark or fully bright."""


@dataclass(frozen=True, slots=True)
class Visibility:
    """One flow on one rig at one cutoff.

    ``contrast`` is that of its strongest part where it brightens, ``signal`` the weaker of its
    bright and dark contrast over the noise. ``uncut_from`` to ``uncut_to`` are the uncut
    fractions at which it is seen whole (signal at least ``k``, inside the range), None where
    there is none. ``below_diffraction``: less than one wave of path over its size, so that no
    figure may be promised.
    """

    flow: NamedFlow
    contrast: float
    signal: float
    k: float
    verdict: Verdict
    below_diffraction: bool
    uncut_from: float | None
    uncut_to: float | None


def visibility(
    flow: NamedFlow,
    arms_m: float,
    width_m: float,
    uncut: float,
    shape: LampShape = "slit",
    *,
    open_snr: float = 100.0,
    averaged: int = 1,
    wavelength_m: float = 550e-9,
    k: float = SEEN_BY_EYE,
) -> Visibility:
    """Whether a flow will be seen on this rig, and at which cutoffs it would be.

    Parameters
    ----------
    arms_m, width_m, uncut, shape
        As in ``optics.deflection``.
    open_snr, averaged
        As in ``noise_of_contrast``.
    k : float
        Contrast over noise that counts as seen (Rose 1948: 3 to 5).
    """
    bright = contrast_from_angle(flow.angle_rad, arms_m, width_m, uncut, shape)
    dark = contrast_from_angle(-flow.angle_rad, arms_m, width_m, uncut, shape)
    signal = min(bright, -dark) / noise_of_contrast(uncut, open_snr, averaged)
    low, high = angle_range(arms_m, width_m, uncut, shape)
    below = flow.angle_rad < diffraction_spread(wavelength_m, flow.feature_m)
    cutoffs = _good_cutoffs(flow, arms_m, width_m, shape, open_snr, averaged, k)
    return Visibility(
        flow=flow,
        contrast=bright,
        signal=signal,
        k=k,
        verdict=_verdict(signal, k, not low <= -flow.angle_rad < flow.angle_rad <= high, below),
        below_diffraction=below,
        uncut_from=cutoffs[0],
        uncut_to=cutoffs[1],
    )


def _verdict(signal: float, k: float, beyond: bool, below_diffraction: bool) -> Verdict:
    if beyond:
        return Verdict.BEYOND
    if signal < NOISE_EQUIVALENT:
        return Verdict.NO
    if signal < k or below_diffraction:
        return Verdict.PERHAPS
    return Verdict.YES


def verdict_words(seen: Visibility) -> str:
    """A few words on whether a flow will be seen at the cutoff of the plan."""
    noise = f"{number_text(seen.signal, 2)} times the noise"
    if seen.verdict is Verdict.NO:
        return f"no: {noise}"
    if seen.verdict is Verdict.BEYOND:
        return "yes, but beyond the range"
    if seen.verdict is Verdict.YES:
        return f"yes: contrast {number_text(seen.contrast, 2)}"
    return f"perhaps: {'under its diffraction' if seen.below_diffraction else noise}"


def whole_words(seen: Visibility) -> str:
    """At which uncut fractions a flow is seen whole: its sign above the noise, in the range."""
    if seen.uncut_from is None or seen.uncut_to is None:
        return "whole at no cut"
    low, high = round(seen.uncut_from * 100), round(seen.uncut_to * 100)
    return f"whole with {low} to {high} % uncut"


_CUTOFFS = np.linspace(0.05, 0.95, 91)


def _good_cutoffs(
    flow: NamedFlow,
    arms_m: float,
    width_m: float,
    shape: LampShape,
    open_snr: float,
    averaged: int,
    k: float,
) -> tuple[float | None, float | None]:
    """Least and most uncut fraction, to 1 %, at which the flow is seen whole."""
    edge = position_from_uncut(_CUTOFFS, width_m, shape)
    shift = arms_m * flow.angle_rad
    bright = uncut_from_position(edge - shift, width_m, shape) / _CUTOFFS - 1.0
    dark = 1.0 - uncut_from_position(edge + shift, width_m, shape) / _CUTOFFS
    sigma = noise_of_contrast(1.0, open_snr, averaged) / np.sqrt(_CUTOFFS)
    seen = np.minimum(bright, dark) >= k * sigma
    good = _CUTOFFS[seen & (edge - shift >= 0.0) & (edge + shift <= width_m)]
    return (float(good[0]), float(good[-1])) if len(good) else (None, None)
