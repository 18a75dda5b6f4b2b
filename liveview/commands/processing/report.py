"""report.json: what was found out over the whole recording. Unknown values are null."""

from __future__ import annotations

import contextlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from liveview import __version__
from liveview.commands.processing.catching import Caught
from liveview.commands.processing.doubts import times_are_known
from liveview.commands.processing.outputs import writing
from liveview.errors import OutputFailed
from liveview.imaging.histogram import in_unit, merged
from liveview.model import (
    BladeReading,
    Calibration,
    CalibrationKind,
    Disc,
    FrameStamp,
    Histogram,
    Reading,
    SourceInfo,
)

SCHEMA = 1

_NUMBERS = re.compile(r"-?\d+(\.\d+)?")


class Summary:
    """Gathers the readings of all frames.

    Blade and noise are medians over the frames that had a value; the histogram is the sum, added
    up in contrast and converted with what the newest frame says of noise and blade. Both leave out
    the frames in which the rig was calibrated.
    """

    def __init__(self) -> None:
        self.frames = 0
        self.measured = 0
        self.lost = 0
        self.first: FrameStamp | None = None
        self.last: FrameStamp | None = None
        self.blade: BladeReading | None = None
        self._sum: Histogram | None = None
        self._unit: tuple[str, float] = ("contrast", 1.0)
        self._values: dict[str, list[float]] = {}
        self._advice: dict[str, int] = {}
        self._words: dict[str, list[str]] = {}

    def add(self, reading: Reading, *, measured: bool = True) -> None:
        """Take in the next frame's reading; not ``measured``: it is counted only."""
        self.frames += 1
        if self.last is not None:
            self.lost += max(0, reading.stamp.number - self.last.number - 1)
        self.first = self.first or reading.stamp
        self.last = reading.stamp
        if measured:
            self._measure(reading)

    def _measure(self, reading: Reading) -> None:
        self.measured += 1
        self.blade = reading.blade
        for name in ("uncut", "tilt_across", "tilt_along", "axial_offset_m"):
            self._keep(name, getattr(reading.blade, name))
        for name in ("gain", "dark_sigma", "contrast_sigma"):
            self._keep(name, getattr(reading.noise, name))
        if reading.blade.advice:
            self._advice[reading.blade.advice] = self._advice.get(reading.blade.advice, 0) + 1
        for words in reading.words:
            self._words.setdefault(_NUMBERS.sub("#", words), []).append(words)
        self._add_histogram(reading.histogram)

    def _keep(self, name: str, value: float | None) -> None:
        if value is not None and math.isfinite(value):
            self._values.setdefault(name, []).append(value)

    def _add_histogram(self, histogram: Histogram | None) -> None:
        if histogram is None:
            return
        if histogram.unit != "contrast":  # which stands in where the unit asked for is not known
            self._unit = (histogram.unit, histogram.per_contrast)
        plain = in_unit(histogram, "contrast")
        self._sum = plain if self._sum is None else merged(self._sum, plain)

    @property
    def histogram(self) -> Histogram | None:
        """The sum, in the unit that the frames were read in; None without one."""
        return None if self._sum is None else in_unit(self._sum, *self._unit)

    def median(self, name: str) -> float | None:
        """Median over the frames that had a value, None when none had."""
        values = self._values.get(name)
        return float(np.median(values)) if values else None

    def last_known(self, name: str) -> float | None:
        """The newest value: that of an estimate which grows better with every frame."""
        values = self._values.get(name)
        return values[-1] if values else None

    @property
    def advice(self) -> str | None:
        """What was advised most often."""
        return max(self._advice, key=lambda words: self._advice[words]) if self._advice else None

    @property
    def warnings(self) -> list[str]:
        """Warnings of the chain, those alike in all but their numbers once."""
        found = []
        for alike in self._words.values():
            share = f" ({len(alike)} of {self.measured} frames)"
            like = f", and the like: {alike[-1]}" if alike[-1] != alike[0] else ""
            found.append(alike[0] + like + (share if len(alike) < self.measured else ""))
        return found

    @property
    def seconds(self) -> float | None:
        """From the first frame to the last."""
        if self.first is None or self.last is None:
            return None
        return self.last.time_s - self.first.time_s

    @property
    def rate_hz(self) -> float | None:
        """Mean frame rate, lost frames counted in; None with fewer than two frames."""
        if not self.seconds or self.first is None or self.last is None:
            return None
        return (self.last.number - self.first.number) / self.seconds


