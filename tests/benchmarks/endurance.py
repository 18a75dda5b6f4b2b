"""The whole program for minutes: window, trigger, recorder; 1280 x 720 at 120 frames a second.

Run it alone, on a display or with ``xvfb-run``::

    python tests/benchmarks/endurance.py [--seconds 300] [--every 6] [--folder DIR]

A spark is seen and heard every six seconds; each makes an event of four seconds, one before and
three after. Nothing may be lost and memory must stay flat. Every ten seconds a line says what was
lost, what is held, and how much of the disk's work is done; what was converted is checked and
removed, so that the disk needs room for the raw events that wait only. Exit code 1 when frames were
lost, sparks missed, or memory grew.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree

import numpy as np
import psutil
from PyQt6.QtCore import QEventLoop, QTimer
from PyQt6.QtWidgets import QApplication

from liveview.app import VIEWS
from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.bridge import Bridge, Supplies
from liveview.gui.other_pages import add_other_pages
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.model import ArmState, FrameStamp, SoundBlock, SoundInfo, SourceInfo, SourceKind
from liveview.recorder import Recorder
from liveview.settings import Settings
from liveview.sources.formats import DRIVER_FRAMES

WIDTH, HEIGHT, RATE_HZ = 1280, 720, 120.0
SOUND_HZ, BLOCK = 48000, 480
SETTLE_S = 60.0
"""Memory is compared with that of this moment: ring, pages and caches are full by then."""
GROWTH_MB = 40.0
REPORT_S = 10.0
FIRST_SPARK_S = 8.0


def pictures(count: int = 24) -> list[np.ndarray]:
    """A lit disc with noise, made beforehand; the last one with a spark in it."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    disc = np.where((x - 640) ** 2 + (y - 360) ** 2 <= 330**2, 110.0, 4.0)
    noisy = [disc + rng.normal(0, 2.0, disc.shape) for _ in range(count)]
    noisy[-1] += 60.0 * np.exp(-np.hypot(x - 640, y - 360) / 200.0)
    return [np.clip(np.rint(light), 0, 255).astype(np.uint8) for light in noisy]


class Sparks:
    """When they are: the same for camera and microphone."""

    def __init__(self, every_s: float) -> None:
        self.every_s = every_s

    def between(self, start_s: float, end_s: float) -> list[float]:
        """Sparks of a stretch of the session's time."""
        first = max(0, math.ceil((start_s - FIRST_SPARK_S) / self.every_s))
        last = math.ceil((end_s - FIRST_SPARK_S) / self.every_s)
        return [FIRST_SPARK_S + k * self.every_s for k in range(first, last)]


class SparkCamera:
    """Ready frames on the clock; as many are kept as the program asks of a driver, no more."""

    def __init__(self, frames: list[np.ndarray], sparks: Sparks, clock: SessionClock) -> None:
        self._frames, self._sparks, self._clock = frames, sparks, clock
        self._next = self._first = 0

    def open(self) -> SourceInfo:
        self._first = self._next = math.ceil(self._clock() * RATE_HZ) + 1
        return SourceInfo(
            SourceKind.CAMERA, "ready frames", WIDTH, HEIGHT, 1, 8, 255, True, RATE_HZ,
            row_time_s=0.0, exposure_s=1 / RATE_HZ,
        )  # fmt: skip

    def grab(self) -> FrameStamp:
        newest = math.floor(self._clock() * RATE_HZ)
        self._next = max(self._next, newest - DRIVER_FRAMES + 1)
        wait_s = self._next / RATE_HZ - self._clock()
        if wait_s > 0:
            time.sleep(wait_s)
        self._taken_s = (self._next - 1) / RATE_HZ
        return FrameStamp(self._next - self._first, self._taken_s, 0.0005)

    def read_into(self, out: np.ndarray) -> None:
        lit = self._sparks.between(self._taken_s, self._taken_s + 1 / RATE_HZ)
        np.copyto(out, self._frames[-1 if lit else self._next % (len(self._frames) - 1)])
        self._next += 1

    def close(self) -> None:
        pass


