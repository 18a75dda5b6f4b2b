"""An event folder as a source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from support.media import hear_all, noise, read_all

from liveview.errors import InputUnreadable, SoundUnavailable
from liveview.model import (
    Calibration,
    Cause,
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
from liveview.sources import frame_source, sound_source
from liveview.sources.event import EventSoundSource, EventSource

SHAPE = (31, 43)
INFO = SourceInfo(SourceKind.CAMERA, "bench camera", 43, 31, 1, 12, 4095, True, 100.0)


class Held:
    """A lease on a frame of a test."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame

    def release(self) -> None:
        pass


def store(
    folder: Path, *, sound: bool, complete: bool = True
) -> tuple[Path, list[np.ndarray], list[FrameStamp]]:
    pictures = noise(SHAPE, 6, 4095)
    stamps = [FrameStamp(5 + i + 2 * (i > 3), 60.0 + i * 0.010000001) for i in range(6)]
    rng = np.random.default_rng(1)
    samples = (rng.integers(-9000, 9000, (4800, 1)) / 32768).astype(np.float32)
    recorder = Recorder(Store(folder=str(folder)))
    start = EventStart(
        cause=Cause.FLASH,
        spotted=Spotted(60.02, 0.001, Cause.FLASH, 9.0, frame=7),
        source=INFO,
        sound=SoundInfo("desk", 48000.0, 1, True) if sound else None,
        calibration=Calibration(),
        settings=Settings().to_mapping(),
        disc=None,
        started_at="2031-05-06T07:08:09+02:00",
    )
    recorder.begin(start)
    for picture, stamp in zip(pictures, stamps, strict=True):
        recorder.add_frame(Held(Frame(picture, stamp, 4095)))
    if sound:
        recorder.add_sound(SoundBlock(samples, 48000.0, 59.98))
    recorder.end(complete)
    assert recorder.drain(20.0)
    recorder.close(20.0)
    (event,) = [path for path in folder.iterdir() if path.is_dir()]
    return event, pictures, stamps


@pytest.mark.slow
def test_frames_come_back_with_the_sessions_times(tmp_path: Path) -> None:
    event, pictures, stamps = store(tmp_path, sound=True)
    clock = lambda: 0.0  # noqa: E731
    source = frame_source(str(event), Settings(), clock=clock, live=False)
    assert isinstance(source, EventSource)
    info, read_stamps, read = read_all(source)
    assert info.kind is SourceKind.EVENT
    assert (info.name, info.white, info.frames, info.live) == ("bench camera", 4095, 6, False)
    assert np.array_equal(read, pictures)
    assert [s.number for s in read_stamps] == [s.number for s in stamps]
    assert [s.time_s for s in read_stamps] == pytest.approx([s.time_s for s in stamps], abs=1e-9)
    sound = sound_source(str(event), Settings(), clock=clock, live=False)
    assert sound is not None
    blocks = hear_all(sound)
    assert blocks[0].start_s == pytest.approx(59.98)
    assert sum(len(block.samples) for block in blocks) == 4800


@pytest.mark.slow
def test_an_event_without_sound_and_a_folder_that_is_none(tmp_path: Path) -> None:
    event, _, _ = store(tmp_path, sound=False)
    with pytest.raises(SoundUnavailable, match="no sound"):
        hear_all(EventSoundSource(event))
    with pytest.raises(SoundUnavailable, match="not an event"):
        hear_all(EventSoundSource(tmp_path))
    with pytest.raises(InputUnreadable, match="not an event"):
        read_all(EventSource(tmp_path))


@pytest.mark.slow
def test_a_damaged_frame_is_left_out_and_said(tmp_path: Path) -> None:
    event, pictures, _ = store(tmp_path, sound=False)
    path = event / "frames.mkv"
    data = bytearray(path.read_bytes())
    rows = (event / "times.csv").read_text().splitlines()
    names = rows[0].split(",")
    third = dict(zip(names, rows[3].split(","), strict=True))
    data[int(third["byte_offset"]) + int(third["byte_size"]) // 2] ^= 0x55
    path.write_bytes(data)
    source = EventSource(event)
    _, stamps, read = read_all(source)
    assert len(stamps) == 5
    assert np.array_equal(read, pictures[:2] + pictures[3:])
    assert any("frame 2" in words for words in source.warnings)


def test_how_much_is_missing_at_the_end_is_said(tmp_path: Path) -> None:
    event, _, stamps = store(tmp_path, sound=False, complete=False)
    source = EventSource(event)
    source.open()
    (words,) = source.warnings
    missing_s = 60.02 + Settings().catch.post_trigger_s - stamps[-1].time_s
    assert f"ends {missing_s:.2f} s early: its recording ended" in words
    source.close()


def test_the_clock_of_an_event_has_a_date(tmp_path: Path) -> None:
    event, _, _ = store(tmp_path, sound=False)
    source = EventSource(event)
    source.open()
    # the spark's date less its session time of 60.02 s
    assert source.recorded_at == "2031-05-06T07:07:08.980000+02:00"
    source.close()
