"""Capture, watching and the chain together: is anything lost, and how late is the picture?

A camera of 240 frames a second at 1280x720 runs through a whole session for 30 s, trigger armed.
Beside it, in the same run, a plain copy and the obvious NumPy chain of one frame are timed, so
that figures from different machines can be compared as ratios.

Run: ``python tests/benchmarks/bench_capture.py [--seconds 30] [--rate 240] [--colour]``
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Settings

WIDTH, HEIGHT = 1280, 720


class Camera:
    """Frames at a steady rate; late frames are handed over at once, never skipped."""

    def __init__(self, rate_hz: float, colour: bool, clock: Callable[[], float]) -> None:
        rng = np.random.default_rng(1)
        y, x = np.mgrid[:HEIGHT, :WIDTH]
        disc = np.hypot(x - WIDTH / 2, y - HEIGHT / 2) < 0.45 * HEIGHT
        base = np.where(disc, 140, 8)
        frames = [
            np.clip(base + rng.normal(0, 2, base.shape), 0, 255).astype(np.uint8) for _ in range(8)
        ]
        self._frames = [np.repeat(f[..., None], 3, 2) for f in frames] if colour else frames
        channels = 3 if colour else 1
        self._info = SourceInfo(
            SourceKind.CAMERA, "bench", WIDTH, HEIGHT, channels, 8, 255, True, rate_hz
        )
        self._clock = clock
        self._period_s = 1.0 / rate_hz
        self._number = -1
        self._start_s = 0.0
        self.late = 0

    def open(self) -> SourceInfo:
        self._start_s = self._clock()
        return self._info

    def grab(self) -> FrameStamp:
        self._number += 1
        due_s = self._start_s + self._number * self._period_s
        wait_s = due_s - self._clock()
        if wait_s > 0:
            time.sleep(wait_s)
        elif wait_s < -self._period_s:
            self.late += 1
        return FrameStamp(self._number, due_s)

    def read_into(self, out: Pixels) -> None:
        np.copyto(out, self._frames[self._number % len(self._frames)])

    def close(self) -> None:
        pass


def obvious_chain(frame: Pixels, dark: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """What one would write first, in NumPy."""
    light = (frame.astype(np.float64) / 255.0) ** 2.2
    contrast = (light - dark) / (reference - dark) - 1.0
    shown = np.clip(contrast / 0.2 * 127 + 128, 0, 255).astype(np.uint8)
    np.histogram(contrast, bins=256, range=(-1, 1))
    return np.dstack([shown, shown, shown, shown])


def timed(work: Callable[[], object], times: int) -> float:
    """Median seconds of one call."""
    spans = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spans.append(time.perf_counter() - begin)
    return float(np.median(spans))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rate", type=float, default=240.0)
    parser.add_argument("--colour", action="store_true")
    args = parser.parse_args()

    clock = SessionClock()
    camera = Camera(args.rate, args.colour, clock)
    grey = camera._frames[0] if not args.colour else camera._frames[0][..., 0]
    out = np.empty_like(grey)
    copy_s = timed(lambda: np.copyto(out, grey), 50)
    flat = np.full(grey.shape, 0.3)
    numpy_s = timed(lambda: obvious_chain(grey, flat * 0, flat), 5)

    settings = Settings().replaced("store", ring_mb=512)
    session = Session(settings, lambda: camera, clock=clock)
    session.start()
    session.arm()
    usage = time.process_time()
    begin = time.monotonic()
    time.sleep(args.seconds)
    spent = time.monotonic() - begin
    cpu = (time.process_time() - usage) / spent
    status = session.status()
    session.stop()
    latency = 1e3 * np.asarray(session.latencies_s())
    counters = status.counters
    shown = len(latency)
    p50, p95, p99, worst = np.percentile(latency, [50, 95, 99, 100])
    print(
        f"{WIDTH}x{HEIGHT} {'colour' if args.colour else 'grey'} at {args.rate:g}/s, {spent:.0f} s"
    )
    print(f"captured {counters.captured}, watched {counters.watched}, shown {shown}")
    print(f"lost in the ring {counters.lost_ring}, missed by the trigger {counters.missed_watch}")
    print(f"camera served late by more than a period {camera.late} times")
    spread = f"95 % {p95:.2f}, 99 % {p99:.2f}, most {worst:.1f}"
    print(f"arrival to reading, ms: median {p50:.2f}, {spread}")
    print(f"plain copy {1e3 * copy_s:.3f} ms, obvious NumPy chain {1e3 * numpy_s:.1f} ms")
    print(f"median reading = {p50 / (1e3 * numpy_s):.3f} of the NumPy chain; CPU {cpu:.2f} cores")


if __name__ == "__main__":
    main()
