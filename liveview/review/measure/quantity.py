"""A number with its uncertainty, and a measurement made of them; saved with the event."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from liveview import __version__
from liveview.errors import BadRequest, InputUnreadable, OutputFailed
from liveview.recorder.files import write_json

T = TypeVar("T")

SCHEMA = 1
FILE = "measurements.json"
NORMAL_95 = 1.959963984540054
"""Half width of a normal distribution's 95 % interval in standard deviations."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in SI units with an interval that holds the truth with ``confidence``."""

    value: float
    low: float
    high: float
    unit: str
    confidence: float = 0.95

    @classmethod
    def normal(cls, value: float, sigma: float, unit: str) -> Quantity:
        """From a standard uncertainty, taken to be normal."""
        return cls(value, value - NORMAL_95 * sigma, value + NORMAL_95 * sigma, unit)

    @classmethod
    def exact(cls, value: float, unit: str) -> Quantity:
        """A value taken as given."""
        return cls(value, value, value, unit)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Quantity:
        """Back from plain data; raises as :meth:`Measurement.from_json` does."""
        value, low, high, confidence = (
            float(data[name]) for name in ("value", "low", "high", "confidence")
        )
        if not all(map(math.isfinite, (value, low, high, confidence))):
            raise ValueError("a value is not a number")
        return cls(value, low, high, _of(str, data["unit"]), confidence)

    @property
    def sigma(self) -> float:
        """Half the interval in standard deviations of a normal distribution."""
        return (self.high - self.low) / 2 / NORMAL_95

    def widened(self, relative: float) -> Quantity:
        """With a further relative standard uncertainty (of a scale), added in squares."""
        return self.widened_by(abs(self.value) * relative)

    def widened_by(self, sigma: float) -> Quantity:
        """With a further standard uncertainty, added in squares."""
        more = NORMAL_95 * sigma
        low = self.value - math.hypot(self.value - self.low, more)
        high = self.value + math.hypot(self.high - self.value, more)
        return Quantity(self.value, low, high, self.unit, self.confidence)

    def times(self, factor: float, unit: str) -> Quantity:
        """In another unit; ``factor`` above zero."""
        return Quantity(
            self.value * factor, self.low * factor, self.high * factor, unit, self.confidence
        )


@dataclass(frozen=True, slots=True)
class Measurement:
    """One thing measured.

    Attributes
    ----------
    kind : str
        ``"length"``, ``"angle"``, ``"front speed"``, ``"rise speed"``, ``"flicker"``, ``"plume
        temperature"``, ``"scale"`` ...
    results : mapping of str to Quantity
        What came out.
    inputs : mapping
        What went in (points in pixels, frames, settings used), plain JSON.
    assumptions : sequence of str
        What had to be taken for granted.
    words : str
        Warnings, such as a fit outside its range.
    made_at : str
        Local time in ISO 8601.
    """

    kind: str
    results: Mapping[str, Quantity]
    inputs: Mapping[str, Any] = field(default_factory=dict)
    assumptions: Sequence[str] = ()
    words: str = ""
    made_at: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "kind": self.kind,
            "results": {name: asdict(quantity) for name, quantity in self.results.items()},
            "inputs": dict(self.inputs),
            "assumptions": list(self.assumptions),
            "words": self.words,
            "made_at": self.made_at or datetime.now().astimezone().isoformat(timespec="seconds"),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Measurement:
        """Back from :meth:`to_json`.

        Raises
        ------
        KeyError, TypeError, ValueError, OverflowError
            Something is missing, or of another kind.
        """
        results = _of(dict, data["results"])
        return cls(
            _of(str, data["kind"]),
            {name: Quantity.from_json(_of(dict, one)) for name, one in results.items()},
            _of(dict, data["inputs"]),
            tuple(_of(str, words) for words in _of(list, data["assumptions"])),
            _of(str, data["words"]),
            _of(str, data["made_at"]),
        )


def _of(kind: type[T], value: object) -> T:
    if not isinstance(value, kind):
        raise TypeError(f"{value!r:.40} is no {kind.__name__}")
    return value


def load_measurements(event: Path) -> tuple[Measurement, ...]:
    """The measurements saved with an event, oldest first; none without the file.

    Raises
    ------
    InputUnreadable
        Damaged, or of a newer version.
    """
    path = event / FILE
    if not path.exists():
        return ()
    try:
        data = _of(dict, json.loads(path.read_bytes()))
        if data["schema"] > SCHEMA:
            raise InputUnreadable("was written by a newer version", str(path), "update liveview")
        return tuple(Measurement.from_json(item) for item in _of(list, data["measurements"]))
    except (OSError, ValueError, KeyError, TypeError, OverflowError) as error:
        raise InputUnreadable(f"is damaged ({error!r})", str(path), "remove this file") from error


def save_measurements(event: Path, measurements: Sequence[Measurement]) -> None:
    """Save all measurements of an event, replacing the file in one step.

    Raises
    ------
    BadRequest
        A measurement holds a value that is not a number.
    OutputFailed
        The event's folder cannot be written.
    """
    path = event / FILE
    for measurement in measurements:
        _needs_numbers(measurement)
    data = {
        "schema": SCHEMA,
        "program": {"name": "liveview", "version": __version__},
        "measurements": [measurement.to_json() for measurement in measurements],
    }
    try:
        write_json(path, data)
    except OSError as error:
        raise OutputFailed(
            f"cannot save the measurements ({error.strerror or error})",
            str(path),
            "copy the event to a folder that can be written",
        ) from error


def _needs_numbers(measurement: Measurement) -> None:
    try:
        json.dumps(measurement.to_json(), allow_nan=False)
    except ValueError as error:
        raise BadRequest(
            "it holds a value that is not a number and cannot be kept",
            measurement.kind,
            "measure it again with other points",
        ) from error


def add_measurement(event: Path, measurement: Measurement) -> tuple[Measurement, ...]:
    """Save one more; returns all."""
    everything = (*load_measurements(event), measurement)
    save_measurements(event, everything)
    return everything