class SparkMicrophone:
    """Faint noise, and a crack for each spark, on the same clock."""

    def __init__(self, sparks: Sparks, clock: SessionClock) -> None:
        self._sparks, self._clock = sparks, clock
        self._noise = np.random.default_rng(2).normal(0, 0.003, (SOUND_HZ, 1)).astype(np.float32)
        self._crack = (0.4 * np.linspace(1, -1, 10)).astype(np.float32)

    def open(self) -> SoundInfo:
        self._sample = math.ceil(self._clock() * SOUND_HZ)
        return SoundInfo("ready sound", SOUND_HZ, 1, True)

    def read(self, timeout_s: float) -> SoundBlock:
        start_s = self._sample / SOUND_HZ
        time.sleep(max(start_s + BLOCK / SOUND_HZ - self._clock(), 0.0))
        at = self._sample % (SOUND_HZ - BLOCK)
        samples = self._noise[at : at + BLOCK].copy()
        for spark_s in self._sparks.between(start_s - 0.001, start_s + BLOCK / SOUND_HZ):
            first = round((spark_s - start_s) * SOUND_HZ)
            low, high = max(first, 0), min(first + len(self._crack), BLOCK)
            if high > low:
                samples[low:high, 0] += self._crack[low - first : high - first]
        self._sample += BLOCK
        return SoundBlock(samples, SOUND_HZ, start_s, 0.0005)

    def close(self) -> None:
        pass


@dataclass
class Tally:
    """What was found in the events that were converted."""

    events: int = 0
    frames: int = 0
    holes: int = 0
    both: int = 0
    incomplete: int = 0

    def take(self, folder: Path) -> None:
        """Count finished events and remove them."""
        for path in sorted(folder.iterdir()):
            if path.name.endswith(".part") or not (path / "event.json").is_file():
                continue
            event = json.loads((path / "event.json").read_text(encoding="utf-8"))
            numbers = np.loadtxt(
                path / "times.csv", delimiter=",", skiprows=1, usecols=1, dtype=np.int64
            )
            self.events += 1
            self.frames += len(numbers)
            self.holes += int((np.diff(numbers) - 1).sum())
            self.both += event["cause"] == "both"
            self.incomplete += not event["complete"]
            rmtree(path)


def core_waits() -> dict[str, float]:
    """Seconds that each of the program's own threads stood in the queue for a core (Linux)."""
    waits = {}
    for thread in threading.enumerate():
        path = Path(f"/proc/self/task/{thread.native_id}/schedstat")
        if path.is_file():
            waits[thread.name] = int(path.read_text().split()[1]) / 1e9
    return waits


class Report:
    """A line every ten seconds, and the verdict."""

    def __init__(self, bridge: Bridge, folder: Path, start: float) -> None:
        self._bridge, self._folder, self._start = bridge, folder, start
        self._process = psutil.Process()
        self.tally = Tally()
        self.memory: list[tuple[float, float]] = []
        self.handles: list[tuple[int, int]] = []
        self._queued = 0.0
        self.at_start = 0
        """Frames lost until the trigger was armed: windows and pages were being built."""

    def line(self) -> None:
        """Look and say."""
        self.tally.take(self._folder)
        at_s = time.monotonic() - self._start
        status = self._bridge.status
        c, store = status.counters, status.store
        rss = self._process.memory_info().rss / 1e6
        handles, threads = self._process.num_fds(), self._process.num_threads()
        self.memory.append((at_s, rss))
        self.handles.append((handles, threads))
        queued = core_waits().get("capture", 0.0)
        waited, self._queued = queued - self._queued, queued
        raw = sum(p.stat().st_size for p in self._folder.rglob("frames.raw")) / 1e6
        print(
            f"{at_s:5.0f} s  frames {c.captured}, lost {c.lost_source}+{c.lost_ring}, "
            f"unwatched {c.missed_watch}, sound lost {c.sound_lost_samples}, "
            f"events {store.events_kept}, converted {self.tally.events}, raw {raw:.0f} MB, "
            f"waiting {store.waiting_frames}, RSS {rss:.0f} MB, "
            f"files {handles}, threads {threads}, capture waited {waited:.2f} s for a core"
            + (f"  [{'; '.join((*status.words, *store.words))}]" if status.words else ""),
            flush=True,
        )

    def verdict(self, sparks: int) -> bool:
        """Print it; True when all is well."""
        c, store = self._bridge.status.counters, self._bridge.status.store
        lost = c.lost_source + c.lost_ring - self.at_start
        late = [rss for at_s, rss in self.memory if at_s >= min(SETTLE_S, self.memory[-1][0] / 2)]
        growth = late[-1] - late[0]
        print(
            f"frames {c.captured}, lost {lost} (and {self.at_start} while the window was built), "
            f"not seen by the trigger {c.missed_watch}"
        )
        print(f"sparks {sparks}, events {store.events_kept}")
        print(
            f"converted {self.tally.events} events of {self.tally.frames} frames, holes "
            f"{self.tally.holes}, by both senses {self.tally.both}, cut {self.tally.incomplete}"
        )
        print(f"memory {late[0]:.0f} to {late[-1]:.0f} MB, most {max(late):.0f} MB")
        print(f"files {self.handles[0][0]} to {self.handles[-1][0]}, threads {self.handles[-1][1]}")
        kept = store.events_kept >= sparks and self.tally.holes == 0
        return lost == 0 and c.missed_watch == 0 and kept and growth < GROWTH_MB


