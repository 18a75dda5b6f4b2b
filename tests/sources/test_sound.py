"""Sound files, sound tracks, and the fit of arrival times."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from support.media import hear_all, noise, read_all, smooth, write_video

from liveview.errors import SoundUnavailable
from liveview.model import SoundBlock
from liveview.settings import Camera
from liveview.sources.arrival import ArrivalFit, under_slope
from liveview.sources.soundfile import SoundFileSource, SoundTrackSource
from liveview.sources.video import VideoSource

RATE = 48_000


def click(at_s: float = 0.5, seconds: float = 1.0, rate: int = RATE) -> NDArray[np.float32]:
    sound = np.zeros(round(seconds * rate), np.float32)
    sound[round(at_s * rate)] = 0.75
    return sound


def heard_at(blocks: list[SoundBlock]) -> float:
    """Time of the loudest sample."""
    block = max(blocks, key=lambda b: float(np.abs(b.samples).max()))
    return block.start_s + int(np.abs(block.samples[:, 0]).argmax()) / block.rate_hz


def test_a_sound_file_comes_back_sample_for_sample(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    samples = np.random.default_rng(1).uniform(-1, 1, (5000, 2)).astype(np.float32)
    soundfile.write(path, samples, 44100, subtype="FLOAT")
    source = SoundFileSource(path)
    info = source.open()
    source.close()
    assert (info.rate_hz, info.channels, info.live) == (44100, 2, False)
    blocks = hear_all(SoundFileSource(path))
    assert np.array_equal(np.concatenate([b.samples for b in blocks]), samples)
    starts = [b.start_s for b in blocks]
    assert starts == pytest.approx(np.arange(len(blocks)) * 1024 / 44100)


@pytest.mark.parametrize(
    ("name", "codec", "video"),
    [
        ("a.mkv", "flac", "libx264"),
        ("a.mkv", "pcm_s16le", "libx264"),
        ("a.mp4", "aac", "libx264"),
        ("a.ts", "aac", "libx264"),
        ("a.avi", "pcm_s16le", "mpeg4"),
    ],
)
def test_a_track_agrees_with_the_pictures_in_time(
    name: str, codec: str, video: str, tmp_path: Path
) -> None:
    pictures = [picture // 4 for picture in smooth(48, 64, 30)]
    pictures[15] = np.full((48, 64, 3), 255, np.uint8)  # a flash at 15/30 s
    path = write_video(
        tmp_path / name, pictures, form="yuv420p", codec=video, sound=click(), sound_codec=codec
    )
    _, stamps, read = read_all(VideoSource(str(path), Camera()))
    flash = stamps[int(np.argmax([picture.mean() for picture in read]))].time_s
    heard = heard_at(hear_all(SoundTrackSource(path)))
    # both at 0.5 s; the file's ticks round to a millisecond
    assert heard - flash == pytest.approx(0.0, abs=0.0011)


def test_a_hole_in_a_track_is_counted(tmp_path: Path) -> None:
    from fractions import Fraction

    import av

    path = tmp_path / "hole.mkv"
    with av.open(str(path), "w") as file:
        track = file.add_stream("pcm_s16le", rate=RATE)
        track.layout = "mono"
        for first in (0, 4800, 24_000):  # half a second, a hole of 14,400 samples, then more
            run = av.AudioFrame.from_ndarray(np.zeros((1, 4800), np.int16), "s16", "mono")
            run.sample_rate, run.pts, run.time_base = RATE, first, Fraction(1, RATE)
            file.mux(track.encode(run))
        file.mux(track.encode(None))
    blocks = hear_all(SoundTrackSource(path))
    lost = sum(block.lost_before for block in blocks)
    assert lost == pytest.approx(14_400, abs=RATE // 1000), "whole milliseconds in the file"
    assert blocks[-1].start_s + len(blocks[-1].samples) / RATE == pytest.approx(0.6, abs=0.001)


def test_a_track_cut_off_gives_what_is_there(tmp_path: Path) -> None:
    path = write_video(tmp_path / "a.mkv", noise((32, 32), 30), sound=click(0.1))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    blocks = hear_all(SoundTrackSource(path))
    assert heard_at(blocks) == pytest.approx(0.1, abs=0.001)
    assert sum(len(b.samples) for b in blocks) < RATE


def test_no_sound_says_why(tmp_path: Path) -> None:
    silent = write_video(tmp_path / "a.mkv", noise((32, 32), 3))
    with pytest.raises(SoundUnavailable, match="has no sound track"):
        hear_all(SoundTrackSource(silent))
    text = tmp_path / "a.wav"
    text.write_text("not sound")
    with pytest.raises(SoundUnavailable, match="not a sound file"):
        hear_all(SoundFileSource(text))
    with pytest.raises(SoundUnavailable, match="not a recording"):
        hear_all(SoundTrackSource(text))
    with pytest.raises(SoundUnavailable, match="no such file"):
        hear_all(SoundFileSource(tmp_path / "none.wav"))
    text.write_bytes(b"")
    with pytest.raises(SoundUnavailable, match="empty"):
        hear_all(SoundFileSource(text))


def arrivals(
    rng: np.random.Generator, *, blocks: int, drift: float = 0.0, delay_s: float = 0.0
) -> list[tuple[int, float]]:
    """Counts and arrival times of blocks of 480 samples: late by chance, never early."""
    counts = 480 * np.arange(1, blocks + 1)
    true_s = 100.0 + counts / RATE * (1 + drift)
    late_s = rng.exponential(0.004, blocks) * (rng.random(blocks) < 0.8)
    return list(zip(counts.tolist(), (true_s + delay_s + late_s).tolist(), strict=True))


@pytest.mark.parametrize("drift", [0.0, 80e-6, -150e-6])
def test_the_line_under_late_arrivals_is_the_clock(drift: float) -> None:
    fit = ArrivalFit(RATE)
    for count, arrived_s in arrivals(np.random.default_rng(3), blocks=6000, drift=drift):
        fit.add(count, arrived_s)
    count = 480 * 6000
    true_s = 100.0 + count / RATE * (1 + drift)
    # every fifth block is on time, 25 to a bin: the line under the bins is that good
    assert fit.time_s(count) == pytest.approx(true_s, abs=0.0005)
    assert fit.jitter_s < 0.002


def test_the_first_block_counts_at_once() -> None:
    fit = ArrivalFit(RATE)
    fit.add(480, 7.01)
    assert fit.time_s(480) == pytest.approx(7.01)
    assert fit.time_s(0) == pytest.approx(7.0)


def test_a_false_drift_is_not_believed() -> None:
    fit = ArrivalFit(RATE)
    for count, arrived_s in arrivals(np.random.default_rng(3), blocks=3000, drift=0.01):
        fit.add(count, arrived_s)
    step = fit.time_s(RATE) - fit.time_s(0)
    assert step == pytest.approx(1.0, abs=0.00051)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_the_line_is_under_all_points_and_touches(late: list[float]) -> None:
    points = [(float(x), y) for x, y in enumerate(late)]
    slope = under_slope(points)
    offset = min(y - slope * x for x, y in points)
    gaps = [y - slope * x - offset for x, y in points]
    assert min(gaps) == 0
    assert all(gap >= 0 for gap in gaps)
    # no other line under all points is nearer on average: try each pair's
    for i, (x0, y0) in enumerate(points):
        for x1, y1 in points[i + 1 :]:
            other = (y1 - y0) / (x1 - x0)
            low = min(y - other * x for x, y in points)
            assert sum(gaps) <= sum(y - other * x - low for x, y in points) + 1e-9
