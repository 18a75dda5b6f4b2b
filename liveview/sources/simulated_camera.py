"""The simulated rig's camera as a handle on its exposure and gain."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

from liveview.model import CameraReading, Control, Disc, Hold
from liveview.settings import Camera
from liveview.sources.simulated import SimulatedBench

KNOBS = (("exposure", "exposure_s", "s"), ("gain", "gain", "times"))


class SimulatedCamera:
    """See ``engine.camera_handle.CameraHandle``.

    Its exposure and gain are knobs of the bench, so they do what they say. Size and rate belong
    to the scene and hold from its next opening on.

    Parameters
    ----------
    bench : SimulatedBench
    camera : Camera
        Settings to begin with.
    """

    def __init__(self, bench: SimulatedBench, camera: Camera) -> None:
        self._bench = bench
        self._camera = camera
        self._lock = threading.Lock()
        self.on_change: Callable[[Camera], str] | None = None
        """Nothing is kept of it: the scene tells how it begins."""

    @property
    def words(self) -> tuple[str, ...]:
        """Nothing: it hides nothing."""
        return ()

    def reading(self) -> CameraReading:
        """Exposure and gain of the next frame."""
        values, limits = self._bench.values(), self._bench.limits()
        automatic = values["auto_exposure"] > 0.5
        controls = [
            Control(name, Hold.LOCKED, values[knob], "", unit, limits[knob])
            for name, knob, unit in KNOBS
        ]
        if automatic:
            controls[0] = replace(controls[0], hold=Hold.AUTOMATIC)
        sensor = self._bench.scene.sensor
        return CameraReading(
            name=f"simulated: {self._bench.scene.title}",
            controls=tuple(controls),
            format=f"mono, {sensor.bits} bit",
            stamps="simulated",
        )

    def apply(self, camera: Camera) -> None:
        """Turn the knobs that the settings turned."""
        with self._lock:
            before, self._camera = self._camera, camera
        limits = self._bench.limits()
        for _, knob, _ in KNOBS:
            value = getattr(camera, knob)
            if value is not None and value != getattr(before, knob):
                self._bench.set(knob, min(max(value, limits[knob][0]), limits[knob][1]))
        if camera.hold and not before.hold:
            self._bench.set("auto_exposure", 0.0)
        if camera.delay_s != before.delay_s:
            self._bench.delay_s = camera.delay_s

    def disc_is(self, disc: Disc | None) -> None:
        """Not needed: nothing changes by itself here unless it says so."""
