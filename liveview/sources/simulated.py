"""The simulated rig as a camera, a microphone and a hand on its knobs.

One bench makes all three, so that picture and sound show the same scene on the same clock.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping

from liveview.bench.exercise import Exercise
from liveview.bench.rig import FrameTruth, SimulatedRig
from liveview.bench.scene import FLOW_FADE_S, SWITCHED, Scene, load_scene, scene_like
from liveview.bench.sound import Microphone
from liveview.errors import FormatChanged, SourceStalled
from liveview.model import (
    FrameStamp,
    Pixels,
    SoundBlock,
    SoundInfo,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings

Wait = Callable[[float], object]
BLOCK_S = 0.02
LATE_FRAMES = 3
"""A live camera hands over frames up to this old; older ones count as lost."""
LONGEST_BACK_S = 0.5
"""When another delay sets time back, frames are lost for so long at most; beyond it the camera is
opened anew, so that whoever waits for a frame can be stopped."""
QUIET_START_S = 1.5
"""A live bench begins with its air at rest for so long: its first background is a good one."""
AHEAD_S = 0.03
"""A spark set off by hand flies this much later, when neither picture nor sound is made yet."""


class SimulatedBench:
    """One simulated rig, from which picture, sound and knobs are taken.

    Parameters
    ----------
    scene : Scene
    clock : callable
        Seconds on the session's clock; live frames and sound are paced by it. Scene time is this
        clock's time.
    live : bool
        Paced in real time, without end, steps of the scene left out (a person has the knobs).
        Otherwise frames come as fast as asked, the scene's steps happen, and it ends.
    seed : int
    exact : bool, optional
        See ``SimulatedRig``; off when live, on otherwise.
    wait : callable, optional
        Waits for some seconds; an own event's wait when absent.
    """

    def __init__(
        self,
        scene: Scene,
        *,
        clock: Callable[[], float],
        live: bool,
        seed: int = 1,
        exact: bool | None = None,
        wait: Wait | None = None,
    ) -> None:
        self.scene = scene
        self.delay_s = 0.0
        """Taken off the camera's stamps: its own delay, as far as it is known."""
        self.live = live
        self.clock = clock
        self.wait: Wait = threading.Event().wait if wait is None else wait
        self.rig = SimulatedRig(scene, seed, exact=not live if exact is None else exact)
        self.microphone = Microphone(
            scene, self.rig.air, self.rig.knobs, self.rig.spark_times, seed
        )
        self._lock = threading.Lock()
        self._reached_s = 0.0
        if live:
            self._start_quietly()
        else:
            for step in scene.all_steps():
                self.rig.knobs.turn(step.knob, step.value, step.at_s, step.over_s)

    def _start_quietly(self) -> None:
        knobs = self.rig.knobs
        start_s = self.now()
        for name, value in knobs.all_at(start_s).items():
            if name.startswith("flow_") and value > 0.0:
                knobs.turn(name, 0.0, start_s, 0.0)
                knobs.turn(name, value, start_s + QUIET_START_S, FLOW_FADE_S)

    def exercise(self, seed: int) -> Exercise:
        """Misalign the bench as ``bench.exercise`` does from a seed."""
        exercise = Exercise(self.rig, seed)
        exercise.begin(self.now())
        return exercise

    def frames(self) -> SimulatedFrames:
        """A camera that looks at this bench."""
        return SimulatedFrames(self)

    def sound(self) -> SimulatedSound:
        """A microphone beside this bench."""
        return SimulatedSound(self)

    def now(self) -> float:
        """Scene time: the clock's when live, else how far frames have been read."""
        return self.clock() if self.live else self._reached_s

    def reached(self, time_s: float) -> None:
        """Frames have been read up to here."""
        self._reached_s = time_s

    def values(self) -> Mapping[str, float]:
        """See ``RigHandle.values``."""
        return self.rig.knobs.all_at(self.now() + FLOW_FADE_S)

    def limits(self) -> Mapping[str, tuple[float, float]]:
        """See ``RigHandle.limits``."""
        return self.rig.knobs.limits()

    def set(self, name: str, value: float) -> None:
        """See ``RigHandle.set``. Flows fade in and out; ``spark_now`` sets off one spark."""
        with self._lock:
            if name == "spark_now":
                if value > 0.5:
                    self.rig.spark_times.set_off(self.now() + AHEAD_S)
                return
            flow = name.removeprefix("flow_")
            fades = flow != name and flow not in SWITCHED
            self.rig.knobs.turn(name, value, self.now(), FLOW_FADE_S if fades else 0.0)


def bench_for(
    address: str,
    settings: Settings,
    *,
    clock: Callable[[], float],
    live: bool,
    seed: int = 1,
    wait: Wait | None = None,
) -> SimulatedBench:
    """The bench that an address means.

    Parameters
    ----------
    address : str
        ``simulated`` (the default scene on the rig of the settings), ``simulated:SCENE`` (a
        shipped scene) or ``simulated:FILE.toml``.
    settings : Settings
        Rig, lamp and blade of the default scene; picture size and rate where they are set.

    Raises
    ------
    BadRequest
        No such scene, or the scene's rig cannot exist.
    """
    name = address.partition(":")[2]
    scene = load_scene(name) if name else scene_like(settings)
    camera = settings.camera
    wanted = {"width": camera.width, "height": camera.height, "rate_hz": camera.rate_hz}
    changes = {key: value for key, value in wanted.items() if value is not None}
    if changes:
        scene = scene.replaced("sensor", **changes)
    bench = SimulatedBench(scene, clock=clock, live=live, seed=seed, wait=wait)
    bench.delay_s = camera.delay_s if scene.sensor.stamp_delay_s else 0.0
    return bench


