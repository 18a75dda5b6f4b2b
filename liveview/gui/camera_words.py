"""The camera's controls as rows: title, value, state in words, and what a turn does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from liveview.gui.words import DASH, DOT, MINUS, THIN, count, exposure, first_up, seconds
from liveview.model import (
    CONTROL_SETTINGS,
    CameraReading,
    Control,
    Hold,
    SessionStatus,
    SourceInfo,
)
from liveview.settings import Camera

Changes = Mapping[str, Any]
"""New values of ``settings.camera``."""

SIZES = (
    *((640, 480), (800, 600), (1280, 720), (1280, 960), (1440, 1080)),
    *((1920, 1080), (1920, 1200), (2560, 1440), (3840, 2160)),
)
RATES = (10.0, 15.0, 24.0, 25.0, 30.0, 50.0, 60.0, 90.0, 100.0, 120.0, 150.0, 200.0, 240.0)
CHANNELS = ("luminance", "red", "green", "blue")
CHANNEL_WORDS = {
    "luminance": "Mix of all (luminance)",
    "red": "Red only",
    "green": "Green only",
    "blue": "Blue only",
}
STOP = 3
"""Turns to a stop."""
HOLD_WORDS = {
    Hold.LOCKED: "Locked: the picture followed",
    Hold.NOT_VERIFIED: "Not verified",
    Hold.NOT_CONTROLLABLE: "Not controllable by this driver",
    Hold.AUTOMATIC: "Changes by itself",
    Hold.CHANGING: "Being set",
}
SHORTER = {
    "the picture does not follow": "the picture stayed",
    "the light went the other way meanwhile": "the light changed",
}
"""For the width of the panel."""


@dataclass(frozen=True, slots=True)
class CameraRow:
    """One row. ``less`` and ``more`` are what a turn asks for, None where it turns nothing.

    ``alarm`` marks what needs a person.
    """

    name: str
    title: str
    value: str
    note: str = ""
    alarm: bool = False
    less: Changes | None = None
    more: Changes | None = None
    much_less: Changes | None = None
    much_more: Changes | None = None
    hint: str = ""

    def turned(self, steps: int) -> Changes | None:
        """What so many steps ask for."""
        far = abs(steps) > 1
        if steps > 0:
            return (self.much_more if far else None) or self.more
        return (self.much_less if far else None) or self.less


def rows_of(reading: CameraReading, camera: Camera, status: SessionStatus) -> list[CameraRow]:
    """Every row that this camera has, from the top: what must stay in sight comes first."""
    source = status.source
    simulated = source is not None and source.simulated
    rows = [
        _control_row(control) for control in reading.controls if control.name in CONTROL_SETTINGS
    ]
    rows.insert(2, _rate_row(camera, status, fixed=simulated))
    rows.append(_hold_row(reading, camera))
    rows.append(_format_row(reading, camera))
    if not simulated:
        rows.append(_size_row(camera, source))
    rows.append(_channel_row(camera, source))
    rows.append(_delay_row(reading, camera))
    return rows


def control_value(control: Control) -> str:
    """The value with its unit: seconds both as a time and as a fraction."""
    value = control.value
    if value is None or control.hold is Hold.NOT_CONTROLLABLE:
        return DASH
    if control.name == "exposure":
        return seconds(value) + (f"{DOT}{exposure(value)}" if value < 0.25 else "")
    if control.unit == "K":
        return f"{value:.0f}{THIN}K"
    if control.unit == "dB":
        return f"{value:.1f}{THIN}dB"
    if control.unit == "times":
        return f"{value:.3g}{THIN}×{DOT}{stops(math.log2(max(value, 1e-9)))}"
    return f"{value:g}"


def stops(value: float) -> str:
    """Stops to a third: ``+1⅓ stops``."""
    thirds = round(abs(value) * 3)
    whole, rest = divmod(thirds, 3)
    text = f"{whole if whole or not rest else ''}{('', '⅓', '⅔')[rest]}"
    sign = "" if thirds == 0 else ("+" if value > 0 else MINUS)
    return f"{sign}{text} " + ("stop" if thirds in (1, 2, 3) else "stops")


def hold_words(control: Control) -> str:
    """How firmly it is held, and why not."""
    words, reason = HOLD_WORDS[control.hold], SHORTER.get(control.reason, control.reason)
    return f"{words}: {reason}" if reason else words


def _control_row(control: Control) -> CameraRow:
    key, value = CONTROL_SETTINGS[control.name], control.value
    alarm = control.hold is Hold.AUTOMATIC
    row = (control.name, first_up(control.name), control_value(control), hold_words(control), alarm)
    if control.hold is Hold.NOT_CONTROLLABLE or value is None:
        return CameraRow(*row)

    def to(steps: float) -> Changes | None:
        wanted = _turned(control, value, steps)
        return None if wanted == value else {key: wanted}

    fast = STOP if control.name == "exposure" or control.unit == "times" else 10
    return CameraRow(*row, to(-1), to(1), to(-fast), to(fast), _turn_hint(control))


def _turned(control: Control, value: float, steps: float) -> float:
    low, high = control.limits or _own_limits(control)
    if control.name == "exposure":
        # A driver's whole steps may be coarse: the nearest third of a stop is what is asked for.
        thirds = round(math.log2(value) * STOP) + steps
        wanted = float(2.0 ** (thirds / STOP))
    elif control.unit == "times":
        thirds = round(math.log2(max(value, 1e-6)) * STOP) + steps
        wanted = float(2.0 ** (thirds / STOP))
    elif control.unit == "dB":
        wanted = round(2 * value + steps) / 2
    elif control.unit == "K":
        wanted = (round(value / 100) + steps) * 100.0
    else:
        wanted = value + steps * max(1.0, round(value / 40))
    return min(max(wanted, low), high)


def _own_limits(control: Control) -> tuple[float, float]:
    """Where the driver tells none."""
    if control.name == "exposure":
        return (1e-5, 2.0)
    return (2000.0, 10000.0) if control.unit == "K" else (0.0, 1e5)


def _turn_hint(control: Control) -> str:
    if control.name == "exposure" or control.unit == "times":
        return "A turn is a third of a stop, with Shift a whole one."
    return {"dB": "A turn is half a decibel.", "K": "A turn is 100 K."}.get(
        control.unit, "In the driver's own units."
    )


def _hold_row(reading: CameraReading, camera: Camera) -> CameraRow:
    wanted = (camera.exposure_s, camera.gain, camera.white_balance_k, camera.focus)
    locked = [c.hold is Hold.LOCKED for c in reading.controls if c.name in CONTROL_SETTINGS]
    held = camera.hold or any(value is not None for value in wanted)
    held = held or (bool(locked) and all(locked))
    free = [c.name for c in reading.controls if c.hold is Hold.AUTOMATIC]
    others = [c for c in reading.controls if c.name not in CONTROL_SETTINGS]
    refused = [c.name for c in others if c.hold is Hold.NOT_CONTROLLABLE]
    note = f"{first_up(' and '.join(free))} still free" if free else ""
    note = note or (f"{first_up(refused[0])}: not controllable" if refused and held else "")
    if not note:
        note = "Exposure, white balance, focus" if held else "The camera may change them"
    back: Changes = {"hold": False, **dict.fromkeys(CONTROL_SETTINGS.values())}
    return CameraRow(
        "hold",
        "Automatics",
        "Switched off" if held else "Left on",
        note,
        alarm=not held or bool(free),
        less={"hold": True},
        more=back if held else None,
        hint="Left holds everything as it is now, right gives it back to the camera.",
    )


def _format_row(reading: CameraReading, camera: Camera) -> CameraRow:
    noisy = [words for words in reading.words if "compressed" in words or "format" in words]
    choices = ("", *reading.formats)
    now = camera.format.upper().strip()
    at = choices.index(now) if now in choices else 0
    return CameraRow(
        "format",
        "Format",
        first_up(reading.format or "as it comes"),
        _noisy_words(noisy[0]) if noisy else _format_words(reading.format),
        alarm=bool(noisy),
        less={"format": choices[at - 1]} if at > 0 else None,
        more={"format": choices[at + 1]} if at + 1 < len(choices) else None,
        hint="The camera is opened again for another format.",
    )


def _noisy_words(words: str) -> str:
    return "Compressed: the faint may be lost" if "compressed" in words else first_up(words)


def _format_words(form: str) -> str:
    if form.startswith("Bayer") or form in ("BA81", "GBRG", "GRBG", "RGGB"):
        return "Raw mosaic as mono: each pixel with itself"
    if form.startswith("Mono") or form.strip() in ("GREY", "Y10", "Y12", "Y16", "Y800"):
        return "Mono, not compressed"
    return "Not compressed" if form in ("YUYV", "UYVY", "RGB8", "BGR8") else ""


def _size_row(camera: Camera, source: SourceInfo | None) -> CameraRow:
    size = (0, 0) if source is None else (source.width, source.height)
    smaller = [s for s in SIZES if s[0] * s[1] < size[0] * size[1]]
    larger = [s for s in SIZES if s[0] * s[1] > size[0] * size[1]]
    asked = (camera.width, camera.height)
    note = ""
    if None not in asked and asked != size:
        note = f"{asked[0]} × {asked[1]} was asked for"
    return CameraRow(
        "size",
        "Size",
        DASH if source is None else f"{size[0]}{THIN}×{THIN}{size[1]}",
        note,
        bool(note),
        {"width": smaller[-1][0], "height": smaller[-1][1]} if smaller else None,
        {"width": larger[0][0], "height": larger[0][1]} if larger else None,
        hint="The camera is opened again for another size.",
    )


def _rate_row(camera: Camera, status: SessionStatus, *, fixed: bool) -> CameraRow:
    asked = camera.rate_hz or (None if status.source is None else status.source.rate_hz)
    lost = status.counters.lost_source + status.counters.lost_ring
    measured = DASH if status.rate_hz is None else f"{status.rate_hz:.1f}{THIN}Hz measured"
    slow = asked is not None and status.rate_hz is not None and status.rate_hz < 0.9 * asked
    at = asked or 30.0
    slower = [rate for rate in RATES if rate < at * 0.999]
    faster = [rate for rate in RATES if rate > at * 1.001]
    return CameraRow(
        "rate",
        "Rate",
        measured,
        (f"{asked:g}{THIN}Hz asked{DOT}" if asked else "")
        + count(lost, "frame lost", "frames lost"),
        slow or lost > 0,
        {"rate_hz": slower[-1]} if slower and not fixed else None,
        {"rate_hz": faster[0]} if faster and not fixed else None,
        hint="" if fixed else "The camera is opened again for another rate.",
    )


def _channel_row(camera: Camera, source: SourceInfo | None) -> CameraRow:
    if source is None or source.channels == 1:
        return CameraRow("channel", "Measured", "All of it, in mono")
    at = CHANNELS.index(camera.channel)
    return CameraRow(
        "channel",
        "Measured",
        CHANNEL_WORDS[camera.channel],
        "Of the camera's three colours",
        less={"channel": CHANNELS[at - 1]} if at > 0 else None,
        more={"channel": CHANNELS[at + 1]} if at + 1 < len(CHANNELS) else None,
        hint="The lamp's own colour has the least noise; a mix serves white light.",
    )


def _delay_row(reading: CameraReading, camera: Camera) -> CameraRow:
    note = "From the flash-and-click check" if camera.delay_s else "Not checked against sound"
    return CameraRow(
        "delay",
        "Stamps late by",
        seconds(camera.delay_s) if camera.delay_s >= 0 else MINUS + seconds(-camera.delay_s),
        note,
        hint="Shift L checks it with a flash and its sound.",
    )
