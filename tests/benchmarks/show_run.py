"""A whole show of five minutes by its keys: 720p at 60 Hz, both windows, a spark every six seconds.

Run it alone, on a display or with ``xvfb-run -s "-screen 0 2560x800x24"``::

    python tests/benchmarks/show_run.py [--seconds 300] [--every 3]

Every few seconds the presenter presses the next key, as a clicker or keyboard sends it. Printed are
how fresh the audience's picture was, what the presenter was told, and whether all that was sent
passes the independent check of ``tests/support/flash_check.py``. Exit code 1 when frames were lost,
flashes got through, or a key raised an error.
"""

from __future__ import annotations

import argparse
import sys
import traceback
from pathlib import Path

import numpy as np
from bench_show import open_show
from bench_window import HEIGHT, WIDTH, ReadyCamera, percentiles, ready_frames
from PyQt6.QtCore import QEventLoop, QRect, QTimer
from PyQt6.QtGui import QKeySequence
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.flash_check import passes_general

from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.show_keys import keys_for
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.imaging.cv import cv2
from liveview.model import FrameStamp, SourceInfo
from liveview.settings import Settings, validated

RATE_HZ = 60.0
PERIOD_MS = 1e3 / RATE_HZ
SPARK_EVERY = 360
COARSE = (64, 36)
"""Cells of what was sent, across and down, that are kept for the check: a cell's mean, for a single
pixel's noise is no flash."""
SHOW = (
    *("next", "view", "next", "more_gain", "replay_by_itself", "next", "freeze", "freeze"),
    *("half", "wipe", "wipe", "spotlight", "spotlight_left", "spotlight_up", "spotlight"),
    *("replay", "replay", "view", "explanation", "explanation", "previous", "blank", "blank"),
    *("caption", "caption", "clock", "legend", "legend", "view", "clock"),
)


class SparkingCamera(ReadyCamera):
    """Its frames are lit all over now and then, as by a spark."""

    def open(self) -> SourceInfo:
        self._lit = [
            np.where(frame < 155, frame + 100, 255).astype(np.uint8) for frame in self._frames
        ]
        return super().open()

    def read_into(self, out: np.ndarray) -> None:
        if self._next % SPARK_EVERY == 0:
            np.copyto(out, self._lit[self._next % len(self._lit)])
            self._next += 1
        else:
            super().read_into(out)


class Presenter:
    """Presses one key after another."""

    def __init__(self, window: Window, keys: dict[str, tuple[str, ...]]) -> None:
        self._window, self._keys = window, keys
        self.pressed = 0

    def press(self) -> None:
        """The next key of the show."""
        combination = QKeySequence(self._keys[SHOW[self.pressed % len(SHOW)]][0])[0]
        self.pressed += 1
        QTest.keyClick(self._window, combination.key(), combination.keyboardModifiers())


def settings() -> Settings:
    """Three captions, one with a view of its own."""
    captions = [
        {"text": "Warm air is thinner.", "view": "plain"},
        {"text": "It bends light a little, and the blade shows it.", "view": "lifted"},
        "A spark: its blast is gone before you hear it.",
    ]
    catch = {"on": "flash", "pre_trigger_s": 0.5, "post_trigger_s": 0.5}
    return validated({"show": {"captions": captions, "clock": True}, "catch": catch}, "show run")


def evenly(times_s: list[float], pictures: list[np.ndarray]) -> list[np.ndarray]:
    """What stood on the screen at each of its refreshes."""
    moments = np.arange(times_s[0], times_s[-1], 1 / RATE_HZ)
    at = np.searchsorted(times_s, moments, side="right") - 1
    return [pictures[index] for index in at]


def within_limits(pictures: list[np.ndarray]) -> bool:
    """The independent check, ten seconds at a time, one of them shared: it counts in seconds."""
    step, long = round(9 * RATE_HZ), round(10 * RATE_HZ)
    return all(
        passes_general(pictures[at : at + long], every=1) for at in range(0, len(pictures), step)
    )


def main() -> int:
    """Run the show."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--every", type=float, default=3.0, help="seconds between two keys")
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    faults: list[str] = []
    sys.excepthook = lambda *fault: faults.append("".join(traceback.format_exception(*fault)))
    app = QApplication(["show"])
    dress(app)
    clock = SessionClock()
    frames = ready_frames()

    def build(address: str, wanted: Settings) -> Session:
        camera = SparkingCamera(frames, RATE_HZ, clock)
        return Session(wanted, lambda: camera, clock=clock)

    bridge, window, desk = open_show(build, settings(), 1280, 800)
    latencies: list[float] = []
    sent_at: list[float] = []
    sent: list[np.ndarray] = []
    told: dict[str, int] = {}

    def painted(stamp: object) -> None:
        now_s = clock()
        if isinstance(stamp, FrameStamp):
            latencies.append(now_s - stamp.time_s)
        if desk.audience.frame is not None:
            sent_at.append(now_s)
            sent.append(cv2.resize(desk.audience.frame, COARSE, interpolation=cv2.INTER_AREA))

    def listen() -> None:
        for words in (*desk.guard_words(), *bridge.status.words):
            told[words] = told.get(words, 0) + 1

    desk.audience.painted.connect(painted)
    desk.stage.running = True
    desk.audience.put_on(QRect(window.width(), 0, WIDTH, HEIGHT), full=False)
    presenter = Presenter(window, keys_for({}))
    beats = [QTimer(), QTimer()]
    for beat, what, seconds in zip(
        beats, (presenter.press, listen), (options.every, 1.0), strict=True
    ):
        beat.timeout.connect(what)
        QTimer.singleShot(3000, lambda b=beat, s=seconds: b.start(round(s * 1e3)))

    def arm() -> None:
        if bridge.session is not None:
            bridge.session.arm()

    QTimer.singleShot(2500, arm)
    loop = QEventLoop()
    for kept in (latencies, sent_at, sent):
        QTimer.singleShot(3000, kept.clear)
    QTimer.singleShot(round((3.0 + options.seconds) * 1e3), loop.quit)
    loop.exec()
    for beat in beats:
        beat.stop()
    counters = bridge.status.counters
    spots = len(bridge.status.recent)
    window.close()
    if not sent:
        print("no picture:", *bridge.status.words)
        return 1
    live_ms = np.array(latencies) * 1e3
    passed = within_limits(evenly(sent_at, sent))
    print(f"{options.seconds:g} s, {presenter.pressed} keys, newest {spots} sparks remembered")
    print(f"  frames captured {counters.captured}, lost {counters.lost_source}")
    print(f"  live pictures {len(live_ms)}: arrival to painted {percentiles(latencies)}")
    print(f"  within one period of {PERIOD_MS:.1f} ms: {100 * np.mean(live_ms <= PERIOD_MS):.2f} %")
    print(f"  all that was sent passes the flash limits: {passed}")
    print(f"  the guard touched {desk.log.touched} pictures of the last minute")
    for words, times in sorted(told.items(), key=lambda item: -item[1]):
        print(f"  told for {times:3} s: {words}")
    print(*faults, sep="\n")
    return 0 if passed and not faults and counters.lost_source == 0 else 1


if __name__ == "__main__":
    raise SystemExit(main())
