"""Hidden-mistake exercises: a rig that somebody misaligned, and a judge of how it was put right.

The learner turns the same knobs as on the bench and reads the same instruments; what was wrong and
how far off the end is comes out only when they ask.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from liveview.bench.rig import SimulatedRig


class Level(str, Enum):
    """How much is wrong at once."""

    ONE = "one mistake"
    TWO = "two mistakes"
    ALL = "everything"


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to bring right.

    ``wanted`` is the value of the knob when it is right, ``close`` and ``fair`` how far off it may
    be to count as right or as nearly right; ``start`` is where the exercise puts it.
    """

    knob: str
    wanted: float
    close: float
    fair: float
    start: float


@dataclass(frozen=True, slots=True)
class Finding:
    """How far off one knob ended.

    ``off`` has the knob's unit and sign: positive when the value is too high. ``grade`` is
    ``"right"``, ``"nearly"`` or ``"off"``. ``hidden`` tells whether this was one of the mistakes.
    """

    knob: str
    off: float
    grade: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """The end of an exercise: ``solved`` when every knob is right."""

    findings: tuple[Finding, ...]
    solved: bool
    uncut: float
    wanted_uncut: float


class Exercise:
    """A misaligned rig, made from a seed.

    Parameters
    ----------
    rig : SimulatedRig
        Its scene says what is right: the target uncut fraction, the focus, the exposure.
    seed : int
        The same seed makes the same mistakes.
    level : Level
    """

    def __init__(self, rig: SimulatedRig, seed: int, level: Level = Level.TWO) -> None:
        self._rig = rig
        self.level = level
        rng = np.random.default_rng([seed, 881])
        tasks = _tasks(rig, rng)
        count = {Level.ONE: 1, Level.TWO: 2, Level.ALL: len(tasks)}[level]
        wrong = sorted(rng.choice(len(tasks), size=count, replace=False))
        self._tasks = tuple(tasks)
        self._hidden = tuple(tasks[index].knob for index in wrong)

    @property
    def starts(self) -> Mapping[str, float]:
        """Values to turn the knobs to at the beginning: the mistakes, the rest as it should be."""
        return {
            task.knob: task.start if task.knob in self._hidden else task.wanted
            for task in self._tasks
        }

    def begin(self, time_s: float) -> None:
        """Turn the knobs to their wrong values."""
        for knob, value in self.starts.items():
            self._rig.knobs.turn(knob, value, time_s)
        for knob in ("blade_out", "lens_capped", "auto_exposure"):
            self._rig.knobs.turn(knob, 0.0, time_s)

    def judge(self, values: Mapping[str, float]) -> Verdict:
        """How far off the rig is with the knobs at these values."""
        findings = tuple(self._finding(task, values[task.knob]) for task in self._tasks)
        self._rig.light.move_blade(values["blade_z_m"], values["blade_angle_rad"])
        return Verdict(
            findings,
            all(finding.grade == "right" for finding in findings),
            self._rig.light.still_uncut(values["blade_x_m"]),
            self._rig.scene.blade.target_uncut,
        )

    def _finding(self, task: Task, value: float) -> Finding:
        if task.knob == "exposure_s":
            # A stop is a factor of two, so exposures are judged by ratio.
            off, close = value - task.wanted, abs(math.log2(value / task.wanted))
        else:
            off = value - task.wanted
            close = abs(off)
        grade = "right" if close <= task.close else "nearly" if close <= task.fair else "off"
        return Finding(task.knob, off, grade, task.knob in self._hidden)


def _tasks(rig: SimulatedRig, rng: np.random.Generator) -> list[Task]:
    scene, limits = rig.scene, rig.knobs.limits()
    width = rig.light.width_m
    half_cut = rig.light.half_cut_m
    band = scene.blade.target_band * width
    geometry = rig.light.geometry
    # The axial offset at which the disc tilts by a tenth, and by half, from side to side.
    tenth = 0.1 * width * geometry.image_distance_m / geometry.mirror_diameter_m
    sign = [float(s) for s in rng.choice((-1.0, 1.0), 3)]
    size = [float(s) for s in rng.uniform(0.5, 1.0, 4)]
    stops = float(rng.choice((-2.0, -1.5, 1.2, 1.8)))
    exposure = scene.sensor.own_exposure_s
    low, high = limits["exposure_s"]
    tasks = [
        Task("blade_x_m", half_cut, band, 3 * band, half_cut + sign[0] * size[0] * 0.42 * width),
        Task("blade_z_m", geometry.blade_offset_m, tenth, 3 * tenth, sign[1] * size[1] * 9 * tenth),
        Task("exposure_s", exposure, 0.5, 1.0, min(max(exposure * 2.0**stops, low), high)),
    ]
    if scene.lamp.shape == "slit":
        tasks.append(Task("blade_angle_rad", 0.0, 0.03, 0.08, sign[2] * (0.1 + 0.2 * size[3])))
    return [_inside(task, limits) for task in tasks]


def _inside(task: Task, limits: Mapping[str, tuple[float, float]]) -> Task:
    low, high = limits[task.knob]
    return Task(task.knob, task.wanted, task.close, task.fair, min(max(task.start, low), high))
