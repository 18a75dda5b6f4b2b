"""The blade meter: uncut fraction, tilt and its sign, robustness, words."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.blade import BladeMeter, advice
from liveview.model import Disc, Light, Side

SHAPE = (220, 240)
DISC = Disc(118.0, 109.0, 95.0)
RNG = np.random.default_rng(8)
DARK = RNG.uniform(0.01, 0.02, SHAPE).astype(np.float32)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]]
# A lamp twice as bright on the left: the meter must not take it for a tilt.
OPEN = (DARK + 0.6 * (1 - 0.5 * X / SHAPE[1])).astype(np.float32)
FINE = np.full(SHAPE, 255, np.uint8)


def light(share: np.ndarray | float, noise: float = 0.0) -> Light:
    clean = DARK + (OPEN - DARK) * share
    return (clean + noise * RNG.standard_normal(SHAPE)).astype(np.float32)


def towards(side: Side) -> np.ndarray:
    """Position along the unit vector towards a side, in radii."""
    nx, ny = side.normal
    return ((X - DISC.cx) * nx + (Y - DISC.cy) * ny) / DISC.radius


def meter(side: Side = Side.LEFT) -> BladeMeter:
    return BladeMeter(DARK, OPEN, FINE, DISC, side)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 1.0])
def test_even_cut(share: float) -> None:
    fit = meter().read(light(share), FINE)
    assert fit is not None
    assert fit.uncut == pytest.approx(share, abs=1e-5)
    assert fit.tilt_across == pytest.approx(0, abs=1e-5)
    assert fit.tilt_along == pytest.approx(0, abs=1e-5)
    assert fit.valid == 1


@pytest.mark.parametrize("side", list(Side))
def test_blades_side_darker_is_positive(side: Side) -> None:
    fit = meter(side).read(light(0.5 - 0.15 * towards(side)), FINE)
    assert fit is not None
    assert fit.tilt_across == pytest.approx(0.3, abs=2e-3)
    assert fit.tilt_along == pytest.approx(0, abs=2e-3)


@pytest.mark.parametrize("side", list(Side))
def test_along_is_clockwise_from_the_side(side: Side) -> None:
    tx, ty = side.along
    share = 0.5 - 0.1 * ((X - DISC.cx) * tx + (Y - DISC.cy) * ty) / DISC.radius
    fit = meter(side).read(light(share), FINE)
    assert fit is not None
    assert fit.tilt_along == pytest.approx(0.2, abs=2e-3)
    assert fit.tilt_across == pytest.approx(0, abs=2e-3)


def test_clipped_pixels_are_left_out() -> None:
    frame = light(0.5)
    frame[:, :118] = 1.0
    fine = FINE.copy()
    fine[:, :118] = 0
    fit = meter().read(frame, fine)
    assert fit is not None
    assert fit.uncut == pytest.approx(0.5, abs=1e-5)
    assert fit.valid == pytest.approx(0.5, abs=0.05)


def test_dust_and_flow_do_not_tilt_it() -> None:
    frame = light(0.5 - 0.1 * towards(Side.LEFT), 0.003)
    frame[60:90, 60:80] *= 0.3
    fit = meter().read(frame, FINE)
    assert fit is not None and fit.tilt_sigma is not None
    assert fit.tilt_across == pytest.approx(0.2, abs=0.01)
    assert 0 < fit.tilt_sigma < 0.01


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("reach", [0.3, 0.9])
def test_a_hand_in_the_light_does_not_count(share: float, reach: float) -> None:
    """``reach`` is how far the hand comes up from the lower rim, in radii: 9 and 45 % of it."""
    hand = (Y - DISC.cy) / DISC.radius > 1.0 - reach
    frame = np.where(hand, light(0.003, 0.002), light(share - 0.2 * share * towards(Side.LEFT)))
    fit = meter().read(frame.astype(np.float32), FINE)
    assert fit is not None
    assert fit.uncut == pytest.approx(share, abs=0.01)
    assert fit.tilt_across == pytest.approx(0.4 * share, abs=0.01)
    assert fit.tilt_along == pytest.approx(0.0, abs=0.01)
    # Share of the disc that a chord leaves over; the meter's rim of two pixels is left out.
    over = 1.0 - (np.arccos(1 - reach) - (1 - reach) * np.sqrt(1 - (1 - reach) ** 2)) / np.pi
    assert fit.valid == pytest.approx(over, abs=0.02)


@pytest.mark.parametrize("ramp", [0.01, 0.5, 2.0])
def test_the_shadow_of_a_blade_off_the_focus_counts(ramp: float) -> None:
    """From hardly a ramp (half dark, half open) to one over the whole disc."""
    share = np.clip(0.5 - towards(Side.LEFT) / ramp, 0.0, 1.0)
    fit = meter().read(light(share, 0.002), FINE)
    assert fit is not None
    assert fit.valid == 1
    assert fit.uncut == pytest.approx(0.5, abs=0.01)
    assert fit.tilt_across is not None and fit.tilt_across > 0.5


def test_all_shades_of_a_flow_count() -> None:
    """A plume as strong as the range: from black to twice the light and back."""
    across = np.clip((X - DISC.cx) / 30.0, -1.0, 1.0)
    share = 0.5 - 0.5 * np.sin(np.pi * across)
    fit = meter().read(light(share, 0.002), FINE)
    assert fit is not None
    assert fit.valid == 1
    assert fit.uncut == pytest.approx(0.5, abs=0.01)


def test_nothing_usable() -> None:
    assert meter().read(light(0.5), np.zeros_like(FINE)) is None


def test_sigma_is_honest() -> None:
    tilts, told = [], []
    for _ in range(40):
        fit = meter().read(light(0.5, 0.02), FINE)
        assert fit is not None and fit.tilt_across is not None and fit.tilt_sigma is not None
        tilts.append(fit.tilt_across)
        told.append(fit.tilt_sigma)
    # The scatter of 40 draws is itself uncertain by 11 %.
    assert np.std(tilts) == pytest.approx(np.mean(told), rel=0.4)


@pytest.mark.parametrize(
    ("uncut", "tilt", "words"),
    [
        (None, None, ""),
        (0.0, None, "draw it back"),
        (0.99, 0.0, "from the left"),
        (0.5, 0.1, "left side is darker: move the blade away from the mirror"),
        (0.5, -0.1, "right side is darker: move the blade nearer to the mirror"),
        (0.5, 0.0, "cut as wanted"),
        (0.8, 0.0, "cut more, to 50% uncut"),
        (0.2, 0.0, "draw back, to 50% uncut"),
    ],
)
def test_advice(uncut: float | None, tilt: float | None, words: str) -> None:
    assert words in advice(Side.LEFT, uncut, tilt, 0.001)
    if not words:
        assert advice(Side.LEFT, uncut, tilt, None) == ""


def test_tilt_within_its_noise_is_even() -> None:
    assert "evenly" in advice(Side.TOP, 0.5, 0.05, 0.02)
