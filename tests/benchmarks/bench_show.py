"""A show at 720p, 60 Hz with both windows open: how fresh is the audience's picture?

Run it alone, on a display or with ``xvfb-run -s "-screen 0 2560x800x24"``::

    python tests/benchmarks/bench_show.py [--seconds 20] [--rate 60] [--audience 1280x720]

The real window stands on its Show page beside the audience's window, on a real session whose
camera delivers ready frames on time. Latency is from a frame's arrival to the end of the paint
event that shows it to the audience. The flash guard's cost is held against the cost of one plain
copy of the same frame and of scaling the picture, in the same run.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable

import numpy as np
from bench_window import HEIGHT, WIDTH, ReadyCamera, percentiles, ready_frames
from PyQt6.QtCore import QEventLoop, QRect, QTimer
from PyQt6.QtWidgets import QApplication

from liveview.app import VIEWS
from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.bridge import Bridge, Supplies
from liveview.gui.show_desk import ShowDesk
from liveview.gui.show_page import join_show
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.imaging.cv import cv2
from liveview.imaging.flash_guard import FlashGuard
from liveview.model import FrameStamp
from liveview.settings import Settings, validated

PERIOD_MS = 1e3 / 60


def settings() -> Settings:
    """A show with all that is drawn while it runs."""
    captions = ["Warm air is thinner. It bends light a little, and the blade shows it."]
    show = {"captions": captions, "caption_first": True, "clock": True, "legend": True}
    return validated({"show": show}, "bench")


def cost(what: Callable[[int], object], times: int = 120) -> float:
    """Seconds of this thread's time for one call."""
    for k in range(10):
        what(k)
    start = time.thread_time()
    for k in range(times):
        what(10 + k)
    return (time.thread_time() - start) / times


def guard_costs(width: int, height: int) -> None:
    """The guard beside a copy and a scaling of the same frame."""
    rng = np.random.default_rng(2)
    quiet = [rng.integers(100, 130, (height, width, 4), np.uint8) for _ in range(4)]
    flashing = [np.full((height, width, 4), code, np.uint8) for code in (20, 250)]
    source = rng.integers(0, 255, (HEIGHT, WIDTH, 4), np.uint8)
    calm, busy = FlashGuard(lent=True), FlashGuard(lent=True)
    out = np.empty_like(quiet[0])
    costs = {
        "plain copy": cost(lambda k: np.copyto(out, quiet[k % 4])),
        "scaling 720p to it": cost(lambda k: cv2.resize(source, (width, height), out)),
        "flash guard, quiet": cost(lambda k: calm.admit(quiet[k % 4], k / 60)),
        "flash guard, flashing": cost(lambda k: busy.admit(flashing[k // 2 % 2], k / 60)),
    }
    print(f"one frame of {width} x {height}:")
    for name, seconds in costs.items():
        print(f"  {name:<22} {seconds * 1e3:6.2f} ms   {seconds / costs['plain copy']:5.1f} x")


def open_show(
    build: Callable[[str, Settings], Session], wanted: Settings, width: int, height: int
) -> tuple[Bridge, Window, ShowDesk]:
    """The presenter's window of so many pixels on its Show page, with pictures coming."""
    bridge = Bridge(Supplies(build, tuple, ()), wanted)
    window = Window(bridge, VIEWS)
    window.resize(width, height)
    window.show()
    desk = join_show(window, bridge).desk
    window.turn_to("Show")
    bridge.open("frames")
    bridge.start()
    return bridge, window, desk


def main() -> int:
    """Run it; exit code 1 without a picture."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--rate", type=float, default=60.0)
    parser.add_argument("--size", default="1280x800", help="of the presenter's window")
    parser.add_argument("--audience", default="1280x720", help="size of the audience's window")
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    app = QApplication(["bench"])
    dress(app)
    frames = ready_frames()
    clock = SessionClock()

    def build(address: str, wanted: Settings) -> Session:
        camera = ReadyCamera(frames, options.rate, clock)
        return Session(wanted, lambda: camera, clock=clock)

    size = (int(part) for part in options.size.split("x"))
    bridge, window, desk = open_show(build, settings(), *size)
    latencies: list[float] = []
    painted_at: list[float] = []
    composing: list[float] = []

    def painted(stamp: object) -> None:
        if isinstance(stamp, FrameStamp):
            painted_at.append(clock())
            latencies.append(painted_at[-1] - stamp.time_s)

    compose = desk.frame.compose

    def timed(*arguments: object) -> object:
        start = time.perf_counter()
        result = compose(*arguments)  # type: ignore[arg-type]
        composing.append(time.perf_counter() - start)
        return result

    desk.frame.compose = timed  # type: ignore[method-assign,assignment]
    desk.audience.painted.connect(painted)
    width, height = (int(part) for part in options.audience.split("x"))
    desk.stage.running = True
    desk.audience.put_on(QRect(window.width(), 0, width, height), full=False)
    warm_up_s = 3.0
    for kept in (latencies, painted_at, composing):
        QTimer.singleShot(round(warm_up_s * 1e3), kept.clear)
    loop = QEventLoop()
    QTimer.singleShot(round((warm_up_s + options.seconds) * 1e3), loop.quit)
    loop.exec()
    counters = bridge.status.counters
    window.close()
    if not painted_at:
        print("no picture:", *bridge.status.words)
        return 1
    seconds = painted_at[-1] - painted_at[0]
    print(f"{options.rate:g} Hz, {WIDTH} x {HEIGHT}; windows {options.size}, {options.audience}")
    print(f"  frames captured {counters.captured}, lost {counters.lost_source}")
    print(f"  painted {len(painted_at)}: {len(painted_at) / seconds:.1f} a second")
    print(f"  arrival to painted: {percentiles(latencies)}; a period is {PERIOD_MS:.1f} ms")
    within = np.mean(np.array(latencies) * 1e3 <= PERIOD_MS)
    print(f"  within one period:  {100 * within:.1f} %")
    print(f"  composed, guarded:  {percentiles(composing)}")
    guard_costs(width, height)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
