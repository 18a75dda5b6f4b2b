"""The one place where the window's wishes for a camera meet the thread that owns it.

::

    window --apply(settings)--> wishes --take--> capture thread: set, measure, publish
    window <------reading------ CameraReading <--publish--'

Of several wishes for one control the newest counts. What needs another opening (format, size,
rate) makes the capture thread open the camera again.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

from liveview.imaging.cheat import CheatWatch
from liveview.model import CONTROL_SETTINGS, CameraReading, Control, Disc, Pixels, SourceInfo
from liveview.settings import Camera
from liveview.sources.livetrial import LightMeter, LiveTrial

ANEW = ("format", "width", "height", "rate_hz", "hold", "delay_s", "white", "row_time_s")
"""Settings for which it is opened again."""

LOOK_S = 0.1
"""How often the drift watch looks at a frame."""


class CameraDesk:
    """See the figure at the top. Belongs to one address over all its reopenings.

    Parameters
    ----------
    camera : Camera
        Settings to begin with.
    """

    def __init__(self, camera: Camera) -> None:
        self._lock = threading.Lock()
        self._camera = camera
        self._wishes: dict[str, float] = {}
        self._anew = False
        self._release = False
        self._reading = CameraReading()
        self._disc: Disc | None = None
        self._watch: CheatWatch | None = None
        self._meter: LightMeter | None = None
        self._trials: dict[str, LiveTrial] = {}
        self._next_look_s = float("-inf")
        self._kept_words = ""
        self.on_change: Callable[[Camera], str] | None = None
        """Told the settings after each change, to keep them; gives words when that failed."""

    # --- for any thread

    def reading(self) -> CameraReading:
        """What is known at present."""
        with self._lock:
            return self._reading

    @property
    def camera(self) -> Camera:
        """The settings wished for."""
        with self._lock:
            return self._camera

    @property
    def words(self) -> tuple[str, ...]:
        """What must not be overlooked, for the notices."""
        reading = self.reading()
        cheating = (f"{reading.watch}: hold exposure and gain",) if reading.cheats else ()
        return (*cheating, *((self._kept_words,) if self._kept_words else ()))

    def apply(self, camera: Camera) -> None:
        """Wish for these settings; returns at once."""
        with self._lock:
            before, self._camera = self._camera, camera
            if camera == before:
                return
            for name, key in CONTROL_SETTINGS.items():
                value = getattr(camera, key)
                if value != getattr(before, key):
                    if value is None:
                        self._anew = self._release = True
                    else:
                        self._wishes[name] = value
            if any(getattr(camera, key) != getattr(before, key) for key in ANEW):
                self._anew = True
                self._release = self._release or (before.hold and not camera.hold)
        if self.on_change is not None:
            self._kept_words = self.on_change(camera)

    def disc_is(self, disc: Disc | None) -> None:
        """Where the mirror is in the picture, for the drift watch."""
        self._disc = disc

    # --- for the thread that owns the camera

    def begin(self) -> tuple[Camera, bool]:
        """The camera is about to be opened: the settings, and whether to give it back first.

        Giving back means to switch its automatics on, for nobody wants them off any more.
        """
        with self._lock:
            release = self._release
            self._wishes.clear()
            self._anew = self._release = False
            return self._camera, release

    def opened(self, reading: CameraReading, info: SourceInfo) -> None:
        """It is open."""
        self._watch = CheatWatch(info.white, 1.0 if info.transfer == "linear" else 2.2)
        self._meter = LightMeter(info.white)
        self._trials.clear()
        with self._lock:
            self._reading = reading

    @property
    def wants_anew(self) -> bool:
        """True when the camera must be opened again."""
        with self._lock:
            return self._anew

    def take(self) -> dict[str, float]:
        """Wishes by the name of their control; they are forgotten here."""
        with self._lock:
            wishes, self._wishes = self._wishes, {}
            return wishes

    def show(self, control: Control) -> None:
        """Publish one control."""
        with self._lock:
            others = [c for c in self._reading.controls if c.name != control.name]
            names = [c.name for c in self._reading.controls]
            at = names.index(control.name) if control.name in names else len(others)
            others.insert(at, control)
            self._reading = replace(self._reading, controls=tuple(others))

    def expect_change(self) -> None:
        """What follows was wished for: the drift watch learns anew."""
        if self._watch is not None:
            self._watch.expect_change()

    def judge(self, control: Control) -> None:
        """Publish a control that was just set; the frames that follow tell whether it holds."""
        assert self._meter is not None
        if control.name in self._trials:
            self._trials[control.name].changed_again(control)
        else:
            before = self.reading().control(control.name)
            came_from = None if before is None else before.value
            self._trials[control.name] = LiveTrial(control, self._meter.light, came_from)
        self.show(control)
        self.expect_change()

    def judges(self, name: str) -> bool:
        """True while a control was set and frames have not told yet."""
        return name in self._trials

    def see(self, pixels: Pixels, time_s: float) -> None:
        """The next frame: judge by it what was set, and look for what changes by itself."""
        assert self._meter is not None
        self._meter.see(pixels)
        for name, trial in list(self._trials.items()):
            verdict = trial.see(self._meter.light)
            if verdict is not None:
                del self._trials[name]
                self.show(verdict)
                self.expect_change()
        self._look(pixels, time_s)

    def _look(self, pixels: Pixels, time_s: float) -> None:
        """Look for a camera that changes things by itself; most calls return at once."""
        if self._watch is None or 0 <= self._next_look_s - time_s <= LOOK_S:
            return
        self._next_look_s = time_s + LOOK_S
        self._watch.set_disc(self._disc, pixels.shape)
        found = self._watch.look(pixels, time_s)
        with self._lock:
            self._reading = replace(self._reading, watch=found.words, cheats=found.cheats)
