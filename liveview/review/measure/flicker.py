"""Flicker of a flame or lamp: the spectrum of a patch's light, its peak with width."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.review.measure.quantity import Measurement, Quantity

Floats = NDArray[np.float64]

LEAST_FRAMES = 16
FALSE_ALARM = 1e-3
"""A peak that noise alone would give more often than this does not count."""
DRIFT_DEGREE = 3
"""Of the curve that is taken for drift of lamp, camera or plume, and removed."""
SLOWEST_CYCLES = 3.0
"""What comes back less often in the stretch cannot be told from drift."""
ABOVE_FLOOR = 4.0
"""A peak counts when its amplitude is so many times the median around it: noise of any colour has
such a one in less than one of 500 stretches (amplitudes of noise are Rayleigh distributed)."""
SIDE_LOBE = 0.05
"""Amplitude of the first lobe beside a sine under Hann weights is 0.027 of the sine's."""
FLOOR_OCTAVES = 0.8
"""Reach of that median to either side; no less than eight resolutions."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Amplitude against frequency, from unevenly spaced times.

    ``frequency_hz`` runs from above zero to half the frame rate; ``amplitude`` is that of a sine
    in the signal's unit; ``resolution_hz`` is the width that a pure sine has here.
    """

    frequency_hz: Floats
    amplitude: Floats
    resolution_hz: float


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest peak. ``width_hz`` is its full width at half power."""

    frequency_hz: float
    sigma_hz: float
    width_hz: float
    amplitude: float
    false_alarm: float


def spectrum(times_s: Floats, signal: Floats) -> Spectrum:
    """Spectrum by least squares (Lomb 1976), Hann weights, a cubic drift removed.

    Raises
    ------
    ValueError
        Fewer than 16 frames, or times that do not grow.
    """
    from scipy.signal import lombscargle

    t, x = _checked(times_s, signal)
    span, step = float(t[-1] - t[0]), float(np.median(np.diff(t)))
    rest, window = _windowed(t, x)
    count = max(64, math.ceil(8 * span * 0.5 / step))
    frequency = np.linspace(0.5 / step / count, 0.5 / step, count)
    power = lombscargle(t - t[0], rest * window, 2 * np.pi * frequency)
    amplitude = np.sqrt(4.0 * power / len(t)) / float(window.mean())
    return Spectrum(frequency, np.asarray(amplitude), 1.44 / span)


def _checked(times_s: Floats, signal: Floats) -> tuple[Floats, Floats]:
    t = np.asarray(times_s, dtype=np.float64)
    x = np.asarray(signal, dtype=np.float64)
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if len(t) < LEAST_FRAMES:
        raise ValueError(f"a spectrum needs at least {LEAST_FRAMES} frames")
    if not np.all(np.diff(t) > 0):
        raise ValueError("the frames' times must grow")
    return t, x


def _windowed(t: Floats, x: Floats) -> tuple[Floats, Floats]:
    place = (t - t[0]) / (t[-1] - t[0])
    rest = x - np.polyval(np.polyfit(place, x, DRIFT_DEGREE), place)
    return rest, np.sin(np.pi * place) ** 2


def floor_of(shown: Spectrum) -> Floats:
    """What noise and drift have around each frequency: the larger median of the two sides."""
    frequency, reach = shown.frequency_hz, 8 * shown.resolution_hz
    low = np.minimum(frequency / 2**FLOOR_OCTAVES, frequency - reach)
    high = np.maximum(frequency * 2**FLOOR_OCTAVES, frequency + reach)
    first = np.searchsorted(frequency, np.maximum(low, shown.resolution_hz))
    stop = np.searchsorted(frequency, high, side="right")
    every = np.arange(len(frequency))
    below = [shown.amplitude[a : k + 1] for a, k in zip(first, every, strict=True)]
    above = [shown.amplitude[k:b] for k, b in zip(every, stop, strict=True)]
    return np.array(
        [
            max(np.median(one) if len(one) else 0.0, np.median(other))
            for one, other in zip(below, above, strict=True)
        ]
    )


def find_peak(times_s: Floats, signal: Floats) -> Peak | None:
    """The highest peak that neither noise nor drift would give; None without one.

    Its frequency is refined by fitting a sine to the signal; the standard uncertainty is the
    larger of the Cramer-Rao bound of that fit and, for a peak wider than the resolution, the
    peak's width over the square root of the coherence times seen.
    """
    t, x = _checked(times_s, signal)
    shown = spectrum(t, x)
    slow = shown.frequency_hz < SLOWEST_CYCLES / (t[-1] - t[0])
    low = shown.amplitude < ABOVE_FLOOR * floor_of(shown)
    # The slope of something slower, and its side lobes by the window, are no peaks.
    height = np.pad(shown.amplitude, 1, mode="edge")
    slope = (height[1:-1] < height[:-2]) | (height[1:-1] < height[2:])
    lobe = shown.amplitude < SIDE_LOBE * np.maximum.accumulate(shown.amplitude)
    amplitude = np.where(slow | low | slope | lobe, 0.0, shown.amplitude)
    if not amplitude.any():
        return None
    at = int(np.argmax(amplitude))
    left, right = _half_power(shown, at)
    width = right - left
    frequency, level, noise = _refined(t, x, float(shown.frequency_hz[at]), shown.resolution_hz)
    alarm = _false_alarm(level, noise, len(t))
    if amplitude[at] <= 0 or alarm > FALSE_ALARM:
        return None
    span = float(t[-1] - t[0])
    bound = math.sqrt(6.0) * noise / (math.pi * span * max(level, 1e-30) * math.sqrt(len(t)))
    broad = 0.0
    if width > 1.5 * shown.resolution_hz:
        frequency = (left + right) / 2
        broad = width / 2.3548 / math.sqrt(max(1.0, width * span))
    return Peak(frequency, max(bound, broad), width, level, alarm)


def _half_power(shown: Spectrum, at: int) -> tuple[float, float]:
    half = shown.amplitude[at] / math.sqrt(2.0)
    low = high = at
    while low > 0 and shown.amplitude[low - 1] > half:
        low -= 1
    while high < len(shown.amplitude) - 1 and shown.amplitude[high + 1] > half:
        high += 1
    return float(shown.frequency_hz[low]), float(shown.frequency_hz[high])


def _refined(t: Floats, x: Floats, frequency: float, reach: float) -> tuple[float, float, float]:
    """Frequency, amplitude and noise of the best sine near ``frequency``."""
    from scipy.optimize import minimize_scalar

    drift = np.vander(2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0, DRIFT_DEGREE + 1)

    def fit(f: float) -> tuple[float, float]:
        phase = 2 * np.pi * f * (t - t[0])
        basis = np.column_stack([drift, np.cos(phase), np.sin(phase)])
        solved = np.linalg.lstsq(basis, x, rcond=None)[0]
        rest = x - basis @ solved
        return float(rest @ rest), math.hypot(*solved[-2:])

    found = minimize_scalar(
        lambda f: fit(f)[0],
        bounds=(max(frequency - reach / 2, 1e-9), frequency + reach / 2),
        method="bounded",
        options={"xatol": reach * 1e-5},
    )
    squares, level = fit(float(found.x))
    return float(found.x), level, math.sqrt(squares / max(1, len(t) - 7))


def _false_alarm(level: float, noise: float, count: int) -> float:
    """Chance that white noise alone has such a peak somewhere (Scargle 1982)."""
    if noise <= 0:
        return 0.0 if level > 0 else 1.0
    power = count * level**2 / (4.0 * noise**2)
    return -math.expm1(count / 2 * math.log1p(-math.exp(-min(power, 700.0)))) if power > 0 else 1.0


def measure_flicker(
    times_s: Floats, signal: Floats, patch: tuple[int, int, int, int]
) -> Measurement:
    """Flicker of a patch (x, y, width, height in pixels) whose mean light is ``signal``.

    Raises
    ------
    ValueError
        Too few frames, or nothing flickers above the noise.
    """
    peak = find_peak(times_s, signal)
    if peak is None:
        slowest = SLOWEST_CYCLES / float(np.ptp(times_s))
        raise ValueError(
            "no flicker stands out of noise and drift in this patch (slower than "
            f"{slowest:.2g} Hz would pass for drift in a stretch this short)"
        )
    mean = float(np.nanmean(signal))
    results = {
        "frequency": Quantity.normal(peak.frequency_hz, peak.sigma_hz, "Hz"),
        "width": Quantity.exact(peak.width_hz, "Hz"),
        "depth": Quantity.exact(peak.amplitude / mean if mean else math.nan, "1"),
    }
    rate = 1.0 / float(np.median(np.diff(times_s)))
    return Measurement(
        "flicker",
        {name: q for name, q in results.items() if math.isfinite(q.value)},
        {"patch_px": list(patch), "from_s": float(times_s[0]), "to_s": float(times_s[-1])},
        (
            f"slower than half the frame rate ({rate / 2:.4g} Hz): a faster flicker would show "
            f"at {rate:.4g} Hz minus its frequency",
        ),
    )


def spectrum_table(shown: Spectrum) -> str:
    """The spectrum as CSV."""
    pairs = zip(shown.frequency_hz, shown.amplitude, strict=True)
    rows = (f"{frequency:.6g},{amplitude:.6g}" for frequency, amplitude in pairs)
    return "\n".join(("frequency_hz,amplitude", *rows)) + "\n"
