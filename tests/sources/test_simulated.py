"""The simulated rig through the same protocols as a camera and a microphone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from liveview.bench.scene import Flows, Scene
from liveview.errors import BadRequest, FormatChanged, SourceStalled
from liveview.model import SourceKind
from liveview.settings import Settings
from liveview.sources.simulated import (
    AHEAD_S,
    LATE_FRAMES,
    LONGEST_BACK_S,
    SimulatedBench,
    bench_for,
)

SMALL = {"width": 96, "height": 64, "rate": 60}


class Clock:
    """Time that moves only when somebody waits, or by hand."""

    def __init__(self) -> None:
        self.now = 0.0
        self.waits = 0

    def __call__(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        assert seconds > 0
        self.waits += 1
        self.now += seconds


def bench(clock: Clock, *, live: bool, scene: dict[str, Any] | None = None) -> SimulatedBench:
    which = Scene.model_validate({"sensor": SMALL, "seconds": 1, **(scene or {})})
    return SimulatedBench(which, clock=clock, live=live, wait=clock.wait)


def test_live_frames_come_in_time_and_without_loss() -> None:
    clock = Clock()
    clock.now = 12.3456
    camera = bench(clock, live=True).frames()
    info = camera.open()
    assert info.kind is SourceKind.SIMULATED
    assert info.simulated
    assert info.live
    assert info.frames is None
    out = np.empty(info.shape, info.dtype)
    for number in range(40):
        stamp = camera.grab()
        assert stamp is not None
        assert stamp.number == number
        assert info.row_time_s is not None
        assert info.exposure_s is not None
        ready = stamp.time_s + info.exposure_s + 63 * info.row_time_s
        assert ready <= clock.now <= ready + 1 / 60 + 1e-6
        camera.read_into(out)
    camera.close()
    camera.close()
    assert clock.waits <= 45


def test_a_slow_reader_loses_whole_frames_and_the_numbers_say_so() -> None:
    clock = Clock()
    camera = bench(clock, live=True).frames()
    camera.open()
    first = camera.grab()
    clock.now += 1.0
    second = camera.grab()
    assert first is not None
    assert second is not None
    assert second.number - first.number > 60 - LATE_FRAMES - 1
    assert second.time_s - first.time_s == pytest.approx((second.number - first.number) / 60)


def test_after_a_longer_delay_frames_are_lost_until_their_time_runs_on() -> None:
    clock = Clock()
    rig = bench(clock, live=True)
    camera = rig.frames()
    camera.open()
    before = [camera.grab() for _ in range(5)][-1]
    rig.delay_s = 0.4  # 24 frames at 60 Hz
    after = camera.grab()
    assert before is not None
    assert after is not None
    assert after.number - before.number == 25
    assert after.time_s - before.time_s == pytest.approx(1 / 60)


@pytest.mark.parametrize("delay_s", [10.0, 3600.0])
def test_a_delay_for_which_time_would_stand_still_opens_it_anew(delay_s: float) -> None:
    clock = Clock()
    rig = bench(clock, live=True)
    camera = rig.frames()
    camera.open()
    for _ in range(5):
        camera.grab()
    rig.delay_s, began_s = delay_s, clock.now
    with pytest.raises(FormatChanged, match="another delay"):
        camera.grab()
    assert clock.now - began_s <= LONGEST_BACK_S, "whoever waits for a frame can still be stopped"
    again = rig.frames()
    again.open()
    for _ in range(40):
        stamp, truth = again.grab(), rig.rig.time_of(again._grabbed)
        assert stamp is not None
        assert stamp.time_s == pytest.approx(truth - delay_s)


def test_a_recording_ends_and_keeps_exact_times() -> None:
    camera = bench(Clock(), live=False).frames()
    info = camera.open()
    assert info.frames == 60
    stamps = []
    while (stamp := camera.grab()) is not None:
        stamps.append(stamp)
    assert [s.number for s in stamps] == list(range(60))
    assert stamps[-1].time_s == pytest.approx(59 / 60)
    assert camera.grab() is None


def test_sound_is_paced_by_the_same_clock_and_has_no_gaps() -> None:
    clock = Clock()
    clock.now = 3.0
    mic = bench(clock, live=True).sound()
    info = mic.open()
    assert info.simulated
    end = 3.0
    for _ in range(20):
        block = mic.read(1.0)
        assert block is not None
        assert block.start_s == pytest.approx(end, abs=1e-9)
        assert block.lost_before == 0
        end = block.start_s + len(block.samples) / block.rate_hz
        assert clock.now >= end - 1e-9
    mic.close()


def test_sound_not_fetched_for_long_is_counted_as_lost() -> None:
    clock = Clock()
    mic = bench(clock, live=True).sound()
    mic.open()
    mic.read(1.0)
    clock.now += 5.0
    block = mic.read(1.0)
    assert block is not None
    assert block.lost_before == pytest.approx(4.0 * 48000, abs=2000)


def test_sound_that_does_not_come_in_time_is_a_stall() -> None:
    clock = Clock()
    mic = bench(clock, live=True).sound()
    mic.open()
    with pytest.raises(SourceStalled):
        mic.read(0.001)


def test_a_recordings_sound_is_as_long_as_its_pictures() -> None:
    mic = bench(Clock(), live=False).sound()
    mic.open()
    samples = 0
    while (block := mic.read(1.0)) is not None:
        samples += len(block.samples)
    assert samples == 48000


def test_knobs_take_effect_with_the_next_frame() -> None:
    clock = Clock()
    rig = bench(clock, live=True, scene={"flows": {"candle": {"on": False}}})
    camera = rig.frames()
    info = camera.open()
    out = np.empty(info.shape, info.dtype)

    def brightness() -> float:
        camera.grab()
        camera.grab()
        camera.read_into(out)
        return float(out[20:40, 40:56].mean())

    before = brightness()
    rig.set("lamp_brightness", 0.1)
    assert brightness() < 0.6 * before
    rig.set("lamp_brightness", 1.0)
    rig.set("lens_capped", 1.0)
    assert brightness() < 0.2 * before
    assert rig.values()["lens_capped"] == 1.0
    low, high = rig.limits()["blade_x_m"]
    assert low < rig.values()["blade_x_m"] < high
    with pytest.raises(BadRequest, match="out of range"):
        rig.set("gain", 1e9)
    with pytest.raises(BadRequest, match="no knob"):
        rig.set("focus", 1.0)


def test_every_flow_has_a_switch() -> None:
    rig = bench(Clock(), live=True)
    assert {f"flow_{name}" for name in Flows.model_fields} <= set(rig.values())


def test_a_spark_by_hand_is_seen_and_heard_at_one_moment() -> None:
    clock = Clock()
    quiet = {"noise": 0, "hum": 0, "buzz": 0, "distance_m": 1.0}
    flows = {"candle": {"on": False}, "spark": {"on": False}}
    rig = bench(
        clock,
        live=True,
        scene={"sensor": {**SMALL, "exposure": "16 ms"}, "microphone": quiet, "flows": flows},
    )
    camera, mic = rig.frames(), rig.sound()
    info = camera.open()
    mic.open()
    out = np.empty(info.shape, info.dtype)
    rig.set("spark_now", 1.0)
    seen = []
    for _ in range(8):
        camera.grab()
        camera.read_into(out)
        assert camera.last_truth is not None
        seen += [spark.time_s for spark in camera.last_truth.sparks]
    heard = None
    for _ in range(8):
        block = mic.read(1.0)
        assert block is not None
        loud = np.flatnonzero(np.abs(block.samples[:, 0]) > 0.02)
        if heard is None and loud.size:
            heard = block.start_s + loud[0] / block.rate_hz
    assert seen
    assert seen[0] == pytest.approx(AHEAD_S)
    assert heard == pytest.approx(seen[0] + rig.microphone.delay_s, abs=1e-4)


def test_steps_happen_in_a_recording_and_not_live() -> None:
    steps = {"steps": [{"at": 0.5, "knob": "gain", "value": 2}]}
    recording, live = (bench(Clock(), live=live, scene=steps) for live in (False, True))
    assert recording.rig.knobs.at("gain", 0.6) == 2.0
    assert live.rig.knobs.at("gain", 0.6) == 1.0


def test_addresses() -> None:
    settings = Settings().replaced("camera", width=64, height=48, rate_hz=30)
    clock = Clock()
    plain = bench_for("simulated", settings, clock=clock, live=True)
    assert (plain.scene.sensor.width, plain.scene.sensor.rate_hz) == (64, 30)
    named = bench_for("simulated:hand", settings, clock=clock, live=False)
    assert named.scene.title == "warm hand"
    with pytest.raises(BadRequest, match="no scene"):
        bench_for("simulated:nowhere", settings, clock=clock, live=True)
