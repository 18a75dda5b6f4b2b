"""Hours in small: the whole program on a bad network camera; does anything grow?

Run it on a display or with ``xvfb-run``, for as long as you have::

    python tests/benchmarks/soak.py [--minutes 15] [--size 640x480] [--rate 60]

The real window, session and recorder run on a motion-JPEG stream that another process serves over
a loopback socket. The stream flashes, stalls, is cut, sends rubbish and changes its size, again
and again; events are caught by the flash and kept by hand; the pages are turned; old events are
deleted under the program's feet. Memory, handles and threads are written down twenty times; the
exit code is 1 when the last quarter holds more than the second one, or when a picture, an event or
the words of a fault did not come.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

KEPT_EVENTS = 12
EVENT_EVERY_S = 9.0
PAGE_EVERY_S = 4.0
ROUND_S = 30.0
"""The stream's faults come once in each round."""
MEMORY_SLACK = 0.05
MEMORY_SLACK_MB = 8.0
MORE_HANDLES = 3
MORE_THREADS = 1


def shots(width: int, height: int, count: int = 12) -> list[bytes]:
    """Pictures of a lit mirror with a plume and noise, as JPEG."""
    from support.mjpeg_server import jpeg

    rng = np.random.default_rng(4)
    y, x = np.mgrid[:height, :width]
    inside = np.hypot(x - width / 2, y - height / 2) < 0.45 * height
    made = []
    for k in range(count):
        across = (x - width * (0.5 + 0.05 * np.sin(y / 40 + 2 * np.pi * k / count))) / 30
        light = np.where(inside, 120 + 25 * across * np.exp(-(across**2)), 3.0)
        noisy = np.clip(np.rint(light + rng.normal(0, 2, light.shape)), 0, 255)
        made.append(jpeg(noisy.astype(np.uint8)))
    return made


def flash(width: int, height: int) -> bytes:
    """One picture of a spark: the whole field is brighter."""
    from support.mjpeg_server import jpeg

    return jpeg(np.full((height, width), 235, np.uint8))


