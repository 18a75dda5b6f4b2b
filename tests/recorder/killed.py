"""A program that records events without end; the test kills it. Prints what is on the disk."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import numpy as np

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

SHAPE = (120, 160)
FRAMES = 40
MOST_RAW = 6
"""Events that may wait to be compressed: the test has to do it for all that are left."""


def picture(event: int, number: int) -> np.ndarray:
    """What frame ``number`` of event ``event`` must look like."""
    rng = np.random.default_rng((event, number))
    return rng.integers(0, 256, SHAPE, dtype=np.uint8)


class Lease:
    """Tells the parent, through a pipe, the moment its frame is written."""

    def __init__(self, event: int, number: int) -> None:
        self._line = f"{event} {number}\n".encode()
        stamp = FrameStamp(number, event * 10.0 + number * 0.01, 1e-4)
        self.frame = Frame(picture(event, number), stamp, 255)

    def release(self) -> None:
        if self._line:
            os.write(1, self._line)
        self._line = b""


def behind(recorder: Recorder) -> float:
    """Events that are not compressed yet, those in memory included."""
    status = recorder.status()
    return status.converting + status.waiting_frames / FRAMES


def main(folder: Path) -> None:
    recorder = Recorder(Store(reserve_mb=0), folder=folder, when_full="wait")
    info = SourceInfo(SourceKind.CAMERA, "bench", 160, 120, 1, 8, 255, True, 100.0)
    sound = SoundInfo("bench", 8000.0, 1, True)
    os.write(1, b"ready\n")
    event = 0
    while True:
        start = EventStart(
            Cause.HAND,
            Spotted(event * 10.0, 0.0, Cause.HAND, 1.0),
            info,
            sound,
            Calibration(),
            Settings().to_mapping(),
            None,
            f"2031-05-06T07:{event // 60 % 60:02d}:{event % 60:02d}+00:00",
        )
        recorder.begin(start)
        for number in range(FRAMES):
            recorder.add_frame(Lease(event, number))
            samples = np.full((80, 1), number / 128, np.float32)
            recorder.add_sound(SoundBlock(samples, 8000.0, event * 10.0 + number * 0.01))
        recorder.end(True)
        event += 1
        while behind(recorder) > MOST_RAW:
            time.sleep(0.002)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
