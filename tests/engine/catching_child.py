"""Child process: a session with the real microphone, cracks played to it, matching flashes.

Writes one JSON line: what was heard while the delay of loudspeaker and sound system was measured,
what was caught by both senses, and after the line "pull" on standard input what is still seen
when the sound system is gone.
"""

import json
import queue
import statistics
import sys
import threading
import time

import numpy as np
import sounddevice

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import ArmState, FrameStamp, SourceInfo, SourceKind
from liveview.settings import Settings
from liveview.sources import sound_source

RATE_HZ = 60.0
WIDTH, HEIGHT = 160, 120
RUN = 480
"""Samples written at a time: 10 ms."""


class Flashing:
    """A camera of 60 frames a second that sees the flashes it is told of."""

    def __init__(self, clock) -> None:
        self._clock = clock
        self._rng = np.random.default_rng(1)
        y, x = np.mgrid[:HEIGHT, :WIDTH]
        self._base = np.where(np.hypot(x - WIDTH / 2, y - HEIGHT / 2) < 54, 140.0, 9.0)
        self._number = -1
        self._start_s = 0.0
        self.flashes: queue.Queue[float] = queue.Queue()
        self._next_flash_s: float | None = None

    def open(self) -> SourceInfo:
        self._start_s = self._clock()
        return SourceInfo(
            SourceKind.CAMERA, "flashing", WIDTH, HEIGHT, 1, 8, 255, True, RATE_HZ,
            row_time_s=0.0, exposure_s=1 / RATE_HZ,
        )  # fmt: skip

    def grab(self) -> FrameStamp:
        self._number += 1
        self._taken_s = self._start_s + self._number / RATE_HZ
        time.sleep(max(0.0, self._taken_s + 1 / RATE_HZ - self._clock()))
        return FrameStamp(self._number, self._taken_s)

    def read_into(self, out) -> None:
        light = self._base + self._rng.normal(0, 2, self._base.shape)
        if self._next_flash_s is None and not self.flashes.empty():
            self._next_flash_s = self.flashes.get()
        if self._next_flash_s is not None and self._next_flash_s < self._taken_s + 1 / RATE_HZ:
            self._next_flash_s = None
            light += 30
        out[:] = np.clip(light, 0, 255).astype(np.uint8)

    def close(self) -> None:
        pass


class Speaker:
    """Plays faint noise without end, and a crack when asked; says when it was handed over."""

    def __init__(self, clock) -> None:
        self._clock = clock
        self._wanted = threading.Event()
        self.handed: queue.Queue[float] = queue.Queue()
        self._stop = threading.Event()
        self._playing = threading.Event()
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()
        # PortAudio must not open two streams at once.
        self._playing.wait(10)

    def crack(self) -> float:
        self._wanted.set()
        return self.handed.get(timeout=5)

    def stop(self) -> None:
        self._stop.set()

    def _play(self) -> None:
        rng = np.random.default_rng(2)
        with sounddevice.OutputStream(samplerate=48000, channels=1, dtype="float32") as out:
            while not self._stop.is_set():
                run = (0.002 * rng.standard_normal((RUN, 1))).astype(np.float32)
                if self._wanted.is_set():
                    self._wanted.clear()
                    run[:10, 0] += 0.6 * np.linspace(1, -1, 10)
                    self.handed.put(self._clock())
                out.write(run)
                self._playing.set()


def wait_for(what, timeout_s: float = 10.0) -> bool:
    end = time.monotonic() + timeout_s
    while not what():
        if time.monotonic() > end:
            return False
        time.sleep(0.01)
    return True


def spots(session: Session, cause: str) -> list[float]:
    return [s.time_s for s in session.status().recent if s.cause.value == cause]


def main() -> None:
    clock = SessionClock()
    settings = Settings().replaced("store", ring_mb=16)
    settings = settings.replaced(
        "catch", on="sound", learn_s=1.0, mic_distance_m=0.0, post_trigger_s=0.05
    )
    camera, speaker = Flashing(clock), Speaker(clock)
    session = Session(
        settings,
        lambda: camera,
        sound=lambda: sound_source("microphone", settings, clock=clock, live=True),
        clock=clock,
    )
    report: dict = {}
    session.start()
    try:
        session.arm()
        wait_for(lambda: session.status().sound_level is not None, 20)
        report["armed"] = wait_for(lambda: session.status().arm is ArmState.ARMED, 20)
        time.sleep(1.0)
        delays = []
        for number in range(5):
            handed_s = speaker.crack()
            if wait_for(lambda n=number: len(spots(session, "sound")) > n, 3):
                delays.append(spots(session, "sound")[-1] - handed_s)
            time.sleep(0.3)
        report["delays"] = delays
        delay_s = statistics.median(delays)
        session.apply(settings.replaced("catch", on="both"))
        time.sleep(0.3)
        for _ in range(5):
            camera.flashes.put(speaker.crack() + delay_s)
            time.sleep(0.6)
        # Cracks alone must not pass now.
        before = len(session.status().recent)
        report["both"] = len(spots(session, "both"))
        for _ in range(3):
            speaker.crack()
            time.sleep(0.4)
        report["alone"] = len(session.status().recent) - before
        speaker.stop()
        print("pull", flush=True)
        sys.stdin.readline()
        session.apply(settings.replaced("catch", on="either"))
        report["said"] = wait_for(
            lambda: any("no sound" in words for words in session.status().words), 10
        )
        report["words"] = session.status().words
        for _ in range(3):
            camera.flashes.put(clock())
            time.sleep(0.8)
        report["flashes"] = len(spots(session, "flash"))
        report["lost"] = session.status().counters.lost_ring
    finally:
        session.stop()
    print(json.dumps(report), flush=True)


main()
