"""Time per frame: when the chain is late, costly steps are left out in a declared order."""

from __future__ import annotations

from collections.abc import Mapping

ORDER = ("arrows", "smooth", "gauges", "steady", "rows")
"""What is left out first comes first. ``gauges`` (blade, histogram) are then read on every fourth
frame; ``rows`` falls back to one gain per frame. What makes the picture true is never left out."""

WORDS = {
    "arrows": "arrows",
    "smooth": "smoothing",
    "gauges": "gauges on every frame",
    "steady": "steadying",
    "rows": "gains of the rows",
}

_LATE_FRAMES = 12
_EASY_FRAMES = 90
_EASY = 0.75
_SMOOTHING = 0.15


class Budget:
    """Decides which steps are left out.

    Parameters
    ----------
    budget_ms : float or None
        Time a frame may take; None: nothing is ever left out.
    """

    def __init__(self, budget_ms: float | None) -> None:
        self.budget_ms = budget_ms
        self._skipped: list[str] = []
        self._shares: dict[str, float] = {}
        self._mean: float | None = None
        self._late = 0
        self._easy = 0
        # Shares, of the time of all else: what a step would take now is not known while it is
        # left out, but how much it is beside the others is.

    @property
    def skipped(self) -> tuple[str, ...]:
        """Steps left out now, in the order in which they were given up."""
        return tuple(self._skipped)

    def allows(self, step: str) -> bool:
        """Whether a step is to be done."""
        return step not in self._skipped

    def restart(self) -> None:
        """Everything is done again: other settings cost something else."""
        self.__init__(self.budget_ms)  # type: ignore[misc]

    def note(self, total_ms: float, costs_ms: Mapping[str, float]) -> None:
        """One frame took so long, and its steps so long each.

        A step is given up after a dozen frames over the budget, and taken up again when the time
        would have been enough for it for one and a half seconds at 60 frames per second.
        """
        if self.budget_ms is None:
            return
        mean = total_ms if self._mean is None else self._mean
        self._mean = mean = mean + _SMOOTHING * (total_ms - mean)
        for step in ORDER:
            cost = costs_ms.get(step, 0.0)
            if cost > 0.0:
                self._shares[step] = cost / max(total_ms - cost, 1e-3)
        self._late = self._late + 1 if mean > self.budget_ms else 0
        last = self._shares.get(self._skipped[-1], 0.0) if self._skipped else 0.0
        easy = bool(self._skipped) and mean * (1.0 + last) < _EASY * self.budget_ms
        self._easy = self._easy + 1 if easy else 0
        if self._late >= _LATE_FRAMES:
            self._give_up()
        elif self._easy >= _EASY_FRAMES:
            self._skipped.pop()
            self._easy = 0

    def _give_up(self) -> None:
        self._late = 0
        for step in ORDER:
            if step not in self._skipped and self._shares.get(step, 0.0) > 0.0:
                self._skipped.append(step)
                return


def budget_for(live: bool, rate_hz: float | None) -> float | None:
    """Milliseconds a frame may take: the frame's own time, but no less than a 60 Hz screen's.

    Recordings are never hurried: None.
    """
    if not live:
        return None
    rate = min(rate_hz or 60.0, 60.0)
    return 0.8 * 1000.0 / rate
