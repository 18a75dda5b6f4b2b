"""The parts of the detectors one by one: grid, prediction, windows, tails, candidates."""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.scripted_source import info

from liveview.model import Disc, FrameStamp
from liveview.trigger.candidate import Candidate
from liveview.trigger.peaks import LoudestMoments
from liveview.trigger.predict import RowPredictor
from liveview.trigger.rows import RowGrid
from liveview.trigger.tail import TailScale, least_sigma
from liveview.trigger.windows import RowWindows

RNG = np.random.default_rng(7)


def follow(predictor, value):
    """One frame, learnt from at once."""
    error = predictor.step(value)
    predictor.learn()
    return error


def strongest(windows, excess):
    """Strongest window of one frame, learnt from at once."""
    (peak,) = windows.peaks(excess[None])
    windows.learn()
    return peak


@pytest.mark.parametrize("shape", [(720, 1280), (181, 333), (90, 64, 3), (5, 7)])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_grid_of_an_even_picture_is_even(shape, kind):
    grid = RowGrid(shape)
    means = grid.means(np.full(shape, 201, kind))
    assert means.shape == (grid.bands, grid.tiles)
    assert means.dtype == np.float32
    np.testing.assert_allclose(means, 201, rtol=1e-6)


def test_grid_means_are_the_means():
    pixels = RNG.integers(0, 256, (360, 1280), dtype=np.uint8)
    grid = RowGrid(pixels.shape)
    wanted = pixels.reshape(grid.bands, grid.band, grid.tiles, -1).mean(axis=(1, 3))
    np.testing.assert_allclose(grid.means(pixels), wanted, rtol=1e-5)


def test_grid_knows_inside_from_outside():
    grid = RowGrid((720, 1280))
    inside, outside = grid.inside(Disc(640, 360, 300)), grid.outside(Disc(640, 360, 300))
    assert not (inside & outside).any()
    assert inside.mean() == pytest.approx(math.pi * 300**2 / (1280 * 720), rel=0.1)
    assert outside.mean() == pytest.approx(1 - math.pi * 336**2 / (1280 * 720), rel=0.1)
    assert grid.inside(None).all()
    assert not grid.outside(None).any()


@pytest.mark.parametrize("ripple_hz", [100.0, 120.0])
@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 59.94, 60.0, 120.0])
def test_mains_flicker_is_predicted(ripple_hz, rate_hz):
    """Amplitude 3 codes, noise 0.05: the prediction error stays near the noise."""
    predictor = RowPredictor(40, 14, 0.02)
    phase = np.linspace(0, 3, 40)
    errors = []
    for n in range(400):
        value = 100 + 3 * np.sin(2 * np.pi * ripple_hz * n / rate_hz + phase)
        errors.append(follow(predictor, value + RNG.normal(0, 0.05, 40)))
    # A recursion of this order adds the noise of its terms: less than three times the noise.
    assert np.std(errors[200:]) < 0.15


def test_step_is_believed_after_a_while_and_flash_is_not():
    predictor = RowPredictor(20, 8, 0.02)
    for _ in range(100):
        follow(predictor, 50 + RNG.normal(0, 0.1, 20))
    flash = follow(predictor, np.full(20, 60.0))
    assert flash.min() > 9
    after = [follow(predictor, 50 + RNG.normal(0, 0.1, 20)) for _ in range(6)]
    assert np.abs(after).max() < 1.5
    step = [follow(predictor, 60 + RNG.normal(0, 0.1, 20)) for _ in range(40)]
    assert step[3].min() > 5
    assert np.abs(step[-10:]).max() < 1.0


def test_prediction_does_not_run_away():
    predictor = RowPredictor(6, 8, 0.02)
    wild = np.concatenate([RNG.normal(100, 0.1, (80, 6)), RNG.uniform(0, 255, (300, 6))])
    errors = [follow(predictor, row) for row in wild]
    assert np.abs(errors).max() < 3 * 255


def test_windows_find_the_lit_band_and_its_strength():
    windows = RowWindows(np.ones(90, bool))
    for _ in range(200):
        strongest(windows, RNG.normal(0, 1, 90))
    excess = RNG.normal(0, 1, 90)
    excess[20:28] += 4.0
    peak = strongest(windows, excess)
    assert (peak.low, peak.high) == (20, 28)
    assert peak.sigma == pytest.approx(4 * math.sqrt(8), rel=0.25)


def test_windows_learn_that_rows_fluctuate_together():
    windows = RowWindows(np.ones(64, bool))
    peaks = [strongest(windows, np.full(64, RNG.normal())).sigma for _ in range(600)]
    assert max(peaks[100:]) < 6


