from __future__ import annotations

import pytest

from liveview.bench.exercise import Exercise, Level
from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import Scene


@pytest.fixture(scope="module")
def rig() -> SimulatedRig:
    return SimulatedRig(Scene.model_validate({"sensor": {"width": 64, "height": 48}}), 1)


@pytest.mark.parametrize("level", list(Level))
@pytest.mark.parametrize("seed", range(12))
def test_it_begins_wrong_and_can_be_solved(rig: SimulatedRig, level: Level, seed: int) -> None:
    exercise = Exercise(rig, seed, level)
    exercise.begin(0.0)
    verdict = exercise.judge(rig.knobs.all_at(0.0))
    assert not verdict.solved
    wrong = [f for f in verdict.findings if f.hidden]
    assert all(f.grade == "off" for f in wrong)
    assert all(f.grade == "right" for f in verdict.findings if not f.hidden)
    assert len(wrong) == {Level.ONE: 1, Level.TWO: 2, Level.ALL: 4}[level]
    values = dict(rig.knobs.all_at(0.0))
    for finding in verdict.findings:
        values[finding.knob] -= finding.off
    assert exercise.judge(values).solved
    assert exercise.judge(values).uncut == pytest.approx(0.5, abs=1e-3)


def test_same_seed_same_mistakes_other_seed_others(rig: SimulatedRig) -> None:
    starts = [dict(Exercise(rig, seed, Level.ALL).starts) for seed in (1, 1, 2)]
    assert starts[0] == starts[1]
    assert starts[0] != starts[2]


def test_starts_are_within_the_knobs_reach(rig: SimulatedRig) -> None:
    limits = rig.knobs.limits()
    for seed in range(50):
        for knob, value in Exercise(rig, seed, Level.ALL).starts.items():
            low, high = limits[knob]
            assert low <= value <= high


def test_nearly_right_is_said(rig: SimulatedRig) -> None:
    exercise = Exercise(rig, 3, Level.ONE)
    values = dict(rig.knobs.all_at(0.0)) | dict(exercise.starts)
    for finding in exercise.judge(values).findings:
        values[finding.knob] -= finding.off
    values["blade_x_m"] += 0.1 * rig.light.width_m
    grades = {f.knob: f for f in exercise.judge(values).findings}
    assert grades["blade_x_m"].grade == "nearly"
    assert grades["blade_x_m"].off == pytest.approx(0.1 * rig.light.width_m)