def serve(width: int, height: int, rate_hz: float, seconds: float) -> None:
    """The camera: prints its address, then plays rounds of faults until its time is over."""
    from support import mjpeg_server

    mjpeg_server.LIFE_S = seconds + 60.0
    large, small = shots(width, height), shots(width // 2, height // 2)
    lit = [*large, flash(width, height), *large]
    with mjpeg_server.MjpegServer(large, rate_hz=rate_hz) as server:
        print(server.url, flush=True)
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            for step in (
                lambda: server.show(lit),
                lambda: server.show(large),
                server.stall,
                server.go_on,
                lambda: server.spoil(5),
                lambda: server.show(small),
                lambda: server.show(large),
                server.drop,
                lambda: server.refuse(True),
                lambda: (server.drop(), server.refuse(False)),
            ):
                step()
                time.sleep(ROUND_S / 10)


@dataclass(frozen=True)
class Sample:
    """The program's size at one moment."""

    at_s: float
    memory_mb: float
    handles: int
    threads: int
    captured: int
    lost: int
    events: int


class Soak:
    """The window and what a restless person does with it."""

    def __init__(self, address: str, folder: Path, seconds: float) -> None:
        from PyQt6.QtCore import QTimer
        from PyQt6.QtWidgets import QApplication

        from liveview.app import VIEWS, House
        from liveview.gui.bridge import Bridge
        from liveview.gui.other_pages import add_other_pages
        from liveview.gui.theme import dress
        from liveview.gui.window import Window
        from liveview.settings import Settings

        self.app = QApplication.instance() or QApplication(["soak"])
        dress(self.app)
        settings = (
            Settings()
            .replaced("store", folder=str(folder), ring_mb=64, reserve_mb=0)
            .replaced("catch", pre_trigger_s=0.5, post_trigger_s=0.5, on="flash")
            .replaced("sound", enabled=False)
        )
        self.folder = folder
        self.house = House(settings)
        self.bridge = Bridge(self.house.supplies(), settings)
        self.window = Window(self.bridge, VIEWS)
        add_other_pages(self.window, self.bridge)
        self.window.resize(1280, 800)
        self.window.show()
        self.bridge.open_first([address])
        self.bridge.start()
        self.samples: list[Sample] = []
        self.states: set[str] = set()
        self.words: set[str] = set()
        self._process = psutil.Process()
        self._began = time.monotonic()
        self._pages = self._turn()
        self._timers = []
        for every_s, what in (
            (0.2, self._listen),
            (EVENT_EVERY_S, self._event),
            (PAGE_EVERY_S, lambda: next(self._pages)),
            (seconds / 20, self._measure),
        ):
            timer = QTimer()
            timer.timeout.connect(what)
            timer.start(round(every_s * 1000))
            self._timers.append(timer)
        QTimer.singleShot(round((seconds + 1.0) * 1000), self.app.quit)
        QTimer.singleShot(3000, lambda: self.bridge.session and self.bridge.session.arm())

    def run(self) -> None:
        """Until the time is over, then close."""
        self.app.exec()
        for timer in self._timers:
            timer.stop()
        self.window.close()
        self.house.close()

    def _turn(self) -> Iterator[None]:
        from PyQt6.QtCore import Qt
        from PyQt6.QtTest import QTest

        while True:
            for key in (Qt.Key.Key_F2, Qt.Key.Key_F3, Qt.Key.Key_F4, Qt.Key.Key_F5, Qt.Key.Key_F6):
                QTest.keyClick(self.window, key)
                yield

    def _listen(self) -> None:
        status = self.bridge.status
        self.states.add(status.state.value)
        self.words |= {*status.words, *status.store.words}

    def _event(self) -> None:
        session = self.bridge.session
        if session is not None:
            session.trigger()
        done = (p for p in self.folder.iterdir() if p.is_dir() and not p.name.endswith(".part"))
        for old in sorted(done)[:-KEPT_EVENTS]:
            shutil.rmtree(old)

    def _measure(self) -> None:
        process, status = self._process, self.bridge.status
        handles = process.num_handles() if sys.platform == "win32" else process.num_fds()
        counters = status.counters
        self.samples.append(
            Sample(
                time.monotonic() - self._began,
                process.memory_info().rss / 1e6,
                handles,
                process.num_threads(),
                counters.captured,
                counters.lost_source + counters.lost_ring + counters.missed_watch,
                status.store.events_kept,
            )
        )
        print(row(self.samples[-1]), flush=True)


def row(s: Sample) -> str:
    """One line of the table."""
    return (
        f"{s.at_s:7.0f} {s.memory_mb:9.1f} {s.handles:8d} {s.threads:8d} {s.captured:9d}"
        f" {s.lost:7d} {s.events:7d}"
    )


def faults(soak: Soak) -> Iterator[str]:
    """What was wrong, in words."""
    quarter = len(soak.samples) // 4
    early, late = soak.samples[quarter : 2 * quarter], soak.samples[-quarter:]

    def middle(name: str, samples: list[Sample]) -> float:
        return statistics.median(getattr(sample, name) for sample in samples)

    before, after = middle("memory_mb", early), middle("memory_mb", late)
    if after > before * (1 + MEMORY_SLACK) + MEMORY_SLACK_MB:
        yield f"memory grew from {before:.0f} to {after:.0f} MB"
    for name, more in (("handles", MORE_HANDLES), ("threads", MORE_THREADS)):
        before, after = middle(name, early), middle(name, late)
        if after > before + more:
            yield f"{name} grew from {before:g} to {after:g}"
    if late[-1].captured <= early[0].captured or late[-1].events <= early[0].events:
        yield "frames or events stopped coming"
    if not {"running", "stalled"} <= soak.states:
        yield f"states seen: {sorted(soak.states)}"
    for part in ("trying again", "damaged"):
        if not any(part in words for words in soak.words):
            yield f"'{part}' was never said"


def main() -> int:
    """Run it; exit code 1 when something grew or did not come."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=15.0)
    parser.add_argument("--size", default="640x480")
    parser.add_argument("--rate", type=float, default=60.0)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    width, height = (int(part) for part in options.size.split("x"))
    seconds = 60.0 * options.minutes
    if options.serve:
        serve(width, height, options.rate, seconds + 20.0)
        return 0
    command = [sys.executable, __file__, "--serve", *sys.argv[1:]]
    with (
        tempfile.TemporaryDirectory(prefix="soak") as folder,
        subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as camera,
    ):
        try:
            assert camera.stdout is not None
            soak = Soak(camera.stdout.readline().strip(), Path(folder), seconds)
            print("  time s  memory MB  handles  threads  captured    lost  events")
            soak.run()
        finally:
            camera.terminate()
    wrong = list(faults(soak))
    print("said:", *sorted(soak.words), sep="\n  ")
    print(*(wrong or ["nothing grew"]), sep="\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
