"""Does the lamp pulse with the mains? Found from the brightness of frames, and from its rows.

A mains lamp pulses at twice the mains frequency. Frames at rate ``r`` see a ripple of frequency
``f`` at ``|f - m r|`` with ``m`` the nearest whole number (sampling theorem); the rows of a
rolling shutter see ``f`` itself, as bands that number ``f`` times the readout time. An exposure
``T`` keeps ``|sin(pi f T) / (pi f T)|`` of a sinusoidal ripple, nothing when it is a multiple of
``1/f``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RIPPLES_HZ = (100.0, 120.0)
"""Twice the mains frequencies of the world."""

_LEAST_FRAMES = 48
_SIGMA = 6.0
"""A ripple must exceed the scatter of its own estimate this many times."""
_LEAST_DEPTH = 0.004
"""Below it no lamp is blamed: the pulse of a room's light on the sensor looks the same."""
_STANDS_OUT = 4.0
"""A ripple is a line: it must be this many times the median of other frequencies."""
_OTHERS = 24


@dataclass(frozen=True, slots=True)
class MainsRipple:
    """A ripple that was found.

    ``ripple_hz`` is 100 or 120; ``depth`` its amplitude as a share of the mean light as the
    camera sees it; ``alias_hz`` where it shows in the frames; ``sure`` is False where the other
    mains frequency would show at the same place.
    """

    ripple_hz: float
    depth: float
    alias_hz: float
    sure: bool

    @property
    def advice(self) -> str:
        """A sentence for the person at the rig."""
        period_ms = 1000.0 / self.ripple_hz
        which = f"{self.ripple_hz:.0f} Hz" if self.sure else "100 or 120 Hz"
        step = f"{period_ms:.3g} ms" if self.sure else "10 or 8.33 ms, by your mains"
        return (
            f"your lamp pulses at {which}: expose a multiple of {step}, or feed it direct current"
        )


def alias_hz(ripple_hz: float, rate_hz: float) -> float:
    """Where a ripple shows in frames of a given rate, 0..rate/2."""
    return abs(ripple_hz - round(ripple_hz / rate_hz) * rate_hz)


def bands_in_frame(ripple_hz: float, readout_s: float) -> float:
    """Number of dark and bright bands in a rolling-shutter frame read out in ``readout_s``."""
    return ripple_hz * readout_s


def ripple_kept(ripple_hz: float, exposure_s: float) -> float:
    """Share of a sinusoidal ripple that an exposure keeps, 0..1."""
    return float(abs(np.sinc(ripple_hz * exposure_s)))


def mains_in_frames(
    light: NDArray[np.float64], times_s: NDArray[np.float64], rate_hz: float
) -> MainsRipple | None:
    """Look for a mains ripple in the mean light of successive frames.

    Parameters
    ----------
    light : ndarray, (frames,)
        Mean linear light of a part of the picture without flow.
    times_s : ndarray, (frames,)
        When each was taken.
    rate_hz : float
        Frame rate; needed to tell the alias.

    Returns
    -------
    MainsRipple or None
        None with too few frames or nothing found. A ripple whose alias is slower than two
        turns in the stretch cannot be told from drift and is not reported: look at the rows
        (:func:`mains_in_rows`), or change the frame rate.
    """
    if len(light) < _LEAST_FRAMES or float(np.mean(light)) <= 0.0:
        return None
    span = float(times_s[-1] - times_s[0])
    found = []
    for ripple in RIPPLES_HZ:
        alias = alias_hz(ripple, rate_hz)
        if alias * span < 2.0:
            continue
        depth, sigma = _ripple_at(light, times_s, ripple)
        if depth > max(_SIGMA * sigma, _LEAST_DEPTH):
            others = np.linspace(2.0 / span, rate_hz / 2, _OTHERS)
            common = np.median([_ripple_at(light, times_s, f)[0] for f in others.tolist()])
            if depth > _STANDS_OUT * float(common):
                found.append(MainsRipple(ripple, depth, alias, True))
    return _strongest(found, lambda ripple: alias_hz(ripple, rate_hz), 1.0 / span)


def mains_in_rows(rows: NDArray[np.float64], row_time_s: float) -> MainsRipple | None:
    """Look for a mains ripple in the rows of one rolling-shutter frame.

    Parameters
    ----------
    rows : ndarray, (rows,)
        Mean linear light of each row over the same row of a reference (so that the picture
        itself is gone), NaN where a row has no part in the disc.
    row_time_s : float
        From one row to the next.
    """
    good = np.isfinite(rows)
    span = float(len(rows) * row_time_s)
    if good.sum() < _LEAST_FRAMES or row_time_s <= 0.0:
        return None
    times = np.arange(len(rows), dtype=np.float64)[good] * row_time_s
    found = []
    for ripple in RIPPLES_HZ:
        if ripple * span < 1.0:
            continue
        depth, sigma = _ripple_at(rows[good], times, ripple)
        if depth > max(_SIGMA * sigma, _LEAST_DEPTH):
            found.append(MainsRipple(ripple, depth, ripple, True))
    return _strongest(found, lambda ripple: ripple, 1.0 / span)


def _ripple_at(
    light: NDArray[np.float64], times_s: NDArray[np.float64], ripple_hz: float
) -> tuple[float, float]:
    """Amplitude over the mean, and its standard error, by least squares beside a quadratic drift.

    The sine is fitted at the ripple's own frequency: sampled, it takes its alias by itself.
    """
    phase = 2 * math.pi * ripple_hz * (times_s - times_s[0])
    t = np.linspace(-1.0, 1.0, len(light))
    basis = np.column_stack([np.ones_like(t), t, t * t, np.cos(phase), np.sin(phase)])
    solved, _, rank, _ = np.linalg.lstsq(basis, light, rcond=None)
    mean = float(np.mean(light))
    if rank < basis.shape[1]:
        return 0.0, math.inf
    rest = light - basis @ solved
    sigma = float(np.sqrt(rest @ rest / max(1, len(light) - 5)))
    return math.hypot(*solved[3:]) / mean, sigma * math.sqrt(2.0 / len(light)) / mean


def _strongest(
    found: list[MainsRipple], shown_hz: Callable[[float], float], resolution_hz: float
) -> MainsRipple | None:
    if not found:
        return None
    best = max(found, key=lambda ripple: ripple.depth)
    other = next(f for f in RIPPLES_HZ if f != best.ripple_hz)
    close = abs(shown_hz(best.ripple_hz) - shown_hz(other)) < resolution_hz
    return MainsRipple(best.ripple_hz, best.depth, best.alias_hz, not close)
