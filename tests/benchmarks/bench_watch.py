"""What does it cost to watch every frame for flashes?

Milliseconds of processor time a frame in the whole catcher (what the watch thread does with each
frame besides taking it from the ring), for sizes, depths, colour and rates; beside it, in the
same run and on the same frames, a plain copy and the least that anybody would do: the mean
absolute difference to the frame before.

Run: ``python tests/benchmarks/bench_watch.py [--frames 1200]``
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from liveview.imaging.cv import cv2
from liveview.model import Disc, Frame, FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Settings
from liveview.trigger.catcher import Catcher

CASES = [
    (720, 1280, 1, 8, 240.0),
    (720, 1280, 1, 8, 60.0),
    (720, 1280, 1, 16, 240.0),
    (720, 1280, 3, 8, 240.0),
    (1080, 1920, 1, 8, 120.0),
    (1080, 1920, 1, 16, 120.0),
]
READY = 12
"""Frames made beforehand; more than the cache holds."""
WARM_UP = 300
PIECE = 100
"""Frames between two changes of what is measured, so that all see the same machine."""


def pictures(rows: int, columns: int, channels: int, bits: int) -> list[Pixels]:
    """A bright disc in the dark, with noise."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:rows, :columns]
    inside = np.hypot(x - columns / 2, y - rows / 2) < 0.45 * rows
    base = np.where(inside, 140.0, 8.0)
    scale = 257 if bits == 16 else 1
    ready = []
    for _ in range(READY):
        grey = scale * np.clip(base + rng.normal(0, 2, base.shape), 0, 255)
        codes = grey.astype(np.uint16 if bits == 16 else np.uint8)
        ready.append(np.repeat(codes[..., None], 3, axis=2) if channels == 3 else codes)
    return ready


def watcher(case: tuple[int, int, int, int, float]) -> Callable[[Pixels], object]:
    """An armed catcher that has learnt."""
    rows, columns, channels, bits, rate_hz = case
    white = 2**bits - 1
    info = SourceInfo(
        SourceKind.CAMERA, "bench", columns, rows, channels, bits, white, True, rate_hz
    )
    catcher = Catcher(Settings(), info)
    catcher.set_disc(Disc(columns / 2, rows / 2, 0.45 * rows))
    catcher.arm()
    number = 0

    def watch(pixels: Pixels) -> object:
        nonlocal number
        number += 1
        return catcher.see(Frame(pixels, FrameStamp(number, number / rate_hz), white))

    return watch


def copier(shape: Pixels) -> Callable[[Pixels], object]:
    """A plain copy."""
    out = np.empty_like(shape)
    return lambda pixels: np.copyto(out, pixels)


def differ() -> Callable[[Pixels], object]:
    """Mean absolute difference to the frame before."""
    before: Pixels | None = None

    def work(pixels: Pixels) -> object:
        nonlocal before
        last, before = before, pixels
        return 0.0 if last is None else cv2.mean(cv2.absdiff(pixels, last))

    return work


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=1200)
    args = parser.parse_args()
    print("rows x columns x channels, bits, rate:   copy  difference  watching  (ms CPU a frame)")
    for case in CASES:
        ready = pictures(*case[:4])
        order = np.random.default_rng(2).integers(0, READY, WARM_UP + args.frames)
        works = {"copy": copier(ready[0]), "difference": differ(), "watching": watcher(case)}
        for index in order[:WARM_UP]:
            works["watching"](ready[index])
        spent: dict[str, list[float]] = {name: [] for name in works}
        for begin in range(WARM_UP, WARM_UP + args.frames, PIECE):
            piece = [ready[index] for index in order[begin : begin + PIECE]]
            for name, work in works.items():
                start = time.thread_time()
                for pixels in piece:
                    work(pixels)
                spent[name].append(1e3 * (time.thread_time() - start) / len(piece))
        copy, difference, watching = (float(np.median(spent[name])) for name in works)
        rows, columns, channels, bits, rate_hz = case
        print(
            f"{rows:5d} x {columns} x {channels}, {bits:2d} bit, {rate_hz:3.0f} Hz: "
            f"{copy:8.3f} {difference:10.3f} {watching:10.3f}   "
            f"= {watching / difference:.1f} differences, "
            f"{0.1 * watching * rate_hz:.0f} % of one core"
        )


if __name__ == "__main__":
    main()
