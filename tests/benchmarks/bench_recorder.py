"""Recorder: spooling, conversion, random access; each beside a plain reference in the same run.

Run: ``python tests/benchmarks/bench_recorder.py [--frames 400] [--endurance SECONDS]``.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import psutil

from liveview.model import (
    Calibration,
    Cause,
    EventStart,
    Frame,
    FrameStamp,
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.recorder import Recorder, StoredEvent
from liveview.recorder.convert import finish_part
from liveview.recorder.files import Room
from liveview.recorder.spool import SpoolWriter
from liveview.settings import Settings, Store

HEIGHT, WIDTH = 720, 1280
INFO = SourceInfo(SourceKind.CAMERA, "bench", WIDTH, HEIGHT, 1, 8, 255, True, 120.0)


def pictures(count: int) -> list[np.ndarray]:
    """Smooth light with the noise of a good camera (2 codes)."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    base = 120 + 60 * np.sin(x / 200) + 30 * np.cos(y / 90)
    return [
        np.clip(base + rng.normal(0, 2, (HEIGHT, WIDTH)), 0, 255).astype(np.uint8)
        for _ in range(count)
    ]


def start() -> EventStart:
    return EventStart(
        Cause.HAND,
        Spotted(0.0, 0.0, Cause.HAND, 1.0),
        INFO,
        None,
        Calibration(),
        Settings().to_mapping(),
        None,
        "2031-05-06T07:08:09+00:00",
    )


def frames(count: int, some: list[np.ndarray]) -> list[Frame]:
    return [Frame(some[i % len(some)], FrameStamp(i, i / 120.0, 1e-4), 255) for i in range(count)]


def bench_spool(folder: Path, count: int, some: list[np.ndarray]) -> Path:
    raw = folder / "plain.raw"
    begin = time.perf_counter()
    with raw.open("wb", buffering=0) as file:
        for frame in frames(count, some):
            file.write(frame.pixels)
    plain = (time.perf_counter() - begin) / count * 1e3
    raw.unlink()
    part = folder / "bench.part"
    part.mkdir()
    writer = SpoolWriter(part, start(), Room(part, 0))
    begin = time.perf_counter()
    for frame in frames(count, some):
        writer.add_frame(frame)
    spooled = (time.perf_counter() - begin) / count * 1e3
    writer.end(True, 0)
    print(f"spool      {spooled:7.2f} ms a frame; plain write {plain:.2f}; x{spooled / plain:.1f}")
    return part


def bench_convert(part: Path, count: int) -> Path:
    cpu = time.process_time()
    begin = time.perf_counter()
    path = finish_part(part)
    wall = (time.perf_counter() - begin) / count * 1e3
    cpu = (time.process_time() - cpu) / count * 1e3
    size = (path / "frames.mkv").stat().st_size / count / (HEIGHT * WIDTH)
    print(
        f"convert    {wall:7.2f} ms a frame ({cpu:.1f} CPU), verified; {size:.2f} of the raw size"
    )
    return path


def bench_reading(path: Path) -> None:
    with StoredEvent.open(path) as event:
        order = np.random.default_rng(2).integers(0, len(event), 200)
        times = []
        for index in order:
            begin = time.perf_counter()
            event.frame(int(index))
            times.append((time.perf_counter() - begin) * 1e3)
        begin = time.perf_counter()
        for _ in event.frames(0, min(200, len(event))):
            pass
        in_order = (time.perf_counter() - begin) / min(200, len(event)) * 1e3
    times.sort()
    print(
        f"random     {statistics.median(times):7.2f} ms median, {times[-2]:.2f} p99, "
        f"{times[-1]:.2f} worst of {len(event)} frames; in order {in_order:.2f}"
    )


class Lease:
    """One of a bounded number of slots, as in the engine's ring."""

    def __init__(self, frame: Frame, slots: threading.Semaphore) -> None:
        self.frame = frame
        self._slots: threading.Semaphore | None = slots

    def release(self) -> None:
        if self._slots is not None:
            self._slots.release()
            self._slots = None


def bench_endurance(folder: Path, seconds: float, some: list[np.ndarray]) -> None:
    """720p at 120 frames a second, an event of 4 s every 6 s, from a ring of 256 slots."""
    slots = threading.Semaphore(256)
    recorder = Recorder(Store(reserve_mb=0, ring_mb=300), folder=folder)
    me = psutil.Process()
    memory: list[float] = []
    lost = sent = 0
    open_now = False
    begin = time.perf_counter()
    for number in range(int(seconds * 120)):
        now = number / 120.0
        delay = begin + now - time.perf_counter()
        if delay > 0:
            time.sleep(delay)
        wanted = now % 6.0 < 4.0
        if wanted and not open_now:
            recorder.begin(start())
        elif open_now and not wanted:
            recorder.end(True)
        open_now = wanted
        if wanted and slots.acquire(blocking=False):
            frame = Frame(some[number % len(some)], FrameStamp(number, now, 1e-4), 255)
            recorder.add_frame(Lease(frame, slots))
            sent += 1
        elif wanted:
            lost += 1
        if number % 120 == 0:
            memory.append(me.memory_info().rss / 1e6)
    if open_now:
        recorder.end(True)
    behind = recorder.status().converting
    words = recorder.status().words
    recorder.drain(seconds * 4)
    kept = 0
    for event in recorder.events:
        with StoredEvent.open(event.path) as stored:
            kept += len(stored)
    recorder.close()
    half = len(memory) // 2
    print(
        f"endurance  {seconds:.0f} s: sent {sent}, lost {lost}, kept {kept}; memory "
        f"{max(memory[:half]):.0f} MB in the first half, {max(memory[half:]):.0f} in the second; "
        f"{behind} events waited for conversion at the end; words {words}"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--frames", type=int, default=400)
    parser.add_argument("--endurance", type=float, default=0.0, metavar="SECONDS")
    parser.add_argument("--folder", type=Path)
    args = parser.parse_args()
    some = pictures(24)
    with tempfile.TemporaryDirectory(dir=args.folder) as name:
        folder = Path(name)
        path = bench_convert(bench_spool(folder, args.frames, some), args.frames)
        bench_reading(path)
        if args.endurance:
            bench_endurance(folder / "long", args.endurance, some)


if __name__ == "__main__":
    main()
