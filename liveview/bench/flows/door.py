"""A door that slams: a knock to the rig and a bang.

Profile
-------
The knock shakes camera and mirror as two damped oscillations: 9.5 Hz decaying in 0.35 s, and 23 Hz
decaying in 0.15 s. The bang is heard at once (``bench.voices.slam``).
"""

from __future__ import annotations

import math

from pydantic import Field as Value

from liveview.settings import Seconds, Section


class DoorSettings(Section):
    """A door that slams."""

    on: bool = False
    first_s: Seconds = Value(2.5, ge=0, le=1e6)
    every_s: Seconds = Value(8.0, gt=0, le=3600)
    knock_px: float = Value(2.5, ge=0, le=100)
    """Largest shift of the picture, at 720 rows."""


def knock(since_s: float) -> tuple[float, float]:
    """Shift of the picture (x, y) after a slam, in units of the largest."""
    if since_s < 0.0 or since_s > 2.5:
        return (0.0, 0.0)
    slow = math.exp(-since_s / 0.35) * math.sin(2 * math.pi * 9.5 * since_s)
    fast = math.exp(-since_s / 0.15) * math.sin(2 * math.pi * 23.0 * since_s)
    return (0.8 * slow + 0.3 * fast, 0.35 * slow - 0.6 * fast)


def slams_between(settings: DoorSettings, start_s: float, end_s: float) -> list[float]:
    """Moments of the slams in ``start_s <= time < end_s``."""
    low = max(0, math.ceil((start_s - settings.first_s) / settings.every_s))
    high = math.ceil((end_s - settings.first_s) / settings.every_s)
    return [settings.first_s + k * settings.every_s for k in range(low, high)]