class SimulatedFrames:
    """The camera: a ``FrameSource``. ``last_truth`` tells what is true of the last frame read."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._bench = bench
        self._rig = bench.rig
        self._next = 0
        self._first = 0
        self._grabbed = -1
        self._stamped_s = -math.inf
        self.last_truth: FrameTruth | None = None

    @property
    def bench(self) -> SimulatedBench:
        """The bench this camera looks at."""
        return self._bench

    def open(self) -> SourceInfo:
        """See ``FrameSource.open``."""
        scene, sensor = self._bench.scene, self._bench.scene.sensor
        if self._bench.live:
            self._first = self._next = max(0, math.ceil(self._bench.clock() * sensor.rate_hz))
        values = self._bench.values()
        frames = None if self._bench.live else round(scene.seconds * sensor.rate_hz)
        return SourceInfo(
            kind=SourceKind.SIMULATED,
            name=f"simulated: {scene.title}",
            width=sensor.width,
            height=sensor.height,
            channels=1,
            bits=sensor.bits,
            white=sensor.white,
            live=self._bench.live,
            rate_hz=sensor.rate_hz,
            frames=frames,
            seconds=None if frames is None else frames / sensor.rate_hz,
            row_time_s=sensor.row_time_s,
            exposure_s=values["exposure_s"],
            gain=values["gain"],
            transfer=sensor.transfer,
            note="simulated, not a camera",
        )

    def grab(self) -> FrameStamp | None:
        """See ``FrameSource.grab``.

        Raises
        ------
        FormatChanged
            Another delay is taken off from now on, which sets time back by much.
        """
        if not self._bench.live:
            if self._next >= round(self._bench.scene.seconds * self._rig.rate_hz):
                return None
            return self._stamped(self._next)
        while True:
            stamp = self._stamped(self._paced(self._next))
            back_s = self._stamped_s - stamp.time_s
            if back_s < 0.0:
                self._stamped_s = stamp.time_s
                return stamp
            # Another delay is taken off from now on: time does not run backwards.
            if back_s > LONGEST_BACK_S:
                raise FormatChanged("another delay is taken off its times", "simulated camera")

    def _stamped(self, number: int) -> FrameStamp:
        """Go on to a frame: its stamp, the delay taken off."""
        self._next = number + 1
        self._grabbed = number
        time_s = self._rig.time_of(number)
        self._bench.reached(time_s)
        stamp_s = time_s + self._bench.scene.sensor.stamp_delay_s - self._bench.delay_s
        return FrameStamp(number - self._first, stamp_s)

    def read_into(self, out: Pixels) -> None:
        """See ``FrameSource.read_into``."""
        self.last_truth = self._rig.render(self._grabbed, out)

    def close(self) -> None:
        """See ``FrameSource.close``."""

    def _paced(self, number: int) -> int:
        """Wait until a frame has been exposed and read out; skip those nobody fetched in time."""
        rate = self._rig.rate_hz
        seconds = self._rig.shutter(self._bench.values()["exposure_s"]).seconds
        newest = math.floor((self._bench.clock() - seconds) * rate)
        if newest - number > LATE_FRAMES:
            number = newest
        left = self._rig.time_of(number) + seconds - self._bench.clock()
        while left > 0:
            self._bench.wait(left)
            left = self._rig.time_of(number) + seconds - self._bench.clock()
        return number


class SimulatedSound:
    """The microphone: a ``SoundSource``."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._bench = bench
        self._mic = bench.microphone
        self._next = 0

    def open(self) -> SoundInfo:
        """See ``SoundSource.open``."""
        if self._bench.live:
            self._next = round(self._bench.clock() * self._mic.rate_hz)
        return SoundInfo(
            name=f"simulated: {self._bench.scene.title}",
            rate_hz=self._mic.rate_hz,
            channels=1,
            live=self._bench.live,
            simulated=True,
            note="simulated, not a microphone",
        )

    def read(self, timeout_s: float) -> SoundBlock | None:
        """See ``SoundSource.read``."""
        rate = self._mic.rate_hz
        count = max(1, round(BLOCK_S * rate))
        first, lost = self._next, 0
        if self._bench.live:
            late = round((self._bench.clock() - 1.0) * rate) - first
            if late > 0:
                first, lost = first + late, late
            self._wait_until((first + count) / rate, timeout_s)
        else:
            count = min(count, round(self._bench.scene.seconds * rate) - first)
            if count <= 0:
                return None
        self._next = first + count
        samples = self._mic.block(first, count)[:, None]
        return SoundBlock(samples, rate, first / rate, 0.0, lost)

    def close(self) -> None:
        """See ``SoundSource.close``."""

    def _wait_until(self, time_s: float, timeout_s: float) -> None:
        clock = self._bench.clock
        end = clock() + timeout_s
        while (left := time_s - clock()) > 0:
            if clock() >= end:
                raise SourceStalled(
                    f"no sound within {timeout_s:g} s", "simulated microphone", "allow more time"
                )
            self._bench.wait(min(left, end - clock()))
