"""Exports: a slow 1080p clip beside coding the same pictures alone; stepping in a long event.

::

    python tests/benchmarks/bench_export.py [--step-frames 2000] [--bits 12] [--only clips|steps]

Under ``chrt -r`` the system holds everything up for 50 ms whenever both cores have been busy for
95 % of a second; steps are therefore taken with a pause, as a person takes them.
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
    Bytes,
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
from liveview.review.export.common import Stretch, Studio
from liveview.review.export.flashcheck import FlashCheck
from liveview.settings import Settings

RATES = (Fraction(1, 40), Fraction(1, 20), Fraction(1, 10), Fraction(1, 4))
PAUSE_S = 0.05


def make_event(
    folder: Path, name: str, count: int, rows: int, columns: int, view: str, bits: int = 8
) -> Path:
    """A plume of smooth noise in a lit disc, 120 frames a second."""
    white = 2**bits - 1
    source = SourceInfo(
        SourceKind.CAMERA, "bench", columns, rows, 1, bits, white, True, 120.0, transfer="linear"
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
        codes = (np.where(lit, 102 * (1 + plume), 1) + noise[index % 8]) * (white / 255)
        pixels = np.clip(np.rint(codes), 0, white).astype(source.dtype)
        writer.add_frame(Frame(pixels, FrameStamp(index, index / 120), white))
    writer.end(True, 0)
    return finish_part(part)


def bench_clips(folder: Path, view: str) -> None:
    """Ten seconds of clip at 30 pictures a second, each frame shown ten times to once."""
    with StoredEvent.open(make_event(folder, f"clip-{view}", 300, 1080, 1920, view)) as event:
        parts(event, folder)
        for rate in RATES:
            bench_clip(event, folder, rate)


def bench_clip(event: StoredEvent, folder: Path, rate: Fraction) -> None:
    """The clip, and its pictures coded alone."""
    enhancer, count = Enhancer(event), round(300 * 4 * rate)
    out, stretch = folder / "clip.mp4", Stretch(0, count - 1)
    begin, cpu = time.perf_counter(), time.process_time()
    export_clip(enhancer, out, timing=Timing(rate), look=Look(), stretch=stretch, overwrite=True)
    ours = 300 / (time.perf_counter() - begin)
    cpu = (time.process_time() - cpu) / 300 * 1e3
    # A picture counts, not which: thirty different ones take turns.
    some = min(count, 30)
    studio = Studio(enhancer, Look(), rate=rate, even=True)
    pictures = [studio.picture(index) for index in range(some)]
    begin = time.perf_counter()
    file = clip_file(folder, studio)
    for number in range(300):
        file.add_picture(pictures[number * count // 300 % some])
    file.finish()
    plain = 300 / (time.perf_counter() - begin)
    view = enhancer.settings.enhance.view
    print(
        f"clip 1080p {view:7} at {rate!s:4} of real time: {ours:6.1f} pictures/s, coding alone "
        f"{plain:.1f}, ratio {ours / plain:.2f}; {cpu:.1f} ms CPU a picture; {count} frames"
    )


def clip_file(folder: Path, studio: Studio) -> ClipFile:
    """A clip without sound."""
    path = folder / "plain.mp4"
    size = (studio.canvas.width, studio.canvas.height)
    return ClipFile(path, coding_for(path), size, Fraction(30), {}, sound=False, grey=studio.grey)


def parts(event: StoredEvent, folder: Path) -> None:
    """What the parts of a new picture cost, one after the other; what a repeated one costs."""
    enhancer = Enhancer(event)
    studio = Studio(enhancer, Look(), rate=Fraction(1, 20), even=True)
    check = FlashCheck(False, (studio.canvas.width, studio.canvas.height))
    spent = dict.fromkeys(("reading", "enhancing and composing", "checking flashes"), 0.0)
    pictures: list[Bytes] = []
    for index in range(40):
        for name, step in zip(
            spent,
            (
                event.frame,
                lambda n: pictures.append(studio.picture(n)),
                lambda n: check.admit(pictures[n], n / 30),
            ),
            strict=True,
        ):
            begin = time.process_time()
            step(index)
            spent[name] += time.process_time() - begin
    for name, again in (("converting and coding", 1), ("of one that is shown ten times", 10)):
        begin = time.process_time()
        file = clip_file(folder, studio)
        for picture in pictures:
            for _ in range(again):
                file.add_picture(picture)
        file.finish()
        spent[name] = (time.process_time() - begin) / again
    told = ", ".join(f"{name} {seconds / 40 * 1e3:.1f}" for name, seconds in spent.items())
    print(f"ms CPU a new picture 1080p {enhancer.settings.enhance.view}: {told}")


def bench_steps(folder: Path, count: int, rows: int, columns: int, bits: int) -> None:
    """From any frame to any other and to the next, enhanced, as a person steps."""
    path = make_event(folder, "long", count, rows, columns, "lifted", bits)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        middle = count // 2
        ways = {
            "any": np.random.default_rng(2).integers(0, count, 100),
            "next": np.arange(middle, middle + 100),
            "one before": np.arange(middle, middle - 100, -1),
        }
        for name, order in ways.items():
            read, shown = [], []
            for index in order:
                time.sleep(PAUSE_S)
                begin = time.perf_counter()
                event.frame(int(index))
                read.append((time.perf_counter() - begin) * 1e3)
                enhancer.reading(int(index))
                shown.append((time.perf_counter() - begin) * 1e3)
            print(
                f"step to {name} of {count} frames of {rows}p, {bits} bit: "
                f"{np.median(shown):.1f} ms median, {np.quantile(shown, 0.95):.1f} in 19 of 20, "
                f"{max(shown):.1f} worst "
                f"(reading alone {np.median(read):.1f}, {max(read):.1f})"
            )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--step-frames", type=int, default=500)
    parser.add_argument("--bits", type=int, default=8, help="of the frames that are stepped to")
    parser.add_argument("--only", choices=("clips", "steps"))
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if args.only != "steps":
            for view in ("lifted", "signed"):
                bench_clips(folder, view)
        if args.only != "clips":
            bench_steps(folder, args.step_frames, 720, 1280, args.bits)


if __name__ == "__main__":
    main()
