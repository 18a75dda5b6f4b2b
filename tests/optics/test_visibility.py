"""Named flows, noise, and verdicts that keep their word."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics import visibility as v
from liveview.optics.deflection import angle_range, contrast_from_angle
from liveview.units import rad_to_arcsec

FLOWS = {flow.name: flow for flow in v.named_flows(v.Air())}


def test_every_flow_has_an_origin_and_sensible_figures() -> None:
    assert set(v.flow_names()) == set(FLOWS)
    for flow in FLOWS.values():
        assert 0.05 < rad_to_arcsec(flow.angle_rad) < 300.0
        assert flow.feature_m > 0.0
        assert flow.speed_m_s > 0.0
        assert len(flow.origin) > 20


def test_a_hand_by_hand() -> None:
    """5 K in a round plume: 1.52 (n-1) 5/298, n - 1 from Ciddor's 277.84e-6 at 15 C."""
    expected = 1.5203 * 277.84e-6 * 288.15 / 293.15 * 5.0 / 298.15
    assert FLOWS["warm air rising from a hand"].angle_rad == pytest.approx(expected, rel=1e-3)


def test_thin_air_bends_less() -> None:
    high = {flow.name: flow for flow in v.named_flows(v.Air(pressure_pa=60000.0))}
    name = "plume of a candle"
    assert high[name].angle_rad == pytest.approx(FLOWS[name].angle_rad * 60000 / 101325, rel=1e-3)


def test_noise_grows_with_cutoff_and_falls_with_averaging() -> None:
    one = v.noise_of_contrast(1.0, 100.0, 1, 10**9)
    assert one == pytest.approx(0.01)
    assert v.noise_of_contrast(0.25, 100.0, 1, 10**9) == pytest.approx(0.02)
    assert v.noise_of_contrast(1.0, 100.0, 16, 10**9) == pytest.approx(0.0025)
    # averaging cannot beat the noise of the reference
    assert v.noise_of_contrast(1.0, 100.0, 10**9, 64) == pytest.approx(0.01 / 8)


def test_noise_against_photons_drawn() -> None:
    rng = np.random.default_rng(9)
    electrons, uncut = 10_000.0, 0.4
    frames = rng.poisson(electrons * uncut, (4, 200_000)).mean(axis=0)
    reference = rng.poisson(electrons * uncut, (16, 200_000)).mean(axis=0)
    sigma = np.std(frames / reference - 1.0)
    # 200 000 draws: 0.2 %; the ratio's second order: 0.1 %
    assert v.noise_of_contrast(uncut, math.sqrt(electrons), 4, 16) == pytest.approx(sigma, rel=0.01)


def verdict(angle: float, **changes: float) -> v.Visibility:
    flow = replace(FLOWS["plume of a candle"], angle_rad=angle, feature_m=1.0)
    return v.visibility(flow, 4.8, 1e-3, 0.5, **changes)


def test_verdicts_in_order() -> None:
    sigma = v.noise_of_contrast(0.5, 100.0)
    per_contrast = 1e-3 * 0.5 / 4.8
    assert verdict(0.5 * sigma * per_contrast).verdict is v.Verdict.NO
    assert verdict(2.0 * sigma * per_contrast).verdict is v.Verdict.PERHAPS
    assert verdict(6.0 * sigma * per_contrast).verdict is v.Verdict.YES
    assert verdict(1.01 * per_contrast).verdict is v.Verdict.BEYOND


def test_nothing_is_promised_below_the_diffraction_spread() -> None:
    flow = replace(FLOWS["plume of a candle"], angle_rad=2e-5, feature_m=0.01)
    seen = v.visibility(flow, 4.8, 1e-3, 0.5)
    assert seen.signal > seen.k
    assert seen.below_diffraction
    assert seen.verdict is v.Verdict.PERHAPS


@given(
    angle=st.floats(1e-6, 2e-4),
    shape=st.sampled_from(["slit", "round"]),
    snr=st.floats(10.0, 1000.0),
)
def test_told_cutoffs_hold(angle: float, shape: str, snr: float) -> None:
    flow = replace(FLOWS["plume of a candle"], angle_rad=angle, feature_m=1.0)
    seen = v.visibility(flow, 4.8, 1e-3, 0.5, shape, open_snr=snr)
    if seen.uncut_from is None or seen.uncut_to is None:
        return
    for uncut in (seen.uncut_from, seen.uncut_to, (seen.uncut_from + seen.uncut_to) / 2):
        low, high = angle_range(4.8, 1e-3, uncut, shape)
        assert low * (1 + 1e-9) <= -angle < angle <= high * (1 + 1e-9)
        bright = contrast_from_angle(angle, 4.8, 1e-3, uncut, shape)
        dark = contrast_from_angle(-angle, 4.8, 1e-3, uncut, shape)
        noise = v.noise_of_contrast(uncut, snr)
        assert min(bright, -dark) >= seen.k * noise * (1 - 1e-9)
