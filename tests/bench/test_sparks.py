from __future__ import annotations

import numpy as np

from liveview.bench.sparks import SparkTimes


def times(**values: object) -> SparkTimes:
    given = {"first_s": 2.0, "rate_hz": 4.0, "jitter": 0.2, "count": None, "seed": 1}
    return SparkTimes(**{**given, "switched_on": lambda _: True, **values})  # type: ignore[arg-type]


def test_any_cutting_of_time_finds_the_same_sparks() -> None:
    sparks = times()
    whole = sparks.between(0.0, 30.0)
    parts = [s for start in np.arange(0.0, 30.0, 0.5) for s in sparks.between(start, start + 0.5)]
    assert parts == whole
    assert [s.number for s in whole] == list(range(len(whole)))
    assert len(whole) in (112, 113)


def test_break_rate_and_jitter() -> None:
    moments = np.array([s.time_s for s in times().between(0.0, 100.0)])
    gaps = np.diff(moments)
    assert moments[0] == 2.0
    assert abs(gaps.mean() - 0.25) < 0.001
    assert 0.01 < gaps.std() < 0.06


def test_count_switch_and_hand() -> None:
    assert len(times(count=3).between(0.0, 30.0)) == 3
    assert all(s.time_s < 5.0 for s in times(switched_on=lambda t: t < 5.0).between(0.0, 30.0))
    sparks = times(switched_on=lambda _: False)
    sparks.set_off(7.5)
    assert [s.time_s for s in sparks.between(0.0, 30.0)] == [7.5]
