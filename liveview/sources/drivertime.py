"""Camera drivers' own time stamps: used where they are plausible, else left aside."""

from __future__ import annotations

from collections import deque
from statistics import median

OLDEST_S = 1.0
"""A frame cannot be older than this when it is fetched."""

EARLY_S = 0.001
"""A stamp may be this much ahead of the clock it should be on (rounding)."""

TRUST_AFTER = 5
WINDOW = 31
LOSS_FROM = 1.5
"""Intervals this many times the usual one hide lost frames."""


class DriverTime:
    """Judges a driver's stamps against the host and turns them into session times.

    A driver counts as trustworthy once ``TRUST_AFTER`` stamps in a row were on the system's
    monotonic clock, recent and growing; from the first that is not, it is left aside for good.
    """

    def __init__(self) -> None:
        self._good = 0
        self._refused = False
        self._last_s = -1.0
        self._intervals: deque[float] = deque(maxlen=WINDOW)
        self._lost = 0

    @property
    def trusted(self) -> bool:
        """True while the driver's stamps are used."""
        return not self._refused and self._good >= TRUST_AFTER

    @property
    def lost(self) -> int:
        """Frames lost just before the newest one, by its distance from the one before."""
        return self._lost

    def session_s(self, driver_s: float, monotonic_s: float, session_s: float) -> float | None:
        """Session time of a frame from its driver stamp; None where it is not to be trusted.

        Parameters
        ----------
        driver_s : float
            The driver's stamp, seconds.
        monotonic_s, session_s : float
            The system's monotonic clock and the session's clock just after the frame came.
        """
        self._lost = 0
        if self._refused:
            return None
        age_s = monotonic_s - driver_s
        if not -EARLY_S <= age_s <= OLDEST_S or driver_s <= self._last_s:
            self._refused = True
            return None
        if self._last_s >= 0:
            self._count_lost(driver_s - self._last_s)
        self._last_s = driver_s
        self._good += 1
        return session_s - max(age_s, 0.0) if self.trusted else None

    def _count_lost(self, interval_s: float) -> None:
        if len(self._intervals) >= WINDOW // 2:
            usual_s = median(self._intervals)
            if interval_s > LOSS_FROM * usual_s:
                self._lost = round(interval_s / usual_s) - 1
        self._intervals.append(interval_s)
