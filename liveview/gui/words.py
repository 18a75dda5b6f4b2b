"""Numbers and states as words: units, signs, rounding, the same everywhere on the screen."""

from __future__ import annotations

import math
import re

from liveview.model import (
    ArmState,
    BladeReading,
    Cause,
    Histogram,
    NoiseReading,
    SessionState,
    SessionStatus,
    SourceInfo,
    Spotted,
)
from liveview.settings import Catch

MINUS = "\u2212"
THIN = "\u2009"
DOT = " \u00b7 "
DASH = "\u2013"


def first_up(words: str) -> str:
    """The first letter as a capital; a path or an address at the front stays as it is."""
    first = words.partition(" ")[0]
    if ":" in first[:-1] or "/" in first or "." in first.rstrip("."):
        return words
    return words[:1].upper() + words[1:]


def signed(value: float, digits: int = 1) -> str:
    """``+1.2`` or ``−1.2``; zero has no sign."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0.0:
        return text
    return ("+" if value > 0 else MINUS) + text


def percent(share: float | None, digits: int = 1) -> str:
    """A share of 0..1 in percent; a dash where it is not known."""
    return DASH if share is None else f"{share * 100:.{digits}f}{THIN}%"


def with_unit(value: float, unit: str, *, sign: bool = False) -> str:
    """A value in ``contrast``, ``arcsec`` or ``sigma``, about three figures."""
    shown, suffix = (value * 100, f"{THIN}%") if unit == "contrast" else (value, "")
    if unit == "arcsec":
        suffix = "\u2033"
    if unit == "sigma":
        suffix = f"{THIN}\u03c3"
    digits = _digits(shown)
    return (signed(shown, digits) if sign else f"{shown:.{digits}f}") + suffix


def _digits(value: float) -> int:
    size = abs(value)
    if size == 0.0 or size >= 20:
        return 0
    return 1 if size >= 2 else 2


def seconds(value: float) -> str:
    """``350 ms``, ``4.2 s``, ``12 s``, ``3 min 20 s``."""
    if value < 0.0005:
        return f"0{THIN}s" if value <= 0 else f"{value * 1e6:.0f}{THIN}µs"
    if value < 0.9995:
        return f"{value * 1e3:.3g}{THIN}ms"
    if value < 9.95:
        return f"{value:.1f}{THIN}s"
    if value < 99.5:
        return f"{value:.0f}{THIN}s"
    minutes, rest = divmod(round(value), 60)
    return f"{minutes}{THIN}min {rest}{THIN}s"


def exposure(value: float) -> str:
    """An exposure time: ``1/500 s`` below a quarter of a second, else seconds."""
    if value < 0.25:
        return f"1/{round(1 / value)}{THIN}s"
    return f"{value:.2g}{THIN}s"


def millimetres(value_m: float, digits: int = 2) -> str:
    """A length in millimetres."""
    return f"{value_m * 1e3:.{digits}f}{THIN}mm"


def data_size(count: float) -> str:
    """Bytes as ``1.2 GB`` (powers of ten)."""
    for unit in ("bytes", "kB", "MB", "GB"):
        if abs(count) < 1000 or unit == "GB":
            break
        count /= 1000
    return f"{count:.3g}{THIN}{unit}"


def count(number: int, one: str, many: str) -> str:
    """``1 event``, ``3 events``, thousands set apart."""
    return f"{number:,}".replace(",", THIN) + " " + (one if number == 1 else many)


def source_line(source: SourceInfo, rate_hz: float | None) -> str:
    """Size, depth and rate of a source: ``1280 × 720 · 8 bit · 60 Hz``."""
    parts = [f"{source.width}{THIN}×{THIN}{source.height}", f"{source.bits}{THIN}bit"]
    rate = rate_hz if rate_hz is not None else source.rate_hz
    if rate is not None and math.isfinite(rate):
        parts.append(f"{rate:.0f}{THIN}Hz" if rate >= 20 else f"{rate:.1f}{THIN}Hz")
    if source.exposure_s is not None:
        parts.append(exposure(source.exposure_s))
    return DOT.join(parts)


STATE_WORDS = {
    SessionState.STOPPED: "stopped",
    SessionState.OPENING: "opening",
    SessionState.RUNNING: "live",
    SessionState.STALLED: "no picture arrives",
    SessionState.ENDED: "recording is over",
    SessionState.FAILED: "cannot be read",
}

ARM_WORDS = {
    ArmState.OFF: "Off",
    ArmState.LEARNING: "Learning",
    ArmState.ARMED: "Armed",
    ArmState.CATCHING: "Catching",
}

CAUSE_WORDS = {
    Cause.FLASH: "flash",
    Cause.SOUND: "crack",
    Cause.BOTH: "flash and crack",
    Cause.HAND: "by hand",
    Cause.COUNT: "frame count",
}


def catch_line(catch: Catch, has_sound: bool) -> str:
    """What starts an event, in words."""
    wanted = {
        "off": "by hand only",
        "flash": "on a flash",
        "sound": "on a crack",
        "either": "on a flash or a crack",
        "both": "on flash and crack together",
    }[catch.on]
    if not has_sound and catch.on in ("sound", "either", "both"):
        return "on a flash; no sound" if catch.on == "either" else f"{wanted}; no sound"
    return wanted


def kept_line(catch: Catch) -> str:
    """How much is kept around a spark."""
    return f"keeps {seconds(catch.pre_trigger_s)} before, {seconds(catch.post_trigger_s)} after"


def spotted_line(spotted: Spotted) -> str:
    """One spark: ``flash at 12.345 s, 18 times the noise``."""
    what = CAUSE_WORDS[spotted.cause]
    when = f"{spotted.time_s:.3f}{THIN}s"
    if spotted.cause in (Cause.HAND, Cause.COUNT):
        return f"{what}, {when}"
    return f"{what}, {when}, {times_noise(spotted.strength)}"


def times_noise(strength: float) -> str:
    """A spark's strength: ``18 σ``."""
    return f"{strength:.0f}{THIN}σ"


