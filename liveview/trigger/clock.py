"""How late a camera's stamps are, from flashes that were seen and heard. Pure.

A spark at a known distance from the microphone is seen at once and heard after the sound's way.
What is left between the two is the camera's delay::

    delay = seen - (heard - distance / speed of sound)

One flash is known no better than a frame; the mean of several is better, and their scatter says
how much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

EARLIEST_S, LATEST_S = -0.3, 1.0
"""Delays that are believed in."""
SLACK_S = 0.004
"""Pairs whose delays differ by less than this, and three times a flash's uncertainty, agree."""
FEWEST = 3
"""Fewer pairs give no result."""
CLEAR = 1.5
"""How many times more pairs the delay must have than any other."""


@dataclass(frozen=True, slots=True)
class Moment:
    """When something was seen or heard, and one standard uncertainty, seconds."""

    time_s: float
    error_s: float


@dataclass(frozen=True, slots=True)
class Delay:
    """The camera's delay against sound.

    ``error_s`` is one standard uncertainty: the scatter of the pairs, and what no repetition
    mends, namely distance and the sound's own stamps. ``scatter_s`` is that of a single pair.
    """

    delay_s: float
    error_s: float
    scatter_s: float
    pairs: int


def find_delay(
    seen: Sequence[Moment],
    heard: Sequence[Moment],
    path_s: float,
    *,
    path_error_s: float = 0.0,
) -> Delay | None:
    """The delay that most of the flashes and sounds agree on; None without a clear one.

    Parameters
    ----------
    seen, heard : sequence of Moment
        Flashes by the camera's stamps, sounds by the microphone's; some may have no partner.
    path_s : float
        Travel time of the sound from the flash to the microphone, seconds.
    path_error_s : float
        One standard uncertainty of it.
    """
    rows = [
        (flash.time_s - (sound.time_s - path_s), i, j)
        for i, flash in enumerate(seen)
        for j, sound in enumerate(heard)
    ]
    rows = [row for row in rows if EARLIEST_S <= row[0] <= LATEST_S]
    if len(rows) < FEWEST:
        return None
    typical = float(np.median([moment.error_s for moment in seen]))
    width = SLACK_S + 3.0 * typical
    groups = [(_one_to_one(rows, centre, width), centre) for centre, _, _ in rows]
    best, centre = max(groups, key=lambda group: len(group[0]))
    others = [len(group) for group, other in groups if abs(other - centre) > 2.0 * width]
    if len(best) < FEWEST or len(best) < CLEAR * max(others, default=0):
        return None
    middle = float(np.median([delay for delay, _, _ in best]))
    pairs = _one_to_one(rows, middle, width)
    return _mean(pairs, seen, heard, path_error_s) if len(pairs) >= FEWEST else None


Row = tuple[float, int, int]


def _one_to_one(rows: Sequence[Row], centre: float, width: float) -> list[Row]:
    """The rows within ``width`` of a delay, each flash and each sound used once, nearest first."""
    used_seen: set[int] = set()
    used_heard: set[int] = set()
    found = []
    for row in sorted(rows, key=lambda row: abs(row[0] - centre)):
        if abs(row[0] - centre) > width:
            break
        if row[1] not in used_seen and row[2] not in used_heard:
            used_seen.add(row[1])
            used_heard.add(row[2])
            found.append(row)
    return found


def _mean(
    pairs: Sequence[Row],
    seen: Sequence[Moment],
    heard: Sequence[Moment],
    path_error_s: float,
) -> Delay:
    delays = np.array([delay for delay, _, _ in pairs])
    errors = np.array([max(seen[i].error_s, 1e-5) for _, i, _ in pairs])
    weights = 1.0 / errors**2
    delay_s = float((weights * delays).sum() / weights.sum())
    scatter_s = float(np.std(delays, ddof=1))
    single_s = max(scatter_s, float(np.median(errors)))
    common_s = max(heard[j].error_s for _, _, j in pairs)
    error_s = math.sqrt(single_s**2 / len(pairs) + common_s**2 + path_error_s**2)
    return Delay(delay_s, error_s, scatter_s, len(pairs))
