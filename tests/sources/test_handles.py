"""Opening and closing again and again leaves nothing behind."""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import psutil
import pytest
import soundfile
import tifffile
from support.media import hear_all, noise, read_all, write_video
from support.mjpeg_server import MjpegServer

from liveview.errors import LiveviewError
from liveview.imaging.cv import cv2
from liveview.settings import Settings
from liveview.sources import frame_source, sound_source

ROUNDS = 40


def handles() -> int:
    process = psutil.Process()
    return process.num_handles() if sys.platform == "win32" else process.num_fds()


def memory_mb() -> float:
    gc.collect()
    return psutil.Process().memory_info().rss / 1e6


def stays_flat(work: Callable[[], None]) -> None:
    for _ in range(5):
        work()
    handles_before, before_mb = handles(), memory_mb()
    for _ in range(ROUNDS):
        work()
    gc.collect()
    assert handles() <= handles_before
    # a leaked frame of the sizes used here would be 8 MB over the rounds
    assert memory_mb() - before_mb < 6


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["video", "damaged", "folder", "tiff", "wav", "track"])
def test_files(kind: str, tmp_path: Path) -> None:
    big = noise((400, 500), 2)
    path = tmp_path / kind
    if kind in ("video", "damaged", "track"):
        path = write_video(tmp_path / "a.mkv", big, sound=np.zeros(4800, np.float32))
        if kind == "damaged":
            path.write_bytes(path.read_bytes()[:2000])
    elif kind == "folder":
        path.mkdir()
        for index, picture in enumerate(big):
            cv2.imwrite(str(path / f"{index}.png"), picture)
    elif kind == "tiff":
        path = tmp_path / "a.tif"
        tifffile.imwrite(path, np.stack(big), photometric="minisblack")
    else:
        path = tmp_path / "a.wav"
        soundfile.write(path, np.zeros(48000), 48000)

    def work() -> None:
        try:
            if kind in ("wav", "track"):
                sound = sound_source(str(path), Settings(), clock=float, live=False)
                assert sound is not None
                hear_all(sound)
            else:
                read_all(frame_source(str(path), Settings(), clock=float, live=False))
        except LiveviewError:
            assert kind == "damaged"

    stays_flat(work)


@pytest.mark.slow
def test_a_stream_that_comes_and_goes() -> None:
    with MjpegServer(noise((400, 500), 2), rate_hz=0) as server:

        def work() -> None:
            source = frame_source(server.url, Settings(), clock=time.monotonic, live=True)
            info = source.open()
            out = np.empty(info.shape, info.dtype)
            for _ in range(3):
                source.grab()
                source.read_into(out)
            source.close()
            # the server's side of it must be gone before handles are counted
            server.drop()

        for _ in range(5):
            work()
        time.sleep(0.2)
        before = handles()
        for _ in range(ROUNDS):
            work()
        time.sleep(0.2)
        assert handles() <= before + 2
