"""Events for the tests of review: a real recorder, a disc with a rising warm blob, sound."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

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
from liveview.recorder import Recorder, StoredEvent
from liveview.review.enhance import Enhancer
from liveview.settings import Settings, Store


class Lease:
    def __init__(self, frame: Frame) -> None:
        self.frame = frame

    def release(self) -> None:
        pass


def light_of(index: int, rows: int, columns: int, uncut: float = 0.5) -> np.ndarray:
    """Linear light of frame ``index``: an even disc with a blob that rises 2 px a frame."""
    y, x = np.mgrid[:rows, :columns]
    cx, cy, radius = (columns - 1) / 2, (rows - 1) / 2, 0.45 * min(rows, columns)
    inside = np.hypot(x - cx, y - cy) < radius
    dy = y - (rows * 0.8 - 2.0 * index)
    blob = np.exp(-((x - cx) ** 2 + dy**2) / 64.0) * (x - cx) / 8.0
    return np.where(inside, 0.8 * uncut * (1 + 0.3 * blob), 0.004)


def sparked(light: np.ndarray, flash: float) -> np.ndarray:
    """What a spark adds: its flash all over, and a small kernel as bright as can be."""
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    kernel = np.hypot(x - 0.4 * light.shape[1], y - 0.5 * light.shape[0]) < 3
    return np.where(light > 0.01, flash, 0.0) + 0.5 * kernel


def record_event(
    folder: Path,
    *,
    count: int = 24,
    rows: int = 96,
    columns: int = 128,
    white: int = 255,
    channels: int = 1,
    sound: bool = True,
    calibrated: bool = True,
    complete: bool = True,
    kind: SourceKind = SourceKind.CAMERA,
    rate: float = 200.0,
    settings: Settings | None = None,
    dark_every: int = 0,
    spark: bool = False,
) -> Path:
    """Record an event with linear codes and return its folder."""
    bits = white.bit_length()
    source = SourceInfo(
        kind, "bench", columns, rows, channels, bits, white, True, rate, transfer="linear"
    )
    rng = np.random.default_rng(8)
    disc = Disc((columns - 1) / 2, (rows - 1) / 2, 0.45 * min(rows, columns))

    def average(light: np.ndarray) -> Average:
        at = "2031-05-06T07:00:00+00:00"
        return Average(light.astype(np.float32), 32, 0.5, at, source.camera_state)

    quiet = np.where(light_of(0, rows, columns) > 0.01, 0.4, 0.004)
    calibration = Calibration(
        average(np.full((rows, columns), 0.004)),
        average(np.where(quiet > 0.01, 0.8, 0.004)),
        average(quiet),
    )
    spark = 10.0 + (count // 3) / rate
    start = EventStart(
        Cause.FLASH,
        Spotted(spark, 1e-4, Cause.FLASH, 12.0, count // 3),
        source,
        SoundInfo("bench", 48000.0, 1, True) if sound else None,
        calibration if calibrated else Calibration(),
        (settings or Settings()).to_mapping(),
        disc if calibrated else None,
        "2031-05-06T07:08:09.250000+00:00",
    )
    recorder = Recorder(Store(reserve_mb=0, ring_mb=64), folder=folder, when_full="wait")
    try:
        recorder.begin(start)
        for index in range(count):
            light = light_of(index, rows, columns)
            if dark_every and index % dark_every == 0:
                light = light * 0.02
            if spark and index >= count // 3:
                light = light + sparked(light, 0.5 if index == count // 3 else 0.0)
            codes = light * white + rng.normal(0, white / 400, light.shape)
            codes = np.clip(np.rint(codes), 0, white).astype(source.dtype)
            if channels == 3:
                codes = np.repeat(codes[..., None], 3, axis=2)
            recorder.add_frame(Lease(Frame(codes, FrameStamp(index, 10.0 + index / rate), white)))
        if sound:
            samples = max(480, round(48000 * count / rate))
            tone = np.sin(2 * np.pi * 4000 * np.arange(samples) / 48000)[:, None]
            block = np.rint(tone * 16000) / 32768
            recorder.add_sound(SoundBlock(block.astype(np.float32), 48000.0, 10.0))
        recorder.end(complete)
        assert recorder.drain(60.0), recorder.status()
        return recorder.events[-1].path
    finally:
        recorder.close()


@pytest.fixture
def record(tmp_path: Path) -> Callable[..., Path]:
    """Record an event into this test's folder."""
    return lambda **options: record_event(tmp_path / "events", **options)


@pytest.fixture
def enhancer(record):
    with StoredEvent.open(record()) as event:
        yield Enhancer(event)
