"""Peaks of the detectors' signals for the screen."""

from __future__ import annotations

from liveview.engine.signals import PEAK_S, Signals


def test_nothing_is_there_before_the_first_value() -> None:
    signals = Signals()
    assert signals.recent() == ()
    signals.add(0.0, None)
    assert signals.recent() == ()


def test_the_peak_of_each_piece_of_time_stays() -> None:
    signals = Signals()
    for k in range(40):
        signals.add(k / 400, 9.0 if k == 13 else 1.0)
    found = signals.recent()
    assert len(found) == 2
    assert max(value for _, value in found) == 9.0
    assert dict(found)[13 / 400] == 9.0


def test_it_reaches_back_so_far_and_no_further() -> None:
    signals = Signals(span_s=1.0)
    for k in range(200):
        signals.add((k + 0.5) * PEAK_S, float(k))
    found = signals.recent()
    assert len(found) == round(1.0 / PEAK_S)
    assert found[-1][1] == 199.0


def test_a_time_that_runs_backwards_starts_again() -> None:
    signals = Signals()
    signals.add(5.0, 1.0)
    signals.add(0.0, 2.0)
    assert signals.recent() == ((0.0, 2.0),)
