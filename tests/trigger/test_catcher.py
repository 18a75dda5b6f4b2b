"""Eyes and ears together: frames and sound in, events out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.flash_scenes import Bench, Spark

from liveview.model import ArmState, Cause, Disc, SoundBlock
from liveview.settings import Settings
from liveview.trigger.arming import Begin, End, Mark
from liveview.trigger.catcher import Catcher, path_of

RATE = 48000
SECONDS = 7.0
DISTANCE_M = 1.5
DELAY_S = DISTANCE_M / 343.215
SPARKS = (3.0012, 4.5004, 5.2007)
"""Moments that a global shutter of 2 ms sees."""
CLAPS = (2.7, 3.9, 4.9, 6.1)


def settings(on: str, **catch) -> Settings:
    values = {
        "on": on,
        "pre_trigger_s": 0.2,
        "post_trigger_s": 0.3,
        "learn_s": 1.0,
        "mic_distance_m": DISTANCE_M,
    }
    return Settings().replaced("catch", **(values | catch))


def sound(cracks, claps=()) -> np.ndarray:
    rng = np.random.default_rng(3)
    out = 0.002 * rng.standard_normal(int(SECONDS * RATE))
    wave = 0.4 * np.linspace(1, -1, 10)
    for time_s in cracks:
        at = round((time_s + DELAY_S) * RATE)
        out[at : at + 10] += wave
    t = np.arange(int(0.1 * RATE)) / RATE
    for time_s in claps:
        at = round(time_s * RATE)
        body = np.convolve(rng.standard_normal(len(t)), np.hanning(25) / 12, "same")
        out[at : at + len(t)] += 0.5 * body * np.exp(-t / 0.012)
    # A sharp snap that has the band of a spark, too: only the eye can tell.
    for time_s in claps:
        at = round((time_s + 0.45) * RATE)
        out[at : at + 10] += wave
    return out


def run(catcher: Catcher, bench: Bench, samples: np.ndarray | None, late_s: float = 0.1):
    """Feed both, sound some time behind the frames; gives the actions in order."""
    actions = []
    block = 960
    heard = 0
    for frame in bench.frames(SECONDS):
        actions += catcher.see(frame)
        while samples is not None and heard + block <= (frame.time_s - late_s) * RATE:
            part = samples[heard : heard + block, None].astype(np.float32)
            actions += catcher.hear(SoundBlock(part, RATE, heard / RATE, 0.0005))
            heard += block
    return actions + list(catcher.flush())


def bench(sparks=SPARKS, **more) -> Bench:
    flashes = tuple(Spark(t, glow=0.01) for t in sparks)
    return Bench(readout_s=0.0, exposure_s=0.002, sparks=flashes, seed=3, **more)


def caught(actions) -> list[tuple[Cause, float]]:
    return [(a.spotted.cause, a.spotted.time_s) for a in actions if isinstance(a, (Begin, Mark))]


@pytest.mark.slow
def test_both_lets_no_clap_and_no_snap_through():
    scene = bench()
    catcher = Catcher(settings("both"), scene.info, sound=True)
    catcher.set_disc(scene.disc)
    catcher.arm()
    found = caught(run(catcher, scene, sound(SPARKS, CLAPS)))
    assert [cause for cause, _ in found] == [Cause.BOTH] * 3
    # The crack's time is the surer one: its block is known to half a millisecond.
    assert [t for _, t in found] == pytest.approx(list(SPARKS), abs=0.001)


@pytest.mark.slow
def test_both_needs_the_flash_and_the_crack():
    scene = bench(sparks=SPARKS[:1])
    catcher = Catcher(settings("both"), scene.info, sound=True)
    catcher.arm()
    assert caught(run(catcher, scene, sound(SPARKS[1:]))) == []


@pytest.mark.slow
def test_either_takes_each_and_counts_a_spark_once():
    scene = bench(sparks=SPARKS[:2])
    catcher = Catcher(settings("either"), scene.info, sound=True)
    catcher.arm()
    found = caught(run(catcher, scene, sound(SPARKS[1:])))
    assert [cause for cause, _ in found] == [Cause.FLASH, Cause.BOTH, Cause.SOUND]
    assert [t for _, t in found] == pytest.approx(list(SPARKS), abs=0.0015)


def test_flash_alone_does_not_wait_for_sound():
    scene = bench()
    catcher = Catcher(settings("flash"), scene.info)
    catcher.arm()
    actions = run(catcher, scene, None)
    # The sparks at 4.5 and 5.2 s are further apart than the post-trigger: three events.
    kinds = [type(a) for a in actions]
    assert kinds == [Begin, End] * 3
    begin = actions[0]
    assert begin.since_s == pytest.approx(SPARKS[0] - 0.2, abs=0.002)


def test_learning_waits_for_the_detectors():
    scene = bench(sparks=())
    catcher = Catcher(settings("flash", learn_s=0.05), scene.info)
    catcher.arm()
    states = []
    for frame in scene.frames(2.0):
        catcher.see(frame)
        states.append(catcher.state)
    assert states[20] is ArmState.LEARNING
    assert states[-1] is ArmState.ARMED
    assert "once in" in catcher.words


def test_words_say_that_sound_is_missing():
    scene = bench(sparks=())
    catcher = Catcher(settings("both"), scene.info, sound=False)
    catcher.arm(learn=False)
    assert "no sound" in catcher.words


def test_noise_rate_follows_the_sensitivity():
    scene = bench(sparks=())
    strict = Catcher(settings("flash", sensitivity_sigma=7), scene.info)
    loose = Catcher(settings("flash", sensitivity_sigma=5), scene.info)
    assert loose.noise_rate_hz / strict.noise_rate_hz == pytest.approx(math.exp(12.0))


def test_event_after_a_number_of_frames():
    scene = bench(sparks=())
    catcher = Catcher(settings("off", after_frames=60), scene.info)
    catcher.arm(learn=False)
    found = caught(run(catcher, scene, None))
    assert found[0] == (Cause.COUNT, pytest.approx(59 / 60, abs=0.001))


def test_hand_works_in_any_state():
    scene = bench(sparks=())
    catcher = Catcher(settings("off"), scene.info)
    frames = scene.frames(2.0)
    catcher.see(next(frames))
    (begin,) = catcher.hand(0.0, 0)
    assert begin.spotted.cause is Cause.HAND
    ends = [a for frame in frames for a in catcher.see(frame) if isinstance(a, End)]
    assert ends == [End(True, pytest.approx(0.3))]


def test_other_source_ends_the_event_short():
    scene = bench(sparks=())
    catcher = Catcher(settings("off"), scene.info)
    for frame in scene.frames(0.2):
        catcher.see(frame)
    catcher.hand(0.18)
    assert [a.complete for a in catcher.set_source(Bench(width=200).info)] == [False]


def test_path_follows_distance_and_temperature():
    base = settings("both")
    assert path_of(base) == pytest.approx(DELAY_S, rel=1e-4)
    assert path_of(base.replaced("rig", temperature_k=273.15)) == pytest.approx(1.5 / 331.3)


def spotted_while(change, at: int) -> list[float]:
    """Times of the flashes that a spark of frame 180 gives when ``change`` comes at a frame."""
    scene = bench(sparks=(3.0012,))
    catcher = Catcher(settings("flash"), scene.info)
    catcher.set_disc(scene.disc)
    catcher.arm()
    actions = []
    for frame in scene.frames(4.0):
        if frame.number == at:
            actions += change(catcher, scene)
        actions += catcher.see(frame)
    return [time_s for _, time_s in caught([*actions, *catcher.flush()])]


def exposure(catcher: Catcher, scene: Bench):
    return catcher.camera_changed(("exposure",), scene.info)


def other_disc(catcher: Catcher, scene: Bench):
    disc = scene.disc
    return catcher.set_disc(Disc(disc.cx - 9, disc.cy, disc.radius))


@pytest.mark.parametrize("change", [exposure, other_disc])
def test_a_flash_just_before_a_change_is_not_forgotten(change):
    """Three frames after it its verdict is still open: it waits for a tenth of a second."""
    assert spotted_while(lambda *_: (), 184) == [pytest.approx(3.0012, abs=1 / 60)]
    assert spotted_while(change, 184) == [pytest.approx(3.0012, abs=1 / 60)]


def test_a_disc_found_elsewhere_is_learnt_anew_and_said():
    scene = bench(sparks=())
    catcher = Catcher(settings("flash"), scene.info)
    frames = scene.frames(6.0)
    catcher.set_disc(scene.disc)
    catcher.arm()
    while catcher.state is ArmState.LEARNING:
        catcher.see(next(frames))
    catcher.set_disc(scene.disc)
    assert catcher.state is ArmState.ARMED
    other_disc(catcher, scene)
    assert catcher.state is ArmState.LEARNING
    assert "mirror's place changed" in catcher.words
    assert catcher.flash_strength is None
    while catcher.state is ArmState.LEARNING:
        catcher.see(next(frames))
    assert catcher.flash_strength is not None
