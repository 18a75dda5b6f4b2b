"""The sensitivity histogram."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.imaging.histogram import BINS, ContrastCounter, in_unit, merged, share_above
from liveview.model import Histogram

INSIDE = np.full((300, 400), 255, np.uint8)


def ratios(sigma: float, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return (1 + sigma * rng.standard_normal((300, 400))).astype(np.float32)


def test_same_counts_as_numpy() -> None:
    ratio = ratios(0.02)
    edges, counts = ContrastCounter().count(ratio, 1.0, INSIDE)
    assert counts.sum() == ratio.size
    expected = np.histogram(np.clip(ratio - 1, edges[0], edges[-1]), edges)[0]
    # A value that float32 puts on the other side of an edge.
    assert np.abs(counts - expected).sum() <= 1e-3 * ratio.size


def test_lamp_gain_is_taken_out() -> None:
    ratio = ratios(0.02)
    first = ContrastCounter().count(ratio, 1.0, INSIDE)[1]
    second = ContrastCounter().count(ratio * np.float32(1.25), 1.25, INSIDE)[1]
    # Rounding at the edges of bins.
    assert np.abs(first - second).sum() <= 1e-3 * ratio.size


def test_only_what_is_inside_counts() -> None:
    inside = INSIDE.copy()
    inside[:, 100:] = 0
    ratio = ratios(0.02)
    ratio[:, 100:] = 9
    assert ContrastCounter().count(ratio, 1.0, inside)[1].sum() == 300 * 100


def test_every_third_row_of_a_large_disc() -> None:
    ratio = np.full((600, 700), 2, np.float32)
    ratio[1::3] = 1
    edges, counts = ContrastCounter().count(ratio, 1.0, np.full(ratio.shape, 255, np.uint8))
    assert counts.sum() == 200 * 700
    assert counts[np.searchsorted(edges, 0, side="right") - 1] == 200 * 700


@given(st.floats(0.0005, 0.05), st.integers(0, 9), st.floats(0.5, 2.0))
def test_share_above_is_that_of_the_values(sigma: float, seed: int, gain: float) -> None:
    ratio = ratios(0.02, seed)
    inside = INSIDE.copy()
    inside[:, 250:] = 0
    contrast = ratio[:, :250].astype(np.float64) / gain - 1
    expected = float((np.abs(contrast) > 3 * sigma).mean())
    # A value or two on the limit, which float32 puts on its other side.
    found = share_above(ratio, gain, inside, sigma)
    assert found == pytest.approx(expected, abs=2 / contrast.size)


def test_share_above_is_that_of_the_rows_that_are_counted() -> None:
    ratio = np.full((600, 700), 2, np.float32)
    ratio[1::3] = 1
    assert share_above(ratio, 1.0, np.full(ratio.shape, 255, np.uint8), 0.01) == 0.0


def test_range_holds_the_widest_seen() -> None:
    counter = ContrastCounter()
    counter.count(ratios(0.001), 1.0, INSIDE)
    narrow = counter.range
    counter.count(ratios(0.2), 1.0, INSIDE)
    wide = counter.range
    counter.count(ratios(0.001), 1.0, INSIDE)
    assert narrow == 2**-7
    assert counter.range == wide >= 0.5
    counter.restart()
    assert counter.range == narrow


def test_range_becomes_narrower_when_what_was_wide_is_gone() -> None:
    counter = ContrastCounter()
    counter.count(ratios(4.0), 1.0, INSIDE, time_s=0.0)
    assert counter.range == 16.0
    ranges = []
    for k in range(1, 200):
        counter.count(ratios(0.01, k % 3), 1.0, INSIDE, time_s=0.1 * k)
        ranges.append(counter.range)
    assert set(ranges[:29]) == {16.0}  # less than three seconds
    # 3.3 of 0.01 hold all but one in 1000: doubled, and at most doubled again to a power of two.
    assert ranges[-1] == 0.125
    assert ranges == sorted(ranges, reverse=True)


def test_range_stands_still_while_something_wide_comes_back() -> None:
    counter = ContrastCounter()
    for k in range(200):
        sigma = 0.2 if k % 20 == 0 else 0.01
        counter.count(ratios(sigma), 1.0, INSIDE, time_s=0.1 * k)
        assert counter.range == 1.0


@pytest.mark.parametrize("sigma", [0.0031, 0.01, 0.017, 0.03, 0.2])
def test_nothing_steady_makes_the_range_go_to_and_fro(sigma: float) -> None:
    counter = ContrastCounter()
    counter.count(ratios(sigma), 1.0, INSIDE)
    first = counter.range
    for k in range(100):
        counter.count(ratios(sigma, k % 5), 1.0, INSIDE, time_s=0.2 * k)
        assert counter.range == first


def test_frames_of_an_earlier_time_make_nothing_narrower() -> None:
    counter = ContrastCounter()
    for time_s in (100.0, 1.0, 2.0, 3.5):
        counter.count(ratios(0.2 if time_s > 50 else 0.01), 1.0, INSIDE, time_s=time_s)
    assert counter.range == 1.0


def test_nothing_inside() -> None:
    _, counts = ContrastCounter().count(ratios(0.1), 1.0, np.zeros_like(INSIDE))
    assert counts.sum() == 0
    assert share_above(ratios(0.1), 1.0, np.zeros_like(INSIDE), 0.01) is None


def test_share_above_noise() -> None:
    ratio = ratios(0.01)
    # 0.27 % of a normal distribution lie beyond 3 sigma; 120000 samples scatter by 6 %.
    assert share_above(ratio, 1.0, INSIDE, 0.01) == pytest.approx(0.0027, rel=0.25)
    # Beyond 3e-6 are all but some of those that float32 cannot tell from it.
    assert share_above(ratio, 1.0, INSIDE, 1e-6) == pytest.approx(1.0, abs=0.01)
    assert share_above(ratio, 1.0, INSIDE, None) is None


def histogram(end: float, counts: np.ndarray) -> Histogram:
    edges = np.linspace(-end, end, counts.size + 1)
    return Histogram("contrast", edges, counts, 0.01, 0.5, 0.0, 0.1)


@given(st.integers(0, 4), st.integers(0, 4))
def test_merging_loses_nothing(a: int, b: int) -> None:
    rng = np.random.default_rng(a * 5 + b)
    one = histogram(2.0**-a, rng.integers(0, 9, BINS))
    two = histogram(2.0**-b, rng.integers(0, 9, BINS))
    both = merged(one, two)
    assert both.counts.sum() == one.counts.sum() + two.counts.sum()
    assert both.edges[-1] == max(one.edges[-1], two.edges[-1])
    middle = (both.edges[1:] + both.edges[:-1]) / 2

    def mean(h: Histogram) -> float:
        centres = (h.edges[1:] + h.edges[:-1]) / 2
        return float((centres * h.counts).sum())

    # Bins move by at most half a wide bin.
    width = both.edges[1] - both.edges[0]
    assert abs((middle * both.counts).sum() - mean(one) - mean(two)) <= width * both.counts.sum()


def test_merging_refuses_what_does_not_fit() -> None:
    with pytest.raises(ValueError, match="power of two"):
        merged(histogram(1.0, np.ones(BINS, int)), histogram(0.3, np.ones(BINS, int)))
    other = Histogram("arcsec", np.linspace(-1, 1, 3), np.ones(2, int), None, None, 0, 0)
    with pytest.raises(ValueError, match="arcsec"):
        merged(histogram(1.0, np.ones(BINS, int)), other)


def test_another_unit_and_back() -> None:
    one = replace(histogram(0.25, np.arange(BINS)), range_low=-1.0, range_high=3.0)
    seen = in_unit(one, "sigma", 1 / 0.01)
    assert (seen.unit, seen.per_contrast, seen.above_noise) == ("sigma", 100.0, one.above_noise)
    # a few roundings of float64
    assert seen.edges == pytest.approx(one.edges * 100, rel=1e-14)
    assert (seen.noise_sigma, seen.range_low, seen.range_high) == pytest.approx((1.0, -100, 300))
    back = in_unit(seen, "contrast")
    assert back.edges == pytest.approx(one.edges, rel=1e-14)
    assert (back.noise_sigma, back.range_low, back.range_high) == pytest.approx((0.01, -1.0, 3.0))


def test_frames_of_different_noise_merge_in_contrast() -> None:
    """In multiples of the noise their ranges are not a power of two apart."""
    counts = np.ones(BINS, int)
    frames = [
        in_unit(histogram(2.0**-k, counts), "sigma", 1 / s) for k, s in ((3, 0.01), (2, 0.013))
    ]
    with pytest.raises(ValueError, match="power of two"):
        merged(*frames)
    both = merged(*(in_unit(frame, "contrast") for frame in frames))
    assert both.edges[-1] == pytest.approx(0.25, rel=1e-14)
    assert both.counts.sum() == 2 * BINS
