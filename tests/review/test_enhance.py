"""A stored event shows the same picture for the same frame, whatever was looked at before."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.errors import InputUnreadable
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer, looks_back
from liveview.settings import Settings, validated

WAYS = [
    {"view": "lifted"},
    {"view": "signed"},
    {"view": "plain"},
    {"view": "trail"},
    {"view": "movement"},
    {"view": "arrows"},
    {"view": "significance"},
    {"average_frames": 4},
    {"background": "running", "background_time": 0.05},
    {"steady": True, "smooth_px": 1.5},
    {"lamp_correction": "rows"},
]

LOOKING_BACK = [
    {"view": "trail"},
    {"view": "movement"},
    {"background": "running", "background_time": 0.05},
]


@pytest.mark.slow
@pytest.mark.parametrize("calibrated", [True, False])
@pytest.mark.parametrize("way", WAYS, ids=str)
def test_any_order_gives_the_same_bits(record, calibrated, way) -> None:
    settings = validated({"enhance": way}, "test")
    path = record(calibrated=calibrated, settings=settings)
    with StoredEvent.open(path) as event:
        forward = Enhancer(event)
        one = [forward.picture(index) for index in range(len(event))]
        other = Enhancer(event)
        for index in np.random.default_rng(1).permutation(len(event)):
            np.testing.assert_array_equal(other.picture(int(index)), one[index])
        assert forward.scale == other.scale


@pytest.mark.slow
@pytest.mark.parametrize("way", LOOKING_BACK, ids=str)
def test_contrast_before_a_picture_makes_no_difference(record, way) -> None:
    with StoredEvent.open(record(settings=validated({"enhance": way}, "test"))) as event:
        one, other = Enhancer(event), Enhancer(event)
        for index in range(len(event)):
            other.contrast(index)
            if index % 5 == 4:  # some are asked for their contrast only
                np.testing.assert_array_equal(other.picture(index), one.picture(index))


@pytest.mark.slow
@pytest.mark.parametrize("way", LOOKING_BACK, ids=str)
def test_the_same_frame_again_after_others_were_looked_at(record, way) -> None:
    """An event keeps a few decoded frames only; this one would be read from the file anew."""
    with StoredEvent.open(record(settings=validated({"enhance": way}, "test"))) as event:
        enhancer = Enhancer(event)
        first = enhancer.picture(20)
        for index in range(16):
            event.frame(index)
        np.testing.assert_array_equal(enhancer.picture(20), first)


@pytest.mark.slow
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


@pytest.mark.slow
def test_without_a_reference_it_says_so(record) -> None:
    with StoredEvent.open(record(calibrated=False)) as event:
        enhancer = Enhancer(event)
        assert "first 8 frames" in enhancer.words[0]
        assert enhancer.calibration.reference.frames == 8


@pytest.mark.slow
def test_other_settings(record) -> None:
    with StoredEvent.open(record()) as event:
        fixed = Settings().replaced("enhance", gain_contrast=0.5)
        assert Enhancer(event, fixed).scale == 0.5


@pytest.mark.slow
def test_an_event_without_frames(record) -> None:
    with (
        StoredEvent.open(record(count=0)) as event,
        pytest.raises(InputUnreadable, match="no frames"),
    ):
        Enhancer(event)


@pytest.mark.slow
def test_a_quick_look_runs_few_frames(record) -> None:
    settings = validated({"enhance": {"view": "trail"}}, "test")
    assert looks_back(settings) and not looks_back(Settings())
    with StoredEvent.open(record(count=60, settings=settings)) as event:
        read: list[int] = []
        whole = event.frame
        enhancer = Enhancer(event, exact=False)
        event.frame = lambda index: read.append(index) or whole(index)
        enhancer.picture(50)
        assert sorted(set(read)) == list(range(18, 51))
        read.clear()
        enhancer.picture(51)
        assert set(read) == {51}


@pytest.mark.slow
def test_nothing_is_left_out_for_lack_of_time(record) -> None:
    with StoredEvent.open(record(rate=100000.0)) as event:
        assert event.start.source.live
        enhancer = Enhancer(event)
        for index in range(len(event)):
            reading = enhancer.reading(index)
            assert reading.skipped == () and reading.budget_ms is None


@pytest.mark.slow
def test_a_spark_does_not_make_the_air_faint(record) -> None:
    """The gain of an event with a flash and a small, glaring kernel is that of its air."""
    ends = []
    for spark in (False, True):
        with StoredEvent.open(record(spark=spark)) as event:
            ends.append(Enhancer(event).scale)
    assert ends[1] < 1.5 * ends[0]
