"""Costly refreshes in turns, so that no picture waits for all of them at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(slots=True)
class _Chore:
    do: Callable[[], None]
    every_s: float
    done_s: float = float("-inf")
    wanted: bool = True


class Chores:
    """Named refreshes, each at most once in its period, at most one with each picture.

    A display shows a picture every 17 ms. Words, rings and plots together take as long as that
    to draw; one after the other they fit in beside the pictures.

    Parameters
    ----------
    clock : callable
        Seconds.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._chores: dict[str, _Chore] = {}
        self._picture_s = float("-inf")

    def add(self, name: str, every_s: float, do: Callable[[], None]) -> None:
        """One more; it is done when wanted, and not before ``every_s`` seconds have gone by."""
        self._chores[name] = _Chore(do, every_s)

    def want(self, *names: str) -> None:
        """There is something new for these."""
        for name in names:
            self._chores[name].wanted = True

    def with_picture(self) -> None:
        """A picture was shown: do the one that has been due longest, if any is."""
        now = self._picture_s = self._clock()
        due = [c for c in self._chores.values() if c.wanted and c.done_s + c.every_s <= now]
        if due:
            self._do(min(due, key=lambda chore: chore.done_s + chore.every_s), now)

    def all(self) -> None:
        """Do every one of them now."""
        now = self._clock()
        for chore in self._chores.values():
            self._do(chore, now)

    def without_picture(self, patience_s: float = 0.2) -> None:
        """Do all that are wanted, unless pictures come: then they have their turns."""
        now = self._clock()
        if now - self._picture_s >= patience_s:
            for chore in self._chores.values():
                if chore.wanted:
                    self._do(chore, now)

    @staticmethod
    def _do(chore: _Chore, now: float) -> None:
        chore.wanted, chore.done_s = False, now
        chore.do()
