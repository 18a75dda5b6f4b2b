"""The histogram's one line: the most pressing thing first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liveview.imaging.verdict import flow_share, verdict, walls
from liveview.model import Histogram

EDGES = np.linspace(-2, 2, 257)


def histogram(width: float = 0.02, **more: object) -> Histogram:
    drawn = np.random.default_rng(0).normal(0, width, 100_000)
    counts = np.histogram(np.clip(drawn, -2, 2), EDGES)[0]
    plain = Histogram("contrast", EDGES, counts, 0.02, 0.003, 0.0, 0.0, -1.0, 1.0)
    return replace(plain, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("values", "flow", "words"),
    [
        ({}, 0.0, "nothing above the noise of 2 % contrast"),
        ({"above_noise": 0.1}, 0.0, "something is there: 10.0%"),
        ({}, 0.2, "something faint over 20% of the disc"),
        ({"clipped_bright": 0.2, "above_noise": 0.5}, 0.0, "exposure too long: 20%"),
        ({"clipped_dark": 0.3}, 0.0, "strong flow or an object: 30% of the disc fully dark"),
        (
            {"clipped_dark": 0.3, "range_high": 9.0},  # an uncut fraction of 10 %
            *(0.0, "blade too far in, or too little light: 30%"),
        ),
        (
            {"clipped_dark": 0.3, "range_low": None, "range_high": None},
            *(0.0, "blade too far in, or too little light: 30%"),
        ),
        ({"noise_sigma": 0.1}, 0.0, "too little light: noise 10 % contrast"),
        ({"noise_sigma": None}, None, "measuring the noise"),
        ({"above_noise": None}, None, "measuring the noise"),
        ({"counts": np.zeros(256, int)}, None, "no pixel"),
        ({"unit": "arcsec", "noise_sigma": 0.31}, 0.0, "nothing above the noise of 0.31 arcsec"),
    ],
)
def test_words(values: dict[str, object], flow: float | None, words: str) -> None:
    assert words in verdict(histogram(**values), flow)


def test_walls_of_the_blades_range() -> None:
    assert walls(histogram()) == (0.0, 0.0)
    low, high = walls(histogram(0.7))
    assert low > 0.05 and high > 0.05
    assert "fully dark" in verdict(histogram(0.7, above_noise=0.9), 0.9)
    assert walls(histogram(0.7, range_low=None, range_high=None)) == (0.0, 0.0)
    drawn = np.histogram(np.full(1000, 0.99), EDGES)[0]
    assert verdict(histogram(counts=drawn), 0.9) == ("strong flow: 100% of the disc fully open")
    far_out = histogram(counts=drawn, range_high=0.25)  # an uncut fraction of 80 %
    assert "blade too far out: 100%" in verdict(far_out, 0.9)


def test_flow_seen_in_blocks() -> None:
    rng = np.random.default_rng(0)
    sigma, side = 0.02, 16
    blocks = 1 + sigma * np.sqrt(2) / side * rng.standard_normal((40, 40))
    assert flow_share(blocks, 1.0, side, sigma) == pytest.approx(0, abs=0.005)
    blocks[:, :10] += sigma
    assert flow_share(blocks, 1.0, side, sigma) == pytest.approx(0.25, abs=0.01)
    assert flow_share(blocks, 1.0, side, None) is None
    assert flow_share(np.full((3, 3), np.nan), 1.0, side, sigma) is None
