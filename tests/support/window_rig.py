"""A window on a real session with a scripted or simulated source, driven by real events."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.scripted_source import ScriptedSource, Step, info

from liveview.app import VIEWS
from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.gui.bridge import Bridge, SourceOffer, Supplies
from liveview.gui.window import Window
from liveview.model import FrameSource, SourceKind
from liveview.settings import Settings
from liveview.sources import Input

WIDTH, HEIGHT, RATE = 320, 240, 60.0


def disc_frames(level: float = 0.45) -> Iterable[np.ndarray]:
    """Endless frames of an evenly lit disc with noise, 8 bit."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    light = np.where((x - 165) ** 2 + (y - 118) ** 2 <= 95**2, 255 * level, 2.0)
    ready = [
        np.clip(np.rint(light + rng.normal(0, 1.2, light.shape)), 0, 255).astype(np.uint8)
        for _ in range(16)
    ]
    return itertools.cycle(ready)


def flashing_frames(every: int = 120) -> Iterator[np.ndarray]:
    """The quiet disc, a large part of it bright in one frame now and then."""
    for number, frame in enumerate(disc_frames()):
        if number % every == every - 1:
            lit = frame.copy()
            lit[60:180] = np.clip(lit[60:180].astype(int) + 90, 0, 255)
            yield lit
        else:
            yield frame


def scripted(steps: Callable[[], Iterable[Step]]) -> Callable[[str, Settings], Session]:
    """Sessions whose camera follows a script."""

    def build(address: str, settings: Settings) -> Session:
        clock = SessionClock()
        says = info(WIDTH, HEIGHT, rate_hz=RATE, kind=SourceKind.CAMERA, transfer="linear")

        def frames() -> FrameSource:
            return ScriptedSource(says, steps(), clock)

        return Session(settings, frames, clock=clock)

    return build


def simulated(address: str, settings: Settings) -> Session:
    """A session on the simulated rig, small."""
    clock = SessionClock()
    small = settings.replaced("camera", width=WIDTH, height=HEIGHT, rate_hz=30.0)
    source = Input(address, small, clock=clock, live=True)
    return Session(small, source.frames, sound=source.sound, rig=source.rig, clock=clock)


class WindowRig:
    """Opens a window and waits for what it shows."""

    def __init__(
        self,
        app: QApplication,
        build: Callable[[str, Settings], Session],
        *,
        addresses: tuple[str, ...] = ("camera:0",),
        settings: Settings | None = None,
        size: tuple[int, int] = (1280, 800),
        keep_events_in: Callable[[Path], None] | None = None,
    ) -> None:
        self.app = app
        cameras = (SourceOffer("camera:other", "another camera", "640 x 480"),)
        scenes = (SourceOffer("simulated", "Your rig"),)
        supplies = Supplies(build, lambda: cameras, scenes, keep_events_in=keep_events_in)
        self.bridge = Bridge(supplies, settings or Settings())
        self.window = Window(self.bridge, VIEWS)
        self.window.resize(*size)
        self.window.show()
        self.window.activateWindow()
        assert QTest.qWaitForWindowActive(self.window)
        self.bridge.open_first(addresses)
        self.bridge.start()

    @property
    def session(self) -> Session:
        """The present session."""
        assert self.bridge.session is not None
        return self.bridge.session

    def wait(self, what: Callable[[], bool], seconds: float = 20.0) -> None:
        """Let events run until something is so."""
        end = time.monotonic() + seconds
        while not what():
            assert time.monotonic() < end, "it did not happen"
            QTest.qWait(15)

    def first_picture(self) -> None:
        """Wait for a picture on the screen."""
        self.wait(lambda: self.window.page.dial.picture.reading is not None)

    def press(self, key: str) -> None:
        """A key as a user presses it."""
        from PyQt6.QtGui import QKeySequence

        combination = QKeySequence(key)[0]
        target = self.app.focusWidget() or self.window
        QTest.keyClick(target, combination.key(), combination.keyboardModifiers())

    def close(self) -> float:
        """Close it; seconds that took."""
        start = time.monotonic()
        self.window.close()
        return time.monotonic() - start
