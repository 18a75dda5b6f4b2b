"""A line of progress on standard error, only where somebody watches."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

EVERY_S = 0.2


class Progress:
    """Rewrites one line a few times a second.

    Parameters
    ----------
    stream : text file
        Nothing is written unless it is a terminal.
    total : int, optional
        Frames expected.
    clock : callable
        Seconds.
    """

    def __init__(
        self, stream: TextIO, total: int | None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._stream = stream
        self._on = stream.isatty()
        self._total = total
        self._clock = clock
        self._began_s = self._shown_s = clock()
        self._width = 0

    def show(self, frames: int) -> None:
        """So many frames are done."""
        if not self._on:
            return
        now = self._clock()
        if now - self._shown_s < EVERY_S:
            return
        self._shown_s = now
        of = f" of {self._total}" if self._total else ""
        self._line(f"frame {frames}{of}, {frames / (now - self._began_s):.0f} a second")

    def done(self) -> None:
        """Take the line away."""
        if self._on and self._width:
            self._line("")
            self._stream.write("\r")
            self._stream.flush()

    def _line(self, text: str) -> None:
        self._stream.write("\r" + text.ljust(self._width))
        self._stream.flush()
        self._width = len(text)


def say_where(stream: TextIO, report: Path, frames: int, events: int) -> None:
    """Where the report is, in one line; only to a terminal, for scripts know it."""
    if not stream.isatty():
        return
    found = {0: "no sparks", 1: "1 spark"}.get(events, f"{events} sparks")
    stream.write(f"{frames} frames, {found}: {report}\n")
    stream.flush()
