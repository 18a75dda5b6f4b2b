from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import Flows, Scene
from liveview.bench.sound import Microphone
from liveview.optics.sound import sound_speed


def microphone(flows: dict[str, Any] | None = None, **values: Any) -> Microphone:
    quiet: dict[str, Any] = {name: {"on": False} for name in Flows.model_fields}
    scene = Scene.model_validate(
        {
            "sensor": {"width": 32, "height": 32},
            "flows": {**quiet, **(flows or {})},
            "microphone": values,
        }
    )
    rig = SimulatedRig(scene, 3)
    return Microphone(scene, rig.air, rig.knobs, rig.spark_times, 3)


SPARK = {"spark": {"on": True, "first": 0.5, "count": 1}}


@pytest.mark.parametrize("distance", [0.1, 0.5, 3.0])
def test_a_crack_is_late_by_distance_over_the_speed_of_sound(distance: float) -> None:
    mic = microphone(SPARK, distance_m=distance, noise=0, hum=0, buzz=0)
    sound = mic.block(0, 48000)
    first = int(np.argmax(np.abs(sound) > 0.02))
    wanted = 0.5 + distance / sound_speed(293.15)
    assert first / 48000 == pytest.approx(wanted, abs=1.1 / 48000)


def test_a_crack_is_weaker_further_away() -> None:
    peaks = [
        float(np.abs(microphone(SPARK, distance_m=d, noise=0, hum=0, buzz=0).block(0, 48000)).max())
        for d in (1.0, 2.0)
    ]
    assert peaks[0] / peaks[1] == pytest.approx(2.0, rel=0.1)


def test_blocks_of_any_size_give_the_same_sound() -> None:
    flows = {**SPARK, "door": {"on": True, "first": 0.3}}
    mic = microphone(flows, claps_per_minute=120, speech=0.05)
    whole = mic.block(0, 48000)
    sizes = [1, 959, 960, 4000, 20000, 22080]
    starts = np.cumsum([0, *sizes[:-1]])
    parts = np.concatenate([mic.block(int(a), n) for a, n in zip(starts, sizes, strict=True)])
    # Times of samples are rounded differently by some 1e-11 s.
    np.testing.assert_allclose(parts, whole, atol=1e-5)


def test_room_noise_has_the_set_level_and_the_hum_is_at_the_mains() -> None:
    noise = microphone(noise=0.01, hum=0).block(0, 7 * 48000)
    assert noise.std() == pytest.approx(0.01, rel=1e-3)
    hum = microphone(noise=0, hum=0.01).block(0, 48000)
    assert np.argmax(np.abs(np.fft.rfft(hum))) == 50


def test_confusers_are_there_when_asked_for() -> None:
    silent = microphone(noise=0, hum=0)
    assert not silent.block(0, 4800).any()
    clapping = microphone(noise=0, hum=0, claps_per_minute=60)
    assert np.abs(clapping.block(0, 96000)).max() > 0.2
    talking = microphone(noise=0, hum=0, speech=0.1)
    assert np.abs(talking.block(24000, 96000)).max() > 0.1
    slamming = microphone({"door": {"on": True, "first": 0.5}}, noise=0, hum=0)
    assert not slamming.block(0, 23990).any()
    assert np.abs(slamming.block(24000, 24000)).max() > 0.3


def test_never_beyond_full_scale() -> None:
    loud = microphone(SPARK, distance_m=0.05, noise=0.3)
    assert np.abs(loud.block(20000, 10000)).max() <= 1.0