def build_report(
    *,
    recording: str,
    info: SourceInfo,
    summary: Summary,
    disc: Disc | None,
    transfer: str,
    calibration: Calibration,
    caught: Iterable[Caught],
    out: Path,
    seconds: float,
    side_is_known: bool,
    warnings: Iterable[str],
) -> dict[str, Any]:
    """The whole report as plain data; assets/guide/files.md tells its fields."""
    timed = times_are_known(info)
    return {
        "schema": SCHEMA,
        "program": {"name": "liveview", "version": __version__},
        "recording": {
            "address": recording,
            "kind": info.kind.value,
            "simulated": info.simulated or info.note.startswith("simulated"),
            "frames": summary.frames,
            "frames_lost": summary.lost,
            "rate_hz": _number(summary.rate_hz or info.rate_hz) if timed else None,
            "width": info.width,
            "height": info.height,
            "bits": info.bits,
            "seconds": _number(summary.seconds) if timed else None,
        },
        "disc": _disc(disc),
        "transfer": transfer,
        "calibration": {kind.value: _picture(calibration, kind) for kind in CalibrationKind},
        "noise": {
            "gain": _number(summary.last_known("gain")),
            "dark_sigma": _number(summary.last_known("dark_sigma")),
            "contrast_sigma": _number(summary.median("contrast_sigma")),
        },
        "blade": _blade(summary, side_is_known),
        "histogram": _histogram(summary.histogram),
        "events": [_event(one, out, timed) for one in caught],
        "speed": {
            "seconds": round(seconds, 6),
            "frames_per_second": _number(summary.frames / seconds if seconds > 0 else None),
        },
        "warnings": list(dict.fromkeys(warnings)),
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _disc(disc: Disc | None) -> dict[str, Any]:
    if disc is None:
        return {"found": False, "cx": None, "cy": None, "radius": None, "by_hand": False}
    return {
        "found": True,
        "cx": disc.cx,
        "cy": disc.cy,
        "radius": disc.radius,
        "by_hand": disc.by_hand,
    }


def _picture(calibration: Calibration, kind: CalibrationKind) -> dict[str, Any] | None:
    picture = getattr(calibration, kind.value)
    if picture is None:
        return None
    return {"frames": picture.frames, "taken_at": picture.taken_at or None}


def _blade(summary: Summary, side_is_known: bool) -> dict[str, Any]:
    """Without side and advice where nobody said from which side the blade comes in."""
    known = side_is_known and summary.blade is not None
    return {
        "side": summary.blade.side.value if known and summary.blade is not None else None,
        "uncut": _number(summary.median("uncut")),
        "tilt_across": _number(summary.median("tilt_across")),
        "tilt_along": _number(summary.median("tilt_along")),
        "axial_offset_m": _number(summary.median("axial_offset_m")),
        "axial_advice": summary.advice if known else None,
    }


def _histogram(histogram: Histogram | None) -> dict[str, Any] | None:
    if histogram is None:
        return None
    return {
        "unit": histogram.unit,
        "edges": [float(edge) for edge in histogram.edges],
        "counts": [int(count) for count in histogram.counts],
        "noise_sigma": _number(histogram.noise_sigma),
        "above_noise": _number(histogram.above_noise),
        "clipped_dark": _number(histogram.clipped_dark),
        "clipped_bright": _number(histogram.clipped_bright),
        "range_low": _number(histogram.range_low),
        "range_high": _number(histogram.range_high),
    }


def _event(caught: Caught, out: Path, timed: bool) -> dict[str, Any]:
    spotted, folder = caught.spotted, caught.folder
    return {
        "time_s": _number(spotted.time_s),
        "uncertainty_s": _number(spotted.error_s) if timed else None,
        "cause": spotted.cause.value,
        "frame": spotted.frame,
        "rows": None if spotted.rows is None else list(spotted.rows),
        "strength": _number(spotted.strength),
        "folder": None if folder is None else folder.relative_to(out).as_posix(),
    }


def report_text(report: Mapping[str, Any]) -> str:
    """The report as JSON text with a line break at its end."""
    return json.dumps(report, indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def write_report(report: Mapping[str, Any], path: Path) -> None:
    """Write report.json in one step, so that a reader never sees half of it."""
    partial = path.with_name(path.name + ".part")
    try:
        with writing(path):
            partial.write_text(report_text(report), encoding="utf-8")
            partial.replace(path)
    except OutputFailed:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        raise
