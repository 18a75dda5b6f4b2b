"""Writes the items of the inbox into spools, and moves a spool that lost its place."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from liveview.model import Cause, EventStart, Spotted
from liveview.recorder.convert import LOCK
from liveview.recorder.files import Lock, Room
from liveview.recorder.inbox import Begin, End, FrameItem, Item, MarkItem, SoundItem
from liveview.recorder.names import claim_part, event_names
from liveview.recorder.spool import ReadBackFailed, SpoolWriter

LOOK_EVERY_S = 0.5
SYNC_EVERY_S = 2.0


@dataclass(frozen=True, slots=True)
class Target:
    """Where events go."""

    folder: Path
    pattern: str
    reserve_bytes: int


@dataclass(frozen=True, slots=True)
class Spooled:
    """An event whose spool is whole."""

    part: Path
    cause: Cause
    spotted: Spotted
    frames: int
    complete: bool


class EventWriter:
    """Owns the spool of the current event. Used by the writer thread only.

    ::

        idle --Begin--> open --Frame/Sound/Mark--> open --End--> idle (and ``on_spooled``)

    Any step may raise OSError; call :meth:`mend` and try the same item again.
    """

    def __init__(self, target: Callable[[], Target], on_spooled: Callable[[Spooled], None]) -> None:
        self._target = target
        self._on_spooled = on_spooled
        self._spool: SpoolWriter | None = None
        self._lock: Lock | None = None
        self._cut = False
        self._looked = self._synced = time.monotonic()
        self.words = ""

    @property
    def open(self) -> bool:
        """True while an event is being written."""
        return self._spool is not None

    def handle(self, item: Item) -> None:
        """Write one item.

        Raises
        ------
        OSError
            Not written; nothing written before is harmed.
        """
        if isinstance(item, Begin):
            self._spool, self._lock = self._new_spool(item.start)
            self._cut = False
            return
        if self._spool is None:
            raise RuntimeError("an event must begin before anything is added to it")
        self._look()
        if isinstance(item, FrameItem):
            self._spool.add_frame(item.lease.frame)
        elif isinstance(item, SoundItem):
            self._spool.add_sound(item.block)
        elif isinstance(item, MarkItem):
            self._spool.mark(item.spotted)
        elif isinstance(item, End):
            self._end(item)

    def _new_spool(self, start: EventStart) -> tuple[SpoolWriter, Lock]:
        target = self._target()
        names = event_names(target.pattern, start.started_at, start.cause)
        part = claim_part(target.folder, names)
        lock = None
        try:
            lock = Lock(part / LOCK)
            return SpoolWriter(part, start, Room(target.folder, target.reserve_bytes)), lock
        except BaseException:
            if lock is not None:
                lock.release()
            shutil.rmtree(part, ignore_errors=True)
            raise

    def _look(self) -> None:
        now = time.monotonic()
        if self._spool is not None and now - self._looked > LOOK_EVERY_S:
            self._spool.check_place()
            self._looked = now

    def idle(self) -> None:
        """Called when nothing waits: a good moment to put data on the disk."""
        now = time.monotonic()
        if self._spool is not None and now - self._synced > SYNC_EVERY_S:
            self._look()
            self._spool.sync()
            self._synced = now

    def _end(self, item: End) -> None:
        spool = self._spool
        assert spool is not None
        complete = item.complete and not self._cut
        spool.end(complete, item.dropped)
        with contextlib.suppress(OSError):
            # Lists do without it; what is wrong with the disk, the conversion says.
            spool.write_poster()
        if self._lock is not None:
            self._lock.release()
        self._spool = self._lock = None
        start = spool.start
        self._on_spooled(Spooled(spool.part, start.cause, start.spotted, spool.frames, complete))

    def mend(self) -> None:
        """After a fault: move the spool if its folder vanished or another folder is wanted.

        Raises
        ------
        OSError
            It cannot be moved (yet).
        """
        spool = self._spool
        if spool is None or self._in_place(spool):
            return
        other, lock = self._new_spool(spool.start)
        try:
            spool.copy_into(other)
            other.sync()
        except ReadBackFailed:
            self._cut = True
            self.words = (
                f"{spool.frames} frames written before the disk went away stay on it as "
                f"{spool.part}; the event goes on without them"
            )
        except BaseException:
            other.close()
            lock.release()
            shutil.rmtree(other.part, ignore_errors=True)
            raise
        else:
            self._remove_old(spool)
        self._spool, old_lock, self._lock = other, self._lock, lock
        with contextlib.suppress(OSError):
            spool.close()
        if old_lock is not None:
            old_lock.release()

    @staticmethod
    def _remove_old(spool: SpoolWriter) -> None:
        try:
            spool.check_place()
        except OSError:
            return
        shutil.rmtree(spool.part, ignore_errors=True)

    def _in_place(self, spool: SpoolWriter) -> bool:
        if spool.part.parent != self._target().folder:
            return False
        try:
            spool.check_place()
        except OSError:
            return False
        return True

    def abandon(self) -> None:
        """Close the files of an event that cannot be ended; recovery finds it at the next start."""
        if self._spool is not None:
            with contextlib.suppress(OSError):
                self._spool.close()
        if self._lock is not None:
            self._lock.release()
        self._spool = self._lock = None
