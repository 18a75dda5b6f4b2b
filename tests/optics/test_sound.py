"""Sound: its delay, by the kelvin."""

from __future__ import annotations

import pytest

from liveview.optics import sound


def test_a_crack_takes_three_milliseconds_a_metre() -> None:
    assert sound.sound_delay(1.0, 293.15) == pytest.approx(2.91363e-3, abs=1e-8)
    assert sound.sound_delay(0.0, 293.15) == 0.0