def blade_line(blade: BladeReading, target: float, band: float) -> str:
    """What to do with the blade, read from the uncut fraction alone."""
    if blade.uncut is None:
        return "take dark and open to read the cut"
    off = blade.uncut - target
    if abs(off) <= band:
        return f"within target {percent(target, 0)} ± {band * 100:.0f}"
    verb = "cut more" if off > 0 else "cut less"
    return f"{verb}: {abs(off) * 100:.0f} points to {percent(target, 0)}"


def advice_line(blade: BladeReading) -> str:
    """The advice for the person at the rig, with how far where that is known."""
    words = first_up(blade.advice.rstrip("."))
    far = blade.axial_offset_m
    if far is not None and "move" in blade.advice and "mm" not in blade.advice:
        words += f", about {abs(far) * 1e3:.0f}{THIN}mm" if abs(far) >= 1e-3 else ", less than 1 mm"
    return words + "."


def lost_line(status: SessionStatus) -> str:
    """The count that is always on the screen."""
    lost = status.counters.lost_source + status.counters.lost_ring
    return count(lost, "frame lost", "frames lost")


def warnings(status: SessionStatus, reading_words: tuple[str, ...]) -> tuple[str, ...]:
    """All words for the screen, most urgent first, each once."""
    found: list[str] = []
    missed = status.counters.missed_watch
    unseen = count(missed, "frame", "frames") + " not seen by the trigger: use a lower rate or size"
    groups = (
        status.words,
        (unseen,) if missed else (),
        status.store.words,
        reading_words,
        status.calibration_words,
    )
    for words in groups:
        found.extend(word for word in words if word and word not in found)
    return tuple(found)


def verdict(histogram: Histogram) -> str:
    """The histogram's verdict as a sentence."""
    words = re.sub(r"(?<=\d) ?%", f"{THIN}%", first_up(histogram.verdict))
    return words + "." if words and not words.endswith(".") else words


def noise_line(noise: NoiseReading, histogram: Histogram | None) -> str:
    """The noise of one pixel as shown."""
    parts = []
    if histogram is not None and histogram.unit == "sigma":
        histogram = None  # there it would always be 1
    if histogram is not None and histogram.noise_sigma is not None:
        parts.append(f"noise {with_unit(histogram.noise_sigma, histogram.unit)}")
    elif noise.contrast_sigma is not None:
        parts.append(f"noise {with_unit(noise.contrast_sigma, 'contrast')}")
    if noise.averaged > 1:
        parts.append(f"{noise.averaged} frames averaged")
    return DOT.join(parts)
