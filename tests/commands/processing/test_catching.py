"""The detectors as ``process`` uses them, on frames handed over one by one."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from liveview.commands.processing.catching import Catching, ring_megabytes
from liveview.engine.ring import FrameRing, RingLease
from liveview.model import Calibration, Disc, FrameStamp, SourceInfo, SourceKind
from liveview.settings import Settings

RATE_HZ = 50.0
INFO = SourceInfo(SourceKind.VIDEO, "t", 64, 48, 1, 8, 255, False, rate_hz=RATE_HZ, row_time_s=0.0)


def noisy(ring: FrameRing, rng: np.random.Generator, number: int) -> RingLease:
    slot = ring.claim()
    assert slot is not None
    slot.pixels[:] = rng.normal(100, 3, INFO.shape)
    ring.publish(slot, FrameStamp(number, number / RATE_HZ), 0.0)
    lease = ring.newest()
    assert lease is not None
    return lease


def test_a_mirror_that_moves_is_said_once_with_when(tmp_path: Path) -> None:
    settings = Settings()
    ring = FrameRing(INFO, ring_megabytes(settings, INFO, 8))
    catching = Catching(settings, INFO, None, tmp_path, Calibration)
    rng = np.random.default_rng(4)
    moves = {0: Disc(20, 20, 15), 150: Disc(40, 25, 15), 180: Disc(20, 20, 15)}
    try:
        for number in range(300):
            if number in moves:
                catching.set_disc(moves[number], ring)
            catching.see(noisy(ring, rng, number), ring)
        catching.finish(ring)
    finally:
        catching.close()
    (words,) = catching.warnings
    assert "the mirror's place changed at 3.00 s" in words
    assert "missed" in words


def test_a_mirror_that_stays_is_not_spoken_of(tmp_path: Path) -> None:
    settings = Settings()
    ring = FrameRing(INFO, ring_megabytes(settings, INFO, 8))
    catching = Catching(settings, INFO, None, tmp_path, Calibration)
    rng = np.random.default_rng(4)
    try:
        for number in range(200):
            catching.set_disc(Disc(20 + 0.1 * (number % 2), 20, 15), ring)
            catching.see(noisy(ring, rng, number), ring)
        catching.finish(ring)
    finally:
        catching.close()
    assert catching.warnings == []
