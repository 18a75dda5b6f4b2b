"""How late is the blade's number on the Align page? From a frame's exposure to the painted figure.

Run it alone, on a display or with ``xvfb-run``::

    python tests/benchmarks/bench_blade_number.py [--seconds 15] [--rate 60]

The disc's brightness jumps twice a second between two levels; counted is the time until the words
that hold the new level begin to be painted. Two display periods of 60 Hz are 33.3 ms.
"""

from __future__ import annotations

import argparse
import itertools
import sys

import numpy as np
from bench_window import HEIGHT, WIDTH, ReadyCamera, percentiles
from PyQt6.QtCore import QEvent, QEventLoop, QObject, QTimer
from PyQt6.QtWidgets import QApplication

from liveview.app import VIEWS
from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.align_page import AlignPage
from liveview.gui.bridge import Bridge, Supplies
from liveview.gui.other_pages import add_other_pages
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.settings import Settings


def jumping_frames(rate_hz: float) -> list[np.ndarray]:
    """One second: half of it at one level, half at another, with noise."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    inside = (x - 640) ** 2 + (y - 360) ** 2 <= 320**2
    ready = {}
    for level in (100, 160):
        light = np.where(inside, level, 3.0) + rng.normal(0, 2.0, x.shape)
        ready[level] = np.clip(np.rint(light), 0, 255).astype(np.uint8)
    half = round(rate_hz / 2)
    return [*itertools.repeat(ready[100], half), *itertools.repeat(ready[160], half)]


class PaintWatch(QObject):
    """Notes when words that differ from the last ones begin to be painted."""

    def __init__(self, page: AlignPage, clock: SessionClock) -> None:
        super().__init__()
        self._page, self._clock, self._words = page, clock, ""
        self.late: list[float] = []
        page.blade.installEventFilter(self)

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        reading = self._page.dial.picture.reading
        if event is not None and event.type() == QEvent.Type.Paint and reading is not None:
            words = self._page.blade.words()
            if words != self._words:
                self._words = words
                self.late.append(self._clock() - reading.stamp.time_s)
        return False


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=15.0)
    parser.add_argument("--rate", type=float, default=60.0)
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    app = QApplication(["bench"])
    dress(app)
    clock = SessionClock()
    frames = jumping_frames(options.rate)

    def build(address: str, settings: Settings) -> Session:
        camera = ReadyCamera(frames, options.rate, clock)
        return Session(settings, lambda: camera, clock=clock)

    bridge = Bridge(Supplies(build, tuple, ()), Settings())
    window = Window(bridge, VIEWS)
    window.resize(1280, 800)
    window.show()
    bridge.open("frames")
    bridge.start()
    add_other_pages(window, bridge)
    window.turn_to("Align")
    (page,) = window.findChildren(AlignPage)
    watch = PaintWatch(page, clock)
    QTimer.singleShot(4000, watch.late.clear)
    loop = QEventLoop()
    QTimer.singleShot(round(4000 + options.seconds * 1e3), loop.quit)
    loop.exec()
    window.close()
    if not watch.late:
        print("no number was painted")
        return 1
    print(f"{options.rate:g} Hz, {len(watch.late)} changes of the number:")
    print(f"  exposure to painted number: {percentiles(watch.late)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
