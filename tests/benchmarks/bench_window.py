"""The window at 240 frames a second, 1280 x 720: nothing lost, and how fresh is what is seen?

Run it alone, on a display or with ``xvfb-run``::

    python tests/benchmarks/bench_window.py [--seconds 30] [--rate 240] [--size 1280x800]

It opens the real window on a real session whose camera delivers ready frames on time. Latency is
from a frame's arrival to the end of the paint event that shows it. Beside it, in the same run, the
cost of one update of the picture is held against the two obvious ways of showing it.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable

import numpy as np
import pyqtgraph as pg
from PyQt6.QtCore import QEventLoop, Qt, QTimer
from PyQt6.QtGui import QImage, QPixmap
from PyQt6.QtWidgets import QApplication, QLabel, QWidget

from liveview.app import VIEWS
from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.bridge import Bridge, Supplies
from liveview.gui.picture import PictureWidget
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.model import FrameStamp, Reading, SourceInfo, SourceKind
from liveview.settings import Settings

WIDTH, HEIGHT = 1280, 720
SMOOTH = Qt.TransformationMode.SmoothTransformation


def ready_frames(count: int = 32) -> list[np.ndarray]:
    """A lit disc with noise and a plume that wanders, made beforehand."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    inside = (x - 640) ** 2 + (y - 360) ** 2 <= 320**2
    frames = []
    for k in range(count):
        bend = 60 * np.sin(y / 70 + 2 * np.pi * k / count)
        plume = 40 * np.exp(-(((x - 640 - bend) / 40) ** 2)) * np.sign(x - 640 - bend)
        light = np.where(inside, 120 + plume, 3.0) + rng.normal(0, 2.0, x.shape)
        frames.append(np.clip(np.rint(light), 0, 255).astype(np.uint8))
    return frames


class ReadyCamera:
    """A ``FrameSource`` that exposes on the clock and keeps four frames, as a driver does.

    Frames that nobody fetched in time are lost, as with a real camera; the stamp is the moment
    at which a frame was ready.
    """

    KEPT = 4

    def __init__(self, frames: list[np.ndarray], rate_hz: float, clock: SessionClock) -> None:
        self._frames = frames
        self._rate_hz = rate_hz
        self._clock = clock
        self._next = 0
        self._first = 0

    def open(self) -> SourceInfo:
        self._first = self._next = math.ceil(self._clock() * self._rate_hz) + 1
        return SourceInfo(
            SourceKind.CAMERA, "ready frames", WIDTH, HEIGHT, 1, 8, 255, True, self._rate_hz
        )

    def grab(self) -> FrameStamp:
        newest = math.floor(self._clock() * self._rate_hz)
        self._next = max(self._next, newest - self.KEPT + 1)
        wait_s = self._next / self._rate_hz - self._clock()
        if wait_s > 0:
            time.sleep(wait_s)
        return FrameStamp(self._next - self._first, self._next / self._rate_hz)

    def read_into(self, out: np.ndarray) -> None:
        np.copyto(out, self._frames[self._next % len(self._frames)])
        self._next += 1

    def close(self) -> None:
        pass


def percentiles(values: list[float]) -> str:
    """Median, 99 % and worst in milliseconds."""
    p50, p99, worst = np.percentile(np.array(values) * 1e3, [50, 99, 100])
    return f"median {p50:.1f} ms, p99 {p99:.1f} ms, worst {worst:.1f} ms"


def update_cost(widget: QWidget, show: Callable[[], None], times: int = 120) -> float:
    """Seconds of this thread's time for one update, painted at once."""
    show()
    widget.repaint()
    start = time.thread_time()
    for _ in range(times):
        show()
        widget.repaint()
    return (time.thread_time() - start) / times


def compare_updates(reading: Reading, side: int) -> None:
    """The picture widget beside a label with a pixmap and beside pyqtgraph's image item."""
    ours = PictureWidget()
    label = QLabel()
    plot = pg.GraphicsLayoutWidget()
    item = pg.ImageItem(axisOrder="row-major")
    plot.addViewBox(lockAspect=True).addItem(item)
    picture = reading.picture
    height, width = picture.shape[:2]

    def by_label() -> None:
        image = QImage(picture.data, width, height, 4 * width, QImage.Format.Format_RGB32)
        label.setPixmap(QPixmap.fromImage(image).scaledToHeight(side, SMOOTH))

    def by_item() -> None:
        item.setImage(picture[..., :3], autoLevels=False, levels=(0, 255))

    costs = {}
    for name, widget, show in (
        ("picture widget", ours, lambda: ours.show_reading(reading)),
        ("label, pixmap", label, by_label),
        ("image item", plot.viewport(), by_item),
    ):
        top = plot if name == "image item" else widget
        top.resize(side, side)
        top.show()
        QApplication.processEvents()
        costs[name] = update_cost(widget, show)
        top.hide()
    least = costs["picture widget"]
    for name, cost in costs.items():
        print(f"  {name:<16} {cost * 1e3:6.2f} ms   {cost / least:5.2f} x")


def main() -> int:
    """Run it; exit code 1 when frames were lost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rate", type=float, default=240.0)
    parser.add_argument("--size", default="1280x800")
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    app = QApplication(["bench"])
    dress(app)
    frames = ready_frames()
    clock = SessionClock()

    def build(address: str, settings: Settings) -> Session:
        camera = ReadyCamera(frames, options.rate, clock)
        return Session(settings, lambda: camera, clock=clock)

    bridge = Bridge(Supplies(build, tuple, ()), Settings())
    window = Window(bridge, VIEWS)
    window.resize(*(int(part) for part in options.size.split("x")))
    latencies: list[float] = []
    painted_at: list[float] = []

    def painted(reading: Reading) -> None:
        now = clock()
        latencies.append(now - reading.stamp.time_s)
        painted_at.append(now)

    window.page.dial.picture.painted.connect(painted)
    window.show()
    bridge.open("frames")
    bridge.start()
    warm_up_s = 3.0
    QTimer.singleShot(round(warm_up_s * 1e3), latencies.clear)
    QTimer.singleShot(round(warm_up_s * 1e3), painted_at.clear)
    loop = QEventLoop()
    QTimer.singleShot(round((warm_up_s + options.seconds) * 1e3), loop.quit)
    loop.exec()
    status = bridge.status
    reading = window.page.dial.picture.reading
    to_reading = [] if bridge.session is None else list(bridge.session.latencies_s())
    window.close()
    if reading is None:
        print("no picture:", *status.words)
        return 1
    c = status.counters
    seconds = painted_at[-1] - painted_at[0]
    print(f"{options.rate:g} Hz, {WIDTH} x {HEIGHT}, window {options.size}, {seconds:.0f} s")
    print(f"  frames captured {c.captured}, lost {c.lost_source + c.lost_ring}")
    print(f"  seen by the trigger {c.watched}, left out of the picture {c.skipped_chain}")
    print(f"  painted {len(painted_at)}: {len(painted_at) / seconds:.1f} a second")
    print(f"  arrival to reading: {percentiles(to_reading)}")
    print(f"  arrival to painted: {percentiles(latencies)}")
    print(f"  between pictures:   {percentiles(list(np.diff(painted_at)))}")
    print("one update of the picture, beside the obvious ways:")
    compare_updates(reading, window.page.dial.picture.width())
    return 1 if c.lost_source + c.lost_ring else 0


if __name__ == "__main__":
    raise SystemExit(main())