def settings_for(folder: Path, ring_mb: int) -> Settings:
    """Four seconds an event, on both senses; all else as it is."""
    settings = Settings().replaced("store", folder=str(folder), ring_mb=ring_mb)
    return settings.replaced(
        "catch", on="either", pre_trigger_s=1.0, post_trigger_s=3.0, mic_distance_m=0.0
    )


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--every", type=float, default=6.0, help="seconds between sparks")
    parser.add_argument("--size", default="1280x800")
    parser.add_argument("--page", default="Watch")
    parser.add_argument("--ring", type=int, default=1024, help="memory of the ring, MB")
    parser.add_argument("--folder", type=Path, help="where events go for the time")
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    app = QApplication(["endurance"])
    dress(app)
    frames, sparks, clock = pictures(), Sparks(options.every), SessionClock()
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        recorder = Recorder(settings_for(folder, options.ring).store)

        def build(address: str, settings: Settings) -> Session:
            return Session(
                settings,
                lambda: SparkCamera(frames, sparks, clock),
                sound=lambda: SparkMicrophone(sparks, clock),
                sink=recorder,
                store_status=recorder.status,
                clock=clock,
            )

        bridge = Bridge(Supplies(build, tuple, ()), settings_for(folder, options.ring))
        window = Window(bridge, VIEWS)
        window.resize(*(int(part) for part in options.size.split("x")))
        window.show()
        bridge.open("frames")
        bridge.start()
        add_other_pages(window, bridge)
        window.turn_to(options.page)
        good = run(bridge, folder, sparks, clock, options.seconds)
        window.close()
        recorder.close()
    return 0 if good else 1


def run(bridge: Bridge, folder: Path, sparks: Sparks, clock: SessionClock, seconds: float) -> bool:
    """Arm, wait, report."""
    loop = QEventLoop()
    report = Report(bridge, folder, time.monotonic())
    beat = QTimer()
    beat.timeout.connect(report.line)
    beat.start(round(REPORT_S * 1e3))

    def arm() -> None:
        if bridge.session is None or bridge.session.newest() is None:
            QTimer.singleShot(100, arm)
        else:
            bridge.session.arm()

    armed_at: list[float] = []

    def look() -> None:
        if not armed_at and bridge.status.arm is ArmState.ARMED:
            armed_at.append(clock())
            counters = bridge.status.counters
            report.at_start = counters.lost_source + counters.lost_ring

    watch_arm = QTimer()
    watch_arm.timeout.connect(look)
    watch_arm.start(100)
    arm()
    QTimer.singleShot(round(seconds * 1e3), loop.quit)
    loop.exec()
    beat.stop()
    watch_arm.stop()
    bridge._pull_status()
    report.line()
    until_s = clock() - 1.0
    expected = len(sparks.between(armed_at[0], until_s)) if armed_at else 0
    # The newest event may still be under way.
    return report.verdict(max(expected - 1, 1))


if __name__ == "__main__":
    raise SystemExit(main())
