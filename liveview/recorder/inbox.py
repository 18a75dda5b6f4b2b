"""The bounded queue between the engine and the writer: in order, counted, nothing silently lost."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import Literal

from liveview.model import EventStart, Frame, Lease, SoundBlock, Spotted

WhenFull = Literal["drop", "wait"]


class HeldFrame:
    """A frame copied out of the ring; a lease that holds nobody up."""

    def __init__(self, frame: Frame) -> None:
        pixels = frame.pixels.copy()
        pixels.flags.writeable = False
        self.frame = Frame(pixels, frame.stamp, frame.white)

    def release(self) -> None:
        """Nothing to give back."""


@dataclass(slots=True)
class Begin:
    """An event begins."""

    start: EventStart


@dataclass(slots=True)
class FrameItem:
    """A frame; ``lease`` is replaced by a copy when the disk makes trouble."""

    lease: Lease
    size: int


@dataclass(slots=True)
class SoundItem:
    """A block of sound."""

    block: SoundBlock
    size: int


@dataclass(slots=True)
class MarkItem:
    """A further spark."""

    spotted: Spotted


@dataclass(slots=True)
class End:
    """An event ends; ``dropped`` frames of it could not be kept."""

    complete: bool
    dropped: int


Item = Begin | FrameItem | SoundItem | MarkItem | End


class Inbox:
    """First in, first out. The writer looks at the first item and removes it once it is written,
    so that an item is never lost to a failed attempt.

    Parameters
    ----------
    limit_bytes : int
        Frames and sound beyond this are refused and counted (``"drop"``), or the giver waits
        (``"wait"``, for recordings that pace nobody). One item is always taken, however large.
    """

    def __init__(self, limit_bytes: int, when_full: WhenFull) -> None:
        self._items: deque[Item] = deque()
        self._limit = limit_bytes
        self._when_full = when_full
        self._changed = threading.Condition()
        self._bytes = 0
        self._frames = 0
        self._holding = False
        self._closed = False

    @property
    def frames(self) -> int:
        """Frames that wait."""
        return self._frames

    @property
    def empty(self) -> bool:
        """True when nothing waits."""
        return not self._items

    def put(self, item: Item) -> bool:
        """Append; False when a frame or block was refused because the queue is full."""
        size = item.size if isinstance(item, FrameItem | SoundItem) else 0
        with self._changed:
            if self._closed:
                return False
            while size and self._bytes and self._bytes + size > self._limit:
                if self._when_full == "drop" or self._holding or self._closed:
                    return False
                self._changed.wait()
            if self._holding:
                self._copy_out(item)
            if isinstance(item, FrameItem):
                self._frames += 1
            self._bytes += size
            self._items.append(item)
            self._changed.notify_all()
        return True

    def first(self, timeout_s: float) -> Item | None:
        """The first item, waiting for one up to ``timeout_s``; it stays in the queue."""
        with self._changed:
            if not self._items and not self._closed:
                self._changed.wait(timeout_s)
            return self._items[0] if self._items else None

    def done(self) -> None:
        """Remove the first item, giving its lease back."""
        with self._changed:
            item = self._items.popleft()
            if isinstance(item, FrameItem):
                self._frames -= 1
                item.lease.release()
            if isinstance(item, FrameItem | SoundItem):
                self._bytes -= item.size
            self._changed.notify_all()

    @property
    def holding(self) -> bool:
        """True while frames are copied out of the ring."""
        return self._holding

    def hold(self, on: bool) -> None:
        """While on, frames are copied out of the ring so that the live picture goes on.

        Called by the taker's thread only; the givers are not held up by the copying.
        """
        with self._changed:
            self._holding = on
            waiting = list(self._items) if on else []
            self._changed.notify_all()
        for item in waiting:
            self._copy_out(item)

    @staticmethod
    def _copy_out(item: Item) -> None:
        if not isinstance(item, FrameItem) or isinstance(item.lease, HeldFrame):
            return
        lease = item.lease
        try:
            item.lease = HeldFrame(lease.frame)
        except MemoryError:
            return
        lease.release()

    def wait_until_empty(self, timeout_s: float | None) -> bool:
        """True when everything was written; False at once in trouble, or after the time."""
        with self._changed:
            self._changed.wait_for(lambda: not self._items or self._holding, timeout_s)
            return not self._items

    def nudge(self) -> None:
        """Wake whoever waits."""
        with self._changed:
            self._changed.notify_all()

    def close(self) -> None:
        """Take no more; waiters wake."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def drop_all(self) -> int:
        """Give everything back unwritten; returns the number of frames lost by that."""
        lost = self._frames
        while self._items:
            self.done()
        return lost
