"""Exports: a slow 1080p clip beside coding the same pictures alone; stepping in a long event.

Run: ``python tests/benchmarks/bench_export.py [--step-frames 2000]``.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from fractions import Fraction
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
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.recorder.convert import finish_part
from liveview.recorder.files import Room
from liveview.recorder.reading import StoredEvent
from liveview.recorder.spool import SpoolWriter
from liveview.review.enhance import Enhancer
from liveview.review.export import Look, Timing, export_clip
from liveview.review.export.coding import ClipFile, coding_for
from liveview.settings import Settings


def make_event(folder: Path, name: str, count: int, rows: int, columns: int, view: str) -> Path:
    """A plume of smooth noise in a lit disc, 120 frames a second."""
    source = SourceInfo(
        SourceKind.CAMERA, "bench", columns, rows, 1, 8, 255, True, 120.0, transfer="linear"
    )
    y, x = np.mgrid[:rows, :columns]
    disc = Disc((columns - 1) / 2, (rows - 1) / 2, 0.48 * rows)
    lit = np.hypot(x - disc.cx, y - disc.cy) < disc.radius

    def average(level: float) -> Average:
        light = np.where(lit, level, 0.004).astype(np.float32)
        return Average(light, 32, 0.0, "2031-05-06T07:00:00+00:00", source.camera_state)

    dark = average(0.004)
    start = EventStart(
        Cause.HAND,
        Spotted(0.1, 0.0, Cause.HAND, 1.0),
        source,
        None,
        Calibration(dark, average(0.8), average(0.4)),
        Settings().replaced("enhance", view=view).to_mapping(),
        disc,
        "2031-05-06T07:08:09+00:00",
    )
    part = folder / f"{name}.part"
    part.mkdir()
    writer = SpoolWriter(part, start, Room(part, 0))
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 1.2, (8, rows, columns)).astype(np.float32)
    for index in range(count):
        plume = 0.2 * np.sin(x / 15 - index / 3) * np.exp(-(((x - disc.cx) / 80) ** 2))
        codes = np.where(lit, 102 * (1 + plume), 1) + noise[index % 8]
        pixels = np.clip(np.rint(codes), 0, 255).astype(np.uint8)
        writer.add_frame(Frame(pixels, FrameStamp(index, index / 120), 255))
    writer.end(True, 0)
    return finish_part(part)


def bench_clip(folder: Path, view: str, rate: Fraction) -> None:
    """Ten seconds of clip at 30 pictures a second."""
    count = round(10 * 120 * rate)
    path = make_event(folder, f"clip-{view}-{rate.denominator}", count, 1080, 1920, view)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        pictures = [np.ascontiguousarray(enhancer.picture(i)[..., :3]) for i in range(len(event))]
        out = folder / "clip.mp4"
        begin, cpu = time.perf_counter(), time.process_time()
        export_clip(enhancer, out, timing=Timing(rate), look=Look(), overwrite=True)
        ours = 300 / (time.perf_counter() - begin)
        cpu = (time.process_time() - cpu) / 300 * 1e3
    begin = time.perf_counter()
    file = ClipFile(
        folder / "plain.mp4", coding_for(out), (1920, 1080), Fraction(30), {}, sound=False
    )
    for number in range(300):
        file.add_picture(pictures[number * len(pictures) // 300])
    file.finish()
    plain = 300 / (time.perf_counter() - begin)
    print(
        f"clip 1080p {view:7} at {rate} of real time: {ours:6.1f} pictures/s, coding alone "
        f"{plain:.1f}, ratio {ours / plain:.2f}; {cpu:.1f} ms CPU a picture; {len(pictures)} frames"
    )


def bench_steps(folder: Path, count: int) -> None:
    """From any frame to any other, enhanced, as a person steps."""
    path = make_event(folder, "long", count, 720, 1280, "lifted")
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        order = np.random.default_rng(2).integers(0, count, 100)
        read, shown = [], []
        for index in order:
            begin = time.perf_counter()
            event.frame(int(index))
            middle = time.perf_counter()
            enhancer.reading(int(index))
            read.append((middle - begin) * 1e3)
            shown.append((time.perf_counter() - begin) * 1e3)
    print(
        f"step in {count} frames of 720p: {np.median(shown):.1f} ms median, {max(shown):.1f} worst "
        f"(reading alone {np.median(read):.1f}, {max(read):.1f})"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--step-frames", type=int, default=500)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for view in ("lifted", "signed"):
            for rate in (Fraction(1, 40), Fraction(1, 10)):
                bench_clip(folder, view, rate)
        bench_steps(folder, args.step_frames)


if __name__ == "__main__":
    main()
