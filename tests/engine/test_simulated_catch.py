"""A whole session at the simulated rig: sparks set off by hand are seen, heard and kept."""

from __future__ import annotations

import time

import pytest
from support.waiting import wait_for

from liveview.bench.scene import Scene
from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import ArmState, Cause, EventStart, Lease, SoundBlock, Spotted
from liveview.settings import Settings
from liveview.sources.simulated import SimulatedBench


class Kept:
    """Counts what an event is given."""

    def __init__(self) -> None:
        self.starts: list[EventStart] = []
        self.frames: list[int] = []
        self.sounds: list[SoundBlock] = []
        self.marks: list[Spotted] = []
        self.ends: list[bool] = []

    def begin(self, start: EventStart) -> None:
        self.starts.append(start)
        self.frames, self.sounds = [], []

    def add_frame(self, lease: Lease) -> None:
        self.frames.append(lease.frame.number)
        lease.release()

    def add_sound(self, block: SoundBlock) -> None:
        self.sounds.append(block)

    def mark(self, spotted: Spotted) -> None:
        self.marks.append(spotted)

    def end(self, complete: bool) -> None:
        self.ends.append(complete)


def scene() -> Scene:
    """A small camera whose shutter is open most of the time, so that each flash is seen."""
    made = Scene().replaced(
        "sensor", width=320, height=180, rate_hz=60.0, shutter="global", exposure_s=0.016
    )
    made = made.replaced("microphone", claps_per_minute=40.0, distance_m=1.0)
    data = made.flows.model_dump(by_alias=False)
    data["spark"]["on"] = False
    return made.replaced("flows", **data)


@pytest.mark.slow
def test_sparks_by_hand_are_caught_by_both_senses_and_claps_are_not():
    clock = SessionClock()
    bench = SimulatedBench(scene(), clock=clock, live=True, seed=2)
    kept = Kept()
    catch = {"on": "both", "pre_trigger_s": 0.3, "post_trigger_s": 0.4, "learn_s": 1.0}
    settings = Settings().replaced("store", ring_mb=64)
    settings = settings.replaced("catch", mic_distance_m=1.0, **catch)
    session = Session(settings, bench.frames, sound=bench.sound, sink=kept, rig=bench, clock=clock)
    session.start()
    try:
        session.arm()
        wait_for(lambda: session.status().arm is ArmState.ARMED)
        time.sleep(1.5)
        assert kept.starts == []
        for number in (1, 2):
            bench.set("spark_now", 1.0)
            asked_s = clock()
            wait_for(lambda n=number: len(kept.ends) == n)
            start = kept.starts[-1]
            assert start.cause is Cause.BOTH
            assert start.spotted.time_s == pytest.approx(asked_s + 0.03, abs=0.02)
            assert kept.ends[-1] is True
            assert kept.frames == list(range(kept.frames[0], kept.frames[-1] + 1))
            assert len(kept.frames) == pytest.approx(0.7 * 60, abs=4)
            first, last = kept.sounds[0], kept.sounds[-1]
            assert first.start_s <= start.spotted.time_s - 0.28
            assert last.start_s >= start.spotted.time_s + 0.35
        assert session.status().counters.lost_ring == 0
    finally:
        session.stop()
