"""The frame ring: every captured frame is written once and stays put until it is overwritten.

::

    free --claim--> being written --publish--> in the history --claim (oldest, no lease)--> written
                                                    |
                                                    '--oldest, but leased--> set aside
                                                                  '--last lease released--> free

The history is the unbroken run of newest frames. A leased frame that has become the oldest
leaves the history but not its memory, so a recorder may take its time while capture goes on
in the rest of the ring. When every slot is leased the new frame is lost, and counted.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from liveview.model import Frame, FrameStamp, Pixels, SourceInfo

FEWEST_SLOTS = 8
"""Smaller rings would lose frames while chain, watch and capture hold one each."""


@dataclass(slots=True, eq=False)
class Slot:
    """Memory of one frame. Only the ring changes it; the writer fills ``pixels``."""

    pixels: Pixels
    shown: Pixels
    """Read-only view of ``pixels``, handed out with leases."""
    frame: Frame | None = None
    sequence: int = -1
    arrived_s: float = 0.0
    holds: int = 0
    aside: bool = False


@dataclass(slots=True, eq=False)
class RingLease:
    """A hold on one frame of the ring; see :class:`liveview.model.Lease`.

    ``sequence`` counts the frames that reached the ring, ``arrived_s`` is when it did.
    """

    frame: Frame
    sequence: int
    arrived_s: float
    _slot: Slot | None = field(repr=False)
    _give_back: Callable[[Slot], None] = field(repr=False)

    def release(self) -> None:
        """Give the slot back; harmless when called twice."""
        slot, self._slot = self._slot, None
        if slot is not None:
            self._give_back(slot)


class FrameRing:
    """Slots for the newest frames of one source format.

    Parameters
    ----------
    info : SourceInfo
        Shape, type and top code of the frames.
    megabytes : float
        Memory for pixels, 10^6 bytes; at least ``FEWEST_SLOTS`` frames are held.
    published : callable, optional
        Called without a lock held after each frame that reached the ring.
    """

    def __init__(
        self, info: SourceInfo, megabytes: float, published: Callable[[], None] | None = None
    ) -> None:
        self.info = info
        self.frame_bytes = int(np.prod(info.shape)) * info.dtype.itemsize
        count = max(FEWEST_SLOTS, int(megabytes * 1e6 // self.frame_bytes))
        self._memory = np.empty((count, *info.shape), info.dtype)
        self._free = [self._new_slot(index) for index in reversed(range(count))]
        self._history: dict[int, Slot] = {}
        self._first = 0
        self._next = 0
        self._lost = 0
        self._lock = threading.Lock()
        self._published = published

    def _new_slot(self, index: int) -> Slot:
        pixels = self._memory[index]
        shown = pixels.view()
        shown.flags.writeable = False
        return Slot(pixels, shown)

    @property
    def slots(self) -> int:
        """Frames it can hold."""
        return len(self._memory)

    @property
    def lost(self) -> int:
        """Frames that found no slot because all were leased."""
        return self._lost

    @property
    def captured(self) -> int:
        """Frames that reached the ring; also the sequence number of the next one."""
        return self._next

    @property
    def seconds(self) -> float:
        """Time from the oldest to the newest frame of the history."""
        with self._lock:
            if self._next - self._first < 2:
                return 0.0
            oldest, newest = self._history[self._first], self._history[self._next - 1]
            assert oldest.frame is not None and newest.frame is not None
            return newest.frame.time_s - oldest.frame.time_s

    def claim(self) -> Slot | None:
        """A slot to write the next frame into; None (and one more lost) when all are leased."""
        with self._lock:
            if self._free:
                return self._free.pop()
            if all(slot.holds for slot in self._history.values()):
                self._lost += 1
                return None
            while True:
                slot = self._history.pop(self._first)
                self._first += 1
                if slot.holds == 0:
                    return slot
                slot.aside = True

    def abandon(self, slot: Slot) -> None:
        """Give a claimed slot back unwritten."""
        with self._lock:
            self._free.append(slot)

    def publish(self, slot: Slot, stamp: FrameStamp, arrived_s: float) -> None:
        """The claimed slot is written: make it the newest frame."""
        frame = Frame(slot.shown, stamp, self.info.white)
        with self._lock:
            slot.frame, slot.sequence, slot.arrived_s = frame, self._next, arrived_s
            slot.aside = False
            self._history[self._next] = slot
            self._next += 1
        if self._published is not None:
            self._published()

    def newest(self, after: int = -1) -> RingLease | None:
        """A lease on the newest frame if its sequence number is above ``after``."""
        with self._lock:
            if self._next - 1 <= after or self._next == self._first:
                return None
            return self._lease(self._history[self._next - 1])

    def following(self, after: int) -> RingLease | None:
        """A lease on the oldest frame whose sequence number is above ``after``.

        A reader that falls behind sees a jump in ``sequence``, which is the number it missed.
        """
        with self._lock:
            wanted = max(after + 1, self._first)
            slot = self._history.get(wanted)
            return None if slot is None else self._lease(slot)

    def between(self, since_s: float, last: int, until_s: float = math.inf) -> list[RingLease]:
        """Leases on the frames taken at ``since_s`` or later, up to sequence number ``last``.

        Oldest first, none taken after ``until_s``. A history that does not reach back that far
        gives what there is.
        """
        with self._lock:
            found: list[RingLease] = []
            for sequence in range(min(last, self._next - 1), self._first - 1, -1):
                slot = self._history[sequence]
                if slot.frame is None or slot.frame.time_s < since_s:
                    break
                if slot.frame.time_s <= until_s:
                    found.append(self._lease(slot))
        return found[::-1]

    def _lease(self, slot: Slot) -> RingLease:
        assert slot.frame is not None
        slot.holds += 1
        return RingLease(slot.frame, slot.sequence, slot.arrived_s, slot, self._release)

    def _release(self, slot: Slot) -> None:
        with self._lock:
            slot.holds -= 1
            if slot.holds == 0 and slot.aside:
                slot.aside = False
                self._free.append(slot)
