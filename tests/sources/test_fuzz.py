"""Damaged input of every kind: it is read, or refused in one line; never a crash, never a hang."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.media import FFV1, hear_all, noise, read_all, smooth, write_video

from liveview.errors import LiveviewError
from liveview.imaging.cv import cv2
from liveview.settings import Settings
from liveview.sources import frame_source, sound_source

SMALL = (24, 32)


def make_mkv(path: Path) -> None:
    write_video(path, noise(SMALL, 4), options=FFV1)


def make_h264(path: Path) -> None:
    write_video(path, smooth(48, 64, 6), form="yuv420p", codec="libx264")


def make_avi(path: Path) -> None:
    write_video(path, smooth(48, 64, 4), form="yuvj420p", codec="mjpeg")


def make_tiff(path: Path) -> None:
    with tifffile.TiffWriter(path) as writer:
        for page in noise(SMALL, 3, 65535):
            writer.write(page, contiguous=False)


def make_picture(path: Path) -> None:
    cv2.imwrite(str(path), noise(SMALL, 1)[0])


def make_sound(path: Path) -> None:
    soundfile.write(path, np.zeros((3000, 2)), 8000)


def make_table(path: Path) -> None:
    write_video(path.with_name("clip.mkv"), noise(SMALL, 3))
    path.write_text("frame,time_ns,device_ns\n0,0,5\n1,1000,\n2,2000,7\n")


MAKERS: dict[str, Callable[[Path], None]] = {
    "a.mkv": make_mkv,
    "a.mp4": make_h264,
    "a.avi": make_avi,
    "a.tif": make_tiff,
    "a.png": make_picture,
    "a.jpg": make_picture,
    "a.bmp": make_picture,
    "a.pgm": make_picture,
    "a.wav": make_sound,
    "clip.times.csv": make_table,
}


def try_to_read(path: Path) -> None:
    address = str(path.with_name("clip.mkv") if path.suffix == ".csv" else path)
    clock = float
    try:
        info, stamps, pictures = read_all(
            frame_source(address, Settings(), clock=clock, live=False)
        )
        assert len(stamps) == len(pictures)
        assert all(picture.shape == info.shape for picture in pictures)
        times = [stamp.time_s for stamp in stamps]
        assert times == sorted(times)
    except LiveviewError as error:
        check_line(error)
    try:
        sound = sound_source(address, Settings(), clock=clock, live=False)
        if sound is not None:
            hear_all(sound)
    except LiveviewError as error:
        check_line(error)


def check_line(error: LiveviewError) -> None:
    line = str(error)
    assert line
    assert "\n" not in line
    assert "Traceback" not in line


@pytest.mark.parametrize("name", MAKERS)
def test_cut_at_every_tenth(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    MAKERS[name](path)
    data = path.read_bytes()
    for tenth in range(10):
        path.write_bytes(data[: len(data) * tenth // 10])
        try_to_read(path)


@pytest.mark.slow
@pytest.mark.parametrize("name", MAKERS)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 7)), min_size=1, max_size=12))
def test_flipped_bits(name: str, flips: list[tuple[float, int]], tmp_path: Path) -> None:
    path = tmp_path / name
    MAKERS[name](path)
    data = bytearray(path.read_bytes())
    for where, bit in flips:
        # squared: headers stand at the beginning and are hit more often
        data[min(int(where * where * len(data)), len(data) - 1)] ^= 1 << bit
    path.write_bytes(data)
    try_to_read(path)
