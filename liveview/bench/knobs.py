"""What a person can turn on the simulated rig, as values over time.

Picture and sound ask for the value at their own moment, so a switch thrown between two frames
takes effect at the same instant in both. A change replaces one tuple, so one thread may turn
knobs while others read them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from liveview.errors import BadRequest

_KEEP = 256
"""Changes remembered per knob; older ones are merged into the first value."""


@dataclass(frozen=True, slots=True)
class Knob:
    """One thing to turn: first value and limits in SI units."""

    name: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class _Change:
    start_s: float
    before: float
    after: float
    over_s: float

    def at(self, time_s: float) -> float:
        passed = time_s - self.start_s
        if passed >= self.over_s:
            return self.after
        return self.before + (self.after - self.before) * passed / self.over_s


class Knobs:
    """All knobs of a rig.

    Parameters
    ----------
    knobs : iterable of Knob
        What there is to turn.
    """

    def __init__(self, knobs: Iterable[Knob]) -> None:
        self._knobs = {knob.name: knob for knob in knobs}
        self._tracks: dict[str, tuple[_Change, ...]] = dict.fromkeys(self._knobs, ())

    def at(self, name: str, time_s: float) -> float:
        """Value of one knob at a moment."""
        track = self._tracks[name]
        for change in reversed(track):
            if change.start_s <= time_s:
                return change.at(time_s)
        return track[0].before if track else self._knobs[name].value

    def all_at(self, time_s: float) -> Mapping[str, float]:
        """Values of all knobs at a moment."""
        return {name: self.at(name, time_s) for name in self._knobs}

    def limits(self) -> Mapping[str, tuple[float, float]]:
        """Lowest and highest value by name."""
        return {knob.name: (knob.low, knob.high) for knob in self._knobs.values()}

    def turn(self, name: str, value: float, time_s: float, over_s: float = 0.0) -> None:
        """Change a knob from ``time_s`` on, evenly over ``over_s`` seconds.

        Later changes already planned for this knob are dropped.

        Raises
        ------
        BadRequest
            Unknown name, or a value outside the limits.
        """
        knob = self._knobs.get(name)
        if knob is None:
            known = ", ".join(self._knobs)
            raise BadRequest(f"the simulated rig has no knob '{name}'", "", f"it has {known}")
        if not knob.low <= value <= knob.high:
            raise BadRequest(
                f"{value:g} is out of range",
                name,
                f"give a value from {knob.low:g} to {knob.high:g}",
            )
        earlier = tuple(change for change in self._tracks[name] if change.start_s < time_s)
        change = _Change(time_s, self.at(name, time_s), float(value), over_s)
        self._tracks[name] = (*earlier, change)[-_KEEP:]
