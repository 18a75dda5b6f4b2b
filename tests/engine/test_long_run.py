"""Hours pass on a handed-in clock: times stay exact, counters right, memory flat."""

from __future__ import annotations

import gc
from pathlib import Path

import numpy as np
import psutil
import pytest
from support.scripted_source import info
from support.waiting import wait_for

from liveview.engine.session import Session
from liveview.engine.soundring import SoundRing
from liveview.model import (
    Frame,
    FrameStamp,
    Pixels,
    SessionState,
    SoundBlock,
    SourceInfo,
    SourceKind,
)
from liveview.recorder import Recorder, StoredEvent
from liveview.settings import Settings
from liveview.sources.arrival import ArrivalFit
from liveview.trigger.catcher import Catcher

HOURS = 6
RATE_HZ = 0.5
FRAMES = round(HOURS * 3600 * RATE_HZ)
AHEAD = 100
"""Frames by which the camera may be ahead of the slowest reader."""


class FastCamera:
    """Exposes at its rate on a clock of its own, which runs as fast as it is read."""

    def __init__(self) -> None:
        self.says = info(64, 48, rate_hz=RATE_HZ, kind=SourceKind.VIDEO)
        rng = np.random.default_rng(2)
        self._pictures = rng.integers(90, 110, (16, 48, 64)).astype(np.uint8)
        self.number = -1
        self.session: Session | None = None

    def clock(self) -> float:
        """Time of the newest frame."""
        return max(self.number, 0) / RATE_HZ

    def open(self) -> SourceInfo:
        return self.says

    def grab(self) -> FrameStamp | None:
        assert self.session is not None
        if self.number + 1 == FRAMES:
            return None
        if self.number % 50 == 0:
            least = self.number - AHEAD
            wait_for(lambda: self.session.status().counters.watched > least)
        self.number += 1
        return FrameStamp(self.number, self.clock())

    def read_into(self, out: Pixels) -> None:
        np.copyto(out, self._pictures[self.number % 16])

    def close(self) -> None:
        pass


@pytest.mark.slow
def test_a_session_of_six_hours(tmp_path: Path) -> None:
    camera = FastCamera()
    settings = (
        Settings()
        .replaced("store", ring_mb=8, reserve_mb=0)
        .replaced("catch", pre_trigger_s=40, post_trigger_s=40, on="flash")
    )
    recorder = Recorder(settings.store, folder=tmp_path)
    session = Session(
        settings, lambda: camera, sink=recorder, store_status=recorder.status, clock=camera.clock
    )
    camera.session = session
    process, sizes = psutil.Process(), []
    session.start()
    try:
        for hour in range(1, HOURS):
            wait_for(lambda h=hour: camera.clock() > 3600 * h, 60)
            session.trigger()
            gc.collect()
            sizes.append((process.memory_info().rss / 1e6, process.num_threads()))
        wait_for(lambda: session.status().state is SessionState.ENDED, 60)
        wait_for(lambda: session.status().counters.watched == FRAMES, 60)
        status = session.status()
        assert recorder.drain(20)
    finally:
        session.stop()
        recorder.close()
    counters = status.counters
    assert counters.captured == FRAMES
    assert counters.missed_watch == counters.lost_ring == counters.lost_source == 0
    assert status.rate_hz == pytest.approx(RATE_HZ, rel=1e-9)
    assert len(recorder.events) == HOURS - 1
    for hour, kept in enumerate(recorder.events, start=1):
        with StoredEvent.open(kept.path) as event:
            assert event.complete
            for stamp in event.stamps:
                assert round(stamp.time_s * 1e9) == round(stamp.number / RATE_HZ * 1e9)
            assert event.stamps[0].time_s > 3600 * hour - 300
            assert not any(event.lost_before)
    # full after an hour and a half; a leak of one frame in two would be 5.5 MB from then on
    assert sizes[-1][0] - sizes[2][0] < 5
    assert sizes[-1][1] <= sizes[2][1]


@pytest.mark.slow
@pytest.mark.parametrize("drift", [-1e-4, 0.0, 1e-4])
def test_the_sounds_clock_is_as_good_after_ten_hours(drift: float) -> None:
    """Blocks of 10 ms come up to 4 ms late from a clock that is off; none may be placed wrong."""
    rng = np.random.default_rng(9)
    rate_hz, block = 48_000.0, 480
    fit = ArrivalFit(rate_hz)
    worst_s = 0.0
    count = 0
    for start_h in (0, 1, 10):  # ten hours by leaps of whole blocks
        count = round(start_h * 3600 * rate_hz / block) * block
        for _ in range(8000):
            count += block
            true_s = count / rate_hz * (1 + drift)
            fit.add(count, true_s + 0.004 * rng.random())
        worst_s = max(worst_s, abs(fit.time_s(count) - true_s))
    # of 25 blocks in a quarter second the earliest is late by 4 ms / 25 on average
    assert worst_s < 0.0005


def spark_times(offset_s: float) -> list[float]:
    """Times at which a catcher sees the sparks of a scripted recording that begins at a time."""
    says = info(48, 40, rate_hz=200.0, kind=SourceKind.VIDEO)
    settings = Settings().replaced("catch", on="either", learn_s=0.5, mic_distance_m=0.0)
    catcher = Catcher(settings, says, sound=False)
    rng = np.random.default_rng(3)
    found: list[float] = []
    catcher.arm()
    for number in range(1000):
        light = 100 + rng.normal(0, 1.5, (40, 48)) + 60 * (number in (400, 700))
        pixels = np.clip(np.rint(light), 0, 255).astype(np.uint8)
        catcher.see(Frame(pixels, FrameStamp(number, offset_s + number / 200.0), 255))
        found += [spotted.time_s for spotted in catcher.new_spots()]
    return found


@pytest.mark.slow
def test_sparks_are_timed_as_well_after_a_day() -> None:
    fresh, late = spark_times(0.0), spark_times(86_400.0)
    assert len(fresh) == 2
    np.testing.assert_allclose(np.array(late) - 86_400.0, fresh, atol=1e-9)


@pytest.mark.slow
def test_sound_of_hours_is_forgotten_and_counted() -> None:
    ring = SoundRing(5.0)
    block = np.zeros((480, 1), np.float32)
    for index in range(60_000):  # ten hours of blocks, each standing for 0.6 s
        ring.add(SoundBlock(block, 800.0, 0.6 * index, lost_before=1))
    assert ring.count == ring.lost_samples == 60_000
    assert len(ring.following(-1)) <= 10
    assert ring.until_s == pytest.approx(36_000.0)
