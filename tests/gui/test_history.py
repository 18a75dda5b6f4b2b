from __future__ import annotations

from liveview.gui.history import History


def test_it_holds_a_span_and_starts_again_when_time_does() -> None:
    history = History(2.0, most=100)
    for k in range(100):
        history.add(k * 0.1, float(k))
    assert history.range(9.9, 0.55) == (94.0, 99.0)
    assert len(history.trace(9.9)) <= 21
    assert all(0.0 <= age <= 1.0 + 1e-9 for age, _ in history.trace(9.9))
    history.add(0.0, 5.0)
    assert history.range(0.0, 10.0) == (5.0, 5.0)


def test_a_spike_survives_thinning() -> None:
    history = History(10.0, most=10)
    for k in range(1000):
        history.add(k * 0.01, -0.4 if k == 505 else 0.01)
    assert min(value for _, value in history.trace(9.99)) == -0.4


def test_empty() -> None:
    history = History(1.0)
    assert history.range(0.0, 1.0) is None
    assert history.trace(0.0) == ()
