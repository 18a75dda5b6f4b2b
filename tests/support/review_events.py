"""Events for the tests of the Review page, written by the real recorder.

A disc with a round front of known speed about a known place, sound with one crack, and frames
that were lost on the way.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from liveview.model import (
    Average,
    Calibration,
    Cause,
    Disc,
    EventStart,
    Frame,
    FrameStamp,
    SoundBlock,
    SoundInfo,
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.recorder import Recorder
from liveview.settings import Settings, Store

SIDE = 128
DISC = Disc((SIDE - 1) / 2, (SIDE - 1) / 2, 57.0)
RATE_HZ = 10_000.0
START_S = 10.0
SPARK_FRAME = 8
FRONT_PX_PER_FRAME = 1.5
CENTRE = (63.5, 63.5)
QUIET = 0.4
MM_PER_PX = 150.0 / (2 * DISC.radius)
"""The default mirror is 150 mm wide."""

FRONT_M_S = FRONT_PX_PER_FRAME * MM_PER_PX * 1e-3 * RATE_HZ


class Lease:
    """A frame that needs no slot."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame

    def release(self) -> None:
        """Nothing to give back."""


def contrast_of(index: int) -> np.ndarray:
    """Contrast of frame ``index``: nothing before the spark, then a ring that grows."""
    y, x = np.mgrid[:SIDE, :SIDE]
    dx, dy = x - CENTRE[0], y - CENTRE[1]
    radius = np.maximum(np.hypot(dx, dy), 1e-6)
    since = index - SPARK_FRAME
    if since <= 0:
        return np.zeros((SIDE, SIDE))
    front = 4.0 + FRONT_PX_PER_FRAME * since
    return 0.4 * (-dx / radius) * np.exp(-(((radius - front) / 2.0) ** 2))


def record_event(
    folder: Path,
    *,
    count: int = 36,
    lost: tuple[int, ...] = (20, 21),
    sound: bool = True,
    calibrated: bool = True,
    complete: bool = True,
    at: str = "2031-05-06T07:08:09.250000+00:00",
    settings: Settings | None = None,
    pressed: int | None = None,
) -> Path:
    """Record one event and return its folder; ``lost`` are frame numbers that never came,
    ``pressed`` the frame at which somebody kept it by hand.
    """
    source = SourceInfo(
        SourceKind.CAMERA, "bench", SIDE, SIDE, 1, 8, 255, True, RATE_HZ, transfer="linear"
    )
    y, x = np.mgrid[:SIDE, :SIDE]
    inside = np.hypot(x - DISC.cx, y - DISC.cy) < DISC.radius
    rng = np.random.default_rng(5)
    cause = Cause.FLASH if pressed is None else Cause.HAND
    trigger = SPARK_FRAME if pressed is None else pressed
    spark_s = START_S + trigger / RATE_HZ

    def average(level: float) -> Average:
        light = np.where(inside, level, 0.004).astype(np.float32)
        return Average(light, 32, 0.5, "2031-05-06T07:00:00+00:00", source.camera_state)

    start = EventStart(
        cause,
        Spotted(spark_s, 1e-5, cause, 12.0, trigger),
        source,
        SoundInfo("bench", 48000.0, 1, True) if sound else None,
        Calibration(average(0.004), average(0.8), average(QUIET)) if calibrated else Calibration(),
        (settings or Settings()).to_mapping(),
        DISC if calibrated else None,
        at,
    )
    recorder = Recorder(Store(reserve_mb=0, ring_mb=64), folder=folder, when_full="wait")
    try:
        recorder.begin(start)
        for index in range(count):
            if index in lost:
                continue
            light = np.where(inside, QUIET * (1 + contrast_of(index)), 0.004)
            codes = np.clip(np.rint(light * 255 + rng.normal(0, 0.6, light.shape)), 0, 255)
            stamp = FrameStamp(index, START_S + index / RATE_HZ)
            recorder.add_frame(Lease(Frame(codes.astype(np.uint8), stamp, 255)))
        if sound:
            wave = np.zeros((round(48000 * count / RATE_HZ), 1), np.float32)
            wave[len(wave) // 2] = 0.5
            recorder.add_sound(SoundBlock(wave, 48000.0, START_S))
        recorder.end(complete)
        assert recorder.drain(60.0), recorder.status()
        return recorder.events[-1].path
    finally:
        recorder.close()
