"""A stored event shows the same picture for the same frame, whatever was looked at before."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.errors import InputUnreadable
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.settings import Settings


@pytest.mark.parametrize("calibrated", [True, False])
@pytest.mark.parametrize("view", ["lifted", "signed", "plain"])
def test_any_order_gives_the_same_bits(record, calibrated, view) -> None:
    settings = Settings().replaced("enhance", view=view)
    path = record(calibrated=calibrated, settings=settings)
    with StoredEvent.open(path) as event:
        forward = Enhancer(event)
        one = [forward.picture(index) for index in range(len(event))]
        other = Enhancer(event)
        for index in np.random.default_rng(1).permutation(len(event)):
            np.testing.assert_array_equal(other.picture(int(index)), one[index])
        assert forward.scale == other.scale


def test_contrast_is_that_of_the_light(record) -> None:
    path = record()
    with StoredEvent.open(path) as event:
        contrast = Enhancer(event).contrast(10)
        y, x = np.mgrid[:96, :128]
        dy = y - (96 * 0.8 - 20.0)
        truth = 0.3 * np.exp(-((x - 63.5) ** 2 + dy**2) / 64.0) * (x - 63.5) / 8.0
        known = np.isfinite(contrast)
        assert known.sum() > 0.5 * np.pi * 43**2
        # noise 1/400 of 0.4 light is 0.006, codes are 1/102 of the light
        assert np.abs(contrast - truth)[known].mean() < 0.012
        assert not known[0, 0]


def test_without_a_reference_it_says_so(record) -> None:
    with StoredEvent.open(record(calibrated=False)) as event:
        enhancer = Enhancer(event)
        assert "first 8 frames" in enhancer.words[0]
        assert enhancer.calibration.reference.frames == 8


def test_other_settings(record) -> None:
    with StoredEvent.open(record()) as event:
        fixed = Settings().replaced("enhance", gain_contrast=0.5)
        assert Enhancer(event, fixed).scale == 0.5


def test_an_event_without_frames(record) -> None:
    with (
        StoredEvent.open(record(count=0)) as event,
        pytest.raises(InputUnreadable, match="no frames"),
    ):
        Enhancer(event)