def test_tail_is_that_of_normal_noise_and_grows_with_heavier_ones():
    places = 200
    normal, heavy = TailScale(), TailScale()
    for _ in range(3000):
        normal.learn(RNG.normal(size=places).max(), places)
        heavy.learn(RNG.standard_t(5, size=places).max(), places)
    assert normal.scale == pytest.approx(2.0, rel=0.2)
    assert normal.strength(least_sigma(6.0, places), places) == pytest.approx(6.0, abs=0.5)
    assert heavy.strength(8.0, places) < 0.8 * normal.strength(8.0, places)


def test_strength_says_how_rare_noise_is():
    """Of frames of noise at most about exp(-s^2/2) reach s, and not far fewer.

    The location of normal noise's maxima lies below 0, where it is held: hence "at most".
    """
    tail, places = TailScale(), 300
    sigmas = RNG.normal(size=(20000, places)).max(axis=1)
    for sigma in sigmas[:2000]:
        tail.learn(sigma, places)
    strengths = np.array([tail.strength(s, places) for s in sigmas])
    for s in (2.0, 3.0):
        expected = math.exp(-s * s / 2)
        assert expected / 20 < np.mean(strengths > s) < expected * 1.3


def test_loud_moments_strength_and_adaptation():
    peaks = LoudestMoments()
    for _ in range(400):
        peaks.hear(float(RNG.exponential(1.0, 100).max()))
    assert peaks.ready
    assert peaks.strength(peaks.location + 24.5 * peaks.scale) == pytest.approx(7.0)
    # Largest of 100 exponential powers: Gumbel with location ln 100 and scale 1.
    assert peaks.location == pytest.approx(math.log(100), rel=0.15)
    assert peaks.scale == pytest.approx(1.0, rel=0.25)


def candidate(before, after, **more):
    return Candidate(
        FrameStamp(9, 0.15), "outside", (3, 5), 10.0, 20.0, 15.0, before, list(after), **more
    )


QUIET = [0.1, -0.2, 0.1, 0.0, -0.1, 0.2]


@pytest.mark.parametrize(
    ("name", "before", "after", "verdict"),
    [
        ("flash", QUIET, QUIET, True),
        ("between two exposures", QUIET, [6.0, *QUIET[1:]], True),
        ("step", QUIET, [10.0] * 6, False),
        ("step seen late", [0, 0, 10, 10, 10, 10], [10, 10, 0, 0, 0, 0], False),
        ("slow", [0, 0, 0, 1, 3, 7], [7, 3, 1, 0, 0, 0], False),
        ("knock", QUIET, [-6, 4, -3, 2, -1, 1], False),
        ("knock that began dark", [0, 0, 0, 0, 0, -7], QUIET, False),
        ("flicker", [9, 0, 0, 9, 0, 0], [0, 0, 9, 0, 0, 9], False),
        ("second of a burst", [0, 0, 10, 0, 0, 0], [0, 0, 0, 10, 0, 0], True),
        ("restless", [4, -2, 3, -3, 2, -3], [3, -2, 3, -3, 2, -2], False),
    ],
)
def test_verdicts(name, before, after, verdict):
    assert candidate(before, after).flash is verdict


STIRRED = [0.0, 9.0, 0.0, 11.0, 8.0, 12.0]


@pytest.mark.parametrize(
    ("channel", "before", "after", "verdict"),
    [
        ("inside", STIRRED, STIRRED, False),
        ("inside", STIRRED, [0.0] * 6, True),  # flow has just gone
        ("inside", [0.0] * 6, STIRRED, True),  # a burst has just begun
        ("inside", [3.0] * 6, [3.0] * 6, True),  # noise
        ("outside", STIRRED, STIRRED, True),  # no flow gets there
    ],
)
def test_flow_that_stirs_other_rows_is_no_flash(channel, before, after, verdict):
    """Strength 15 among rows of strength 8 to 12 in the frames before and after."""
    flow = Candidate(
        FrameStamp(9, 0.15), channel, (3, 5), 10.0, 20.0, 15.0, QUIET, QUIET,
        stir_before=before, stir_after=after,
    )  # fmt: skip
    assert flow.flash is verdict
    flow.beyond = True  # light where no lamp and no flow reaches
    assert flow.flash


def test_no_record_no_flash_and_movement_elsewhere_no_tile():
    assert not candidate(QUIET, QUIET, record=1.0).flash
    assert not candidate(QUIET, QUIET, crowd=9).flash


def test_scripted_info_has_the_shape_it_says():
    assert info(64, 48, 3, 12).dtype == np.uint16
