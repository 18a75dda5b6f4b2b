"""Automatic gain: follows, but does not pump."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.autogain import AutoGain, wanted_scale

EDGES = np.linspace(-1, 1, 257)


def counts(width: float) -> np.ndarray:
    contrast = np.random.default_rng(0).normal(0, width, 100_000)
    return np.histogram(np.clip(contrast, -1, 1), EDGES)[0]


def test_wanted_holds_nearly_all() -> None:
    scale = wanted_scale(EDGES, counts(0.1), None)
    assert 0.3 < scale < 0.5
    assert wanted_scale(EDGES, counts(0.01), 0.2) > 1.0
    assert wanted_scale(EDGES, np.zeros(256, int), None) > 0


@pytest.mark.slow
def test_short_excursions_change_nothing() -> None:
    gain = AutoGain()
    first = gain.update(0.0, EDGES, counts(0.05), None)
    for frame in range(1, 200):
        wide = frame % 20 < 5
        assert gain.update(frame / 60, EDGES, counts(0.15 if wide else 0.05), None) == first


@pytest.mark.slow
def test_lasting_ones_do_once() -> None:
    gain = AutoGain()
    first = gain.update(0.0, EDGES, counts(0.05), None)
    scales = [gain.update(i / 60, EDGES, counts(0.2), None) for i in range(1, 60)]
    assert scales[0] == first
    assert scales[-1] > 2 * first
    assert len(set(scales)) == 2
    back = [gain.update(1 + i / 60, EDGES, counts(0.05), None) for i in range(1, 200)]
    assert back[60] == scales[-1]
    assert back[-1] < 1.1 * first


def test_a_jump_in_time_starts_no_change() -> None:
    gain = AutoGain()
    first = gain.update(100.0, EDGES, counts(0.05), None)
    assert gain.update(3.0, EDGES, counts(0.2), None) == first
    gain.restart()
    assert gain.scale is None
