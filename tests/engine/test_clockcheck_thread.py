"""The thread of the flash-and-click check on frames and sound that are handed to it at once."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from support.flash_scenes import Bench as Rig
from support.flash_scenes import Spark
from support.waiting import wait_for

from liveview.engine.bell import Bell
from liveview.engine.clockcheck import ENOUGH, ClockCheck, ClockReading
from liveview.engine.feed import Feed
from liveview.engine.ring import FrameRing
from liveview.engine.soundring import SoundRing
from liveview.errors import WorkerStuck
from liveview.model import Frame, SoundBlock, SourceInfo

RATE_HZ, EXPOSURE_S, SOUND_HZ, BLOCK = 60.0, 0.015, 48000.0, 480
SECONDS = 10.0
PATH_S = 0.003
FLASHES_S = tuple((120 + 78 * k) / RATE_HZ + 0.006 + 0.0007 * k for k in range(6))
"""Each while a shutter is open."""


@cache
def pictures(flashes: bool) -> tuple[SourceInfo, list[Frame]]:
    """Ten seconds at a rig, rendered once."""
    sparks = tuple(Spark(moment_s, arc=3.0, glow=0.05) for moment_s in FLASHES_S)
    rig = Rig(
        width=160,
        height=90,
        rate_hz=RATE_HZ,
        readout_s=0.0,
        exposure_s=EXPOSURE_S,
        sparks=sparks if flashes else (),
    )
    return rig.info, list(rig.frames(SECONDS))


class Bench:
    """Rings that are filled at once, and a check on them."""

    def __init__(self) -> None:
        self.bell = Bell()
        self.feed: Feed | None = None
        self.sounds = SoundRing(SECONDS + 1, self.bell.ring)
        self.now_s = SECONDS
        self.check = ClockCheck(
            feed=lambda: self.feed,
            sounds=self.sounds,
            bell=self.bell,
            disc=lambda: None,
            clock=lambda: self.now_s,
            path_s=PATH_S,
            path_error_s=1e-4,
        )

    def show(self, late_s: float, *, flashes: bool = True) -> None:
        """Open a source whose stamps are late, with all of its frames."""
        says, frames = pictures(flashes)
        megabytes = 1.2 * sum(frame.pixels.nbytes for frame in frames) / 1e6
        ring = FrameRing(says, megabytes, self.bell.ring)
        self.feed = Feed(says, ring)
        self.bell.ring()
        # It begins with what comes after it has noticed the opening.
        wait_for(lambda: self.check._feed is self.feed or not self.check.alive)
        for frame in frames:
            slot = ring.claim()
            assert slot is not None
            slot.pixels[...] = frame.pixels
            ring.publish(slot, replace(frame.stamp, time_s=frame.time_s + late_s), 0.0)

    def sound(self, moments_s: tuple[float, ...] = FLASHES_S) -> None:
        """All of the sound, with a click after each flash."""
        samples = np.random.default_rng(4).normal(0, 1e-4, round(SECONDS * SOUND_HZ))
        for moment_s in moments_s:
            at = round((moment_s + PATH_S) * SOUND_HZ)
            samples[at : at + 8] += 0.5 * np.array([1, -1, 0.5, -0.5, 0.2, -0.2, 0.1, -0.1])
        for start in range(0, len(samples), BLOCK):
            part = samples[start : start + BLOCK, None].astype(np.float32)
            self.sounds.add(SoundBlock(part, SOUND_HZ, start / SOUND_HZ, 5e-4))


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.check.stop()


@pytest.mark.slow
def test_the_delay_is_found_and_enough_is_said(bench: Bench) -> None:
    bench.check.start()
    bench.show(0.04)
    bench.sound()
    wait_for(lambda: bench.check.reading.enough)
    reading = bench.check.reading
    assert reading.ready and reading.hears
    assert reading.delay is not None
    assert reading.delay.pairs >= ENOUGH
    assert reading.seen >= ENOUGH and reading.heard == len(FLASHES_S)
    # a flash is somewhere in the exposure that shows it
    assert reading.delay.delay_s == pytest.approx(0.04, abs=EXPOSURE_S / 2)


def test_flashes_without_sound_agree_with_nothing(bench: Bench) -> None:
    bench.check.start()
    bench.show(0.0)
    bench.sound(())
    wait_for(lambda: bench.check.reading.seen >= ENOUGH)
    assert bench.check.reading.heard == 0
    assert bench.check.reading.delay is None
    assert not bench.check.reading.enough


@pytest.mark.slow
def test_another_opening_begins_anew(bench: Bench) -> None:
    """Its stamps may follow another clock: what was seen before must not be mixed in."""
    bench.check.start()
    bench.show(0.0)
    bench.sound(())
    wait_for(lambda: bench.check.reading.seen >= ENOUGH)
    bench.show(0.0, flashes=False)
    wait_for(lambda: bench.check.reading.seen == 0)
    assert bench.check.alive


@pytest.mark.slow
def test_sound_that_has_stopped_is_noticed(bench: Bench) -> None:
    bench.check.start()
    bench.show(0.0)
    bench.sound()
    wait_for(lambda: bench.check.reading.ready and bench.check.reading.hears)
    bench.now_s = SECONDS + 10
    wait_for(lambda: not bench.check.reading.hears)


def test_a_failure_is_words(bench: Bench) -> None:
    bench.sounds.following = lambda after: 1 / 0  # type: ignore[method-assign]
    bench.check.start()
    bench.show(0.0)
    wait_for(lambda: bench.check.reading != ClockReading())
    assert bench.check.reading.failed == "ZeroDivisionError: division by zero"
    wait_for(lambda: not bench.check.alive)


@pytest.mark.slow
def test_one_that_hangs_is_said_to_be_stuck(bench: Bench) -> None:
    let_go = threading.Event()
    hangs = threading.Event()

    def hang(after: int) -> list[tuple[int, SoundBlock]]:
        hangs.set()
        let_go.wait()
        return []

    bench.sounds.following = hang  # type: ignore[method-assign]
    bench.show(0.0, flashes=False)
    bench.check.start()
    wait_for(hangs.is_set)
    bench.check.worker.ask_stop()
    with pytest.raises(WorkerStuck):
        bench.check.worker.join(0.2)
    let_go.set()
    bench.check.worker.join(10.0)
    assert not bench.check.alive
