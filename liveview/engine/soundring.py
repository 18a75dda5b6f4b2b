"""The newest seconds of sound, kept like the frames."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

from liveview.model import SoundBlock


def block_end_s(block: SoundBlock) -> float:
    """When the last sample of a block was over."""
    return block.start_s + len(block.samples) / block.rate_hz


class SoundRing:
    """Sound blocks of the last ``seconds``; older ones are dropped (they were heard).

    Parameters
    ----------
    seconds : float
        How far back it reaches.
    added : callable, optional
        Called without a lock held after each block.
    """

    def __init__(self, seconds: float, added: Callable[[], None] | None = None) -> None:
        self._seconds = seconds
        self._blocks: deque[SoundBlock] = deque()
        self._next = 0
        self._lost_samples = 0
        self._peak: float | None = None
        self._lock = threading.Lock()
        self._added = added

    @property
    def count(self) -> int:
        """Blocks so far."""
        return self._next

    @property
    def lost_samples(self) -> int:
        """Samples known to be missing so far."""
        return self._lost_samples

    @property
    def peak(self) -> float | None:
        """Largest magnitude in the newest block, full scale 1.0; None before the first."""
        return self._peak

    @property
    def until_s(self) -> float | None:
        """End of the newest block."""
        with self._lock:
            return block_end_s(self._blocks[-1]) if self._blocks else None

    def reach_back(self, seconds: float) -> None:
        """Change how far back it reaches."""
        with self._lock:
            self._seconds = seconds

    def add(self, block: SoundBlock) -> None:
        """Append the next block."""
        peak = float(abs(block.samples).max(initial=0.0))
        with self._lock:
            self._blocks.append(block)
            self._next += 1
            self._lost_samples += block.lost_before
            self._peak = peak
            oldest_s = block_end_s(block) - self._seconds
            while len(self._blocks) > 1 and block_end_s(self._blocks[0]) < oldest_s:
                self._blocks.popleft()
        if self._added is not None:
            self._added()

    def following(self, after: int) -> list[tuple[int, SoundBlock]]:
        """Blocks whose running number (from 0) is above ``after``, oldest first."""
        with self._lock:
            first = self._next - len(self._blocks)
            start = max(after + 1 - first, 0)
            if start >= len(self._blocks):
                return []
            return [(first + i, self._blocks[i]) for i in range(start, len(self._blocks))]

    def since(self, since_s: float, last: int) -> list[SoundBlock]:
        """Blocks that end after ``since_s``, up to running number ``last``, oldest first."""
        with self._lock:
            first = self._next - len(self._blocks)
            return [
                block
                for number, block in enumerate(self._blocks, first)
                if number <= last and block_end_s(block) > since_s
            ]
