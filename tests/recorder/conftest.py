"""Real events for the recorder's tests: noisy pictures, sound, calibration, settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

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
from liveview.settings import Settings, Store


class HandLease:
    """A lease that remembers how often it was given back."""

    def __init__(self, frame: Frame) -> None:
        frame.pixels.flags.writeable = False
        self.frame = frame
        self.released = 0

    def release(self) -> None:
        self.released += 1


@dataclass
class Made:
    """An event as it was made, to hold against what is read back."""

    start: EventStart
    frames: list[Frame]
    blocks: list[SoundBlock]
    leases: list[HandLease]


def source_info(shape: tuple[int, ...], white: int) -> SourceInfo:
    bits = white.bit_length()
    channels = shape[2] if len(shape) == 3 else 1
    return SourceInfo(
        SourceKind.CAMERA, "bench camera", shape[1], shape[0], channels, bits, white, True, 200.0
    )


def make_frames(
    count: int, shape: tuple[int, ...], white: int, seed: int = 1, rate: float = 200.0
) -> list[Frame]:
    rng = np.random.default_rng(seed)
    kind = np.uint8 if white <= 255 else np.uint16
    smooth = np.linspace(0.1, 0.9, shape[1])[None, :] * white
    smooth = np.broadcast_to(smooth if len(shape) == 2 else smooth[..., None], shape)
    frames = []
    for index in range(count):
        noisy = smooth + rng.normal(0, white / 60, shape)
        pixels = np.clip(np.rint(noisy), 0, white).astype(kind)
        pixels.flat[0], pixels.flat[-1] = 0, white
        time_s = 12.3456789 + index / rate + 1e-7 * rng.integers(0, 900)
        stamp = FrameStamp(100 + index + 3 * (index >= 5), time_s, 2.5e-4, 10**12 + index)
        frames.append(Frame(pixels, stamp, white))
    return frames


def make_blocks(count: int, channels: int, bits: int, seed: int = 2) -> list[SoundBlock]:
    rng = np.random.default_rng(seed)
    blocks = []
    for index in range(count):
        samples = rng.uniform(-0.9, 0.9, (480, channels))
        if bits < 32:
            samples = np.rint(samples * 2 ** (bits - 1)) / 2 ** (bits - 1)
        lost = 96 if index == 2 else 0
        start = 12.34 + index * 0.01 + (0.002 if index >= 2 else 0.0)
        blocks.append(SoundBlock(samples.astype(np.float32), 48000.0, start, 1e-4, lost))
    return blocks


def make_calibration(info: SourceInfo, seed: int = 3) -> Calibration:
    rng = np.random.default_rng(seed)

    def picture(level: float, clipped: bool) -> Average:
        light = (level * rng.uniform(0.5, 1.0, (info.height, info.width))).astype(np.float32)
        mask = light > 0.95 * light.max() if clipped else None
        at = "2031-05-06T07:08:09+02:00"
        return Average(light, 16, 1.5, at, info.camera_state, mask)

    return Calibration(picture(0.01, False), picture(1.0, True), picture(0.5, True))


def make(
    count: int = 12,
    shape: tuple[int, ...] = (48, 64),
    white: int = 255,
    *,
    channels: int = 1,
    bits: int = 16,
    blocks: int = 6,
    calibrated: bool = True,
) -> Made:
    info = source_info(shape, white)
    sound = SoundInfo("bench microphone", 48000.0, channels, True) if blocks else None
    frames = make_frames(count, shape, white)
    start = EventStart(
        cause=Cause.FLASH,
        spotted=Spotted(12.37, 1e-3, Cause.FLASH, 9.5, 105, (10, 20)),
        source=info,
        sound=sound,
        calibration=make_calibration(info) if calibrated else Calibration(),
        settings=Settings().to_mapping(),
        disc=Disc(31.5, 23.5, 20.0),
        started_at="2031-05-06T07:08:10+02:00",
        wall_minus_session_s=1.9e9,
    )
    leases = [HandLease(frame) for frame in frames]
    return Made(start, frames, make_blocks(blocks, channels, bits), leases)


def feed(recorder: Recorder, made: Made, *, complete: bool = True) -> None:
    recorder.begin(made.start)
    for index, lease in enumerate(made.leases):
        recorder.add_frame(lease)
        if index < len(made.blocks):
            recorder.add_sound(made.blocks[index])
    for block in made.blocks[len(made.leases) :]:
        recorder.add_sound(block)
    recorder.mark(Spotted(12.39, 1e-3, Cause.SOUND, 7.0))
    recorder.end(complete)


def assert_same(event: StoredEvent, made: Made) -> None:
    """Everything that went in comes out, bit for bit; times to the nanosecond."""
    assert len(event) == len(made.frames)
    for index, frame in enumerate(made.frames):
        got = event.frame(index)
        assert got.pixels.dtype == frame.pixels.dtype
        np.testing.assert_array_equal(got.pixels, frame.pixels)
        assert got.number == frame.number
        assert round(got.time_s * 1e9) == round(frame.time_s * 1e9)
        assert got.stamp.device_ns == frame.stamp.device_ns
    blocks = event.sound()
    assert len(blocks) == len(made.blocks)
    for got_block, block in zip(blocks, made.blocks, strict=True):
        np.testing.assert_array_equal(got_block.samples, block.samples)
        assert round(got_block.start_s * 1e9) == round(block.start_s * 1e9)
        assert got_block.lost_before == block.lost_before


@dataclass(frozen=True)
class Kit:
    """What the tests use, as one fixture."""

    make: Callable[..., Made]
    feed: Callable[..., None]
    assert_same: Callable[[StoredEvent, Made], None]
    store: Store
    folder: Path
    lease: type[HandLease]

    def record(self, made: Made, **options: object) -> Path:
        """Record and convert one event; its folder."""
        recorder = Recorder(self.store, folder=self.folder)
        try:
            feed(recorder, made, **options)
            assert recorder.drain(30.0), recorder.status()
            return recorder.events[-1].path
        finally:
            recorder.close()


def kit_in(folder: Path) -> Kit:
    return Kit(make, feed, assert_same, Store(reserve_mb=0, ring_mb=64), folder, HandLease)


@pytest.fixture
def kit(tmp_path: Path) -> Kit:
    return kit_in(tmp_path / "ev")


@pytest.fixture(scope="module")
def whole_event(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An event as it was recorded, to be copied before it is damaged."""
    return kit_in(tmp_path_factory.mktemp("whole")).record(make())


Array = NDArray[np.float32]
