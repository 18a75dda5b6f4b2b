"""The recorder: takes events from the engine and keeps them, whatever the disk does."""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from liveview.errors import OutputFailed
from liveview.model import EventStart, Lease, SoundBlock, Spotted, StoreStatus
from liveview.recorder.converter import Converter
from liveview.recorder.files import MEGABYTE, fault_words, free_bytes
from liveview.recorder.inbox import Begin, End, FrameItem, Inbox, MarkItem, SoundItem, WhenFull
from liveview.recorder.names import check_pattern
from liveview.recorder.recovery import Recovered, leftovers
from liveview.recorder.writer import EventWriter, Spooled, Target
from liveview.settings import Store
from liveview.worker import Worker

MOST_WORDS = 12
PASSING_S = 20.0
"""How long words stay that ask nothing of anybody; the next event ends them, too."""
REMEMBERED = 1000
"""Events of this session that are remembered for lists."""


def default_folder() -> Path:
    """``liveview`` in the user's folder of videos."""
    return Path(platformdirs.user_videos_dir()) / "liveview"


def store_folder(store: Store) -> Path:
    """The folder of events that the settings mean."""
    return Path(store.folder).expanduser() if store.folder else default_folder()


@dataclass(frozen=True, slots=True)
class KeptEvent:
    """An event of this session. ``path`` ends in ``.part`` until it is converted."""

    path: Path
    spooled: Spooled

    @property
    def finished(self) -> bool:
        """True once it is converted and has its final name."""
        return self.path != self.spooled.part


class Recorder:
    """An :class:`~liveview.model.EventSink` that owns the writer and the converter thread.

    ::

                  begin/add/mark/end             spool whole              bit-exact copy
        engine ----------------------> inbox --> writer --------> converter -----------> event
                                         |          |
                                         |          '-- fault: frames are copied out of the ring,
                                         |              kept, tried again every ``retry_s``, or
                                         |              saved elsewhere by ``save_pending``
                                         '-- full: counted, said

    Parameters
    ----------
    store : Store
        Folder, name pattern, reserve; ``ring_mb`` bounds what may wait in memory.
    folder : Path, optional
        Instead of the one in the settings.
    when_full : {"drop", "wait"}
        Live sources cannot wait; recordings can.
    retry_s : float
        Seconds between attempts while the disk refuses.

    Raises
    ------
    BadRequest
        The name pattern has an unknown field.
    """

    def __init__(
        self,
        store: Store,
        *,
        folder: Path | None = None,
        when_full: WhenFull = "drop",
        retry_s: float = 2.0,
    ) -> None:
        check_pattern(store.name)
        self._target = Target(
            folder or store_folder(store), store.name, store.reserve_mb * MEGABYTE
        )
        self._retry_s = retry_s
        self._guard = threading.Lock()
        self._words: dict[str, str] = {}
        self._passing: dict[str, float] = {}
        self._events: deque[KeptEvent] = deque(maxlen=REMEMBERED)
        self._recovered: deque[Path] = deque(maxlen=REMEMBERED)
        self._nudge = threading.Event()
        self._kept = 0
        self._open = False
        self._dropped = 0
        self._closed = False
        self._inbox = Inbox(store.ring_mb * MEGABYTE, when_full)
        self._converter = Converter(self._converted, lambda: self._target.reserve_bytes)
        self._writer = Worker(
            "event writer", self._write, on_finish=self._writer_ended, wake=self._wake_writer
        )
        for part in leftovers(self._target.folder):
            self._converter.add(part)
        self._writer.start()
        self._converter.start()

    @property
    def folder(self) -> Path:
        """Where events go now."""
        return self._target.folder

    @property
    def events(self) -> tuple[KeptEvent, ...]:
        """Events of this session, oldest first."""
        with self._guard:
            return tuple(self._events)

    @property
    def recovered(self) -> tuple[Path, ...]:
        """Events that an earlier run left unfinished and that are finished now."""
        with self._guard:
            return tuple(self._recovered)

    def begin(self, start: EventStart) -> None:
        """See :class:`~liveview.model.EventSink`."""
        if self._open or self._closed:
            raise RuntimeError("an event is open already, or the recorder is closed")
        self._open, self._dropped = True, 0
        self._let_pass(float("inf"))
        self._inbox.put(Begin(start))

    def add_frame(self, lease: Lease) -> None:
        """Take over the lease; it is released when the frame is written, copied or refused."""
        if not self._open:
            lease.release()
            raise RuntimeError("no event is open")
        if not self._inbox.put(FrameItem(lease, lease.frame.pixels.nbytes)):
            lease.release()
            self._refuse()

    def add_sound(self, block: SoundBlock) -> None:
        """Sound of the current event, in order."""
        if not self._open:
            raise RuntimeError("no event is open")
        if not self._inbox.put(SoundItem(block, block.samples.nbytes)):
            self._say("sound", "the queue to the disk is full: some sound was not kept")

    def mark(self, spotted: Spotted) -> None:
        """A further spark inside the current event."""
        if not self._open:
            raise RuntimeError("no event is open")
        self._inbox.put(MarkItem(spotted))

    def end(self, complete: bool) -> None:
        """No more frames of the current event."""
        if not self._open:
            raise RuntimeError("no event is open")
        self._open = False
        self._inbox.put(End(complete and not self._dropped, self._dropped))

    def status(self) -> StoreStatus:
        """A snapshot for the screen."""
        self._let_pass(time.monotonic())
        with self._guard:
            words = tuple(self._words.values())
            newest = str(self._events[-1].path) if self._events else None
        return StoreStatus(
            writing=self._open or not self._inbox.empty,
            converting=self._converter.waiting,
            waiting_frames=self._inbox.frames,
            events_kept=self._kept,
            newest=newest,
            folder=str(self.folder),
            free_bytes=free_bytes(self.folder),
            words=words,
        )

    def save_pending(self, folder: Path) -> None:
        """Save what waits in memory (and all later events) in another folder.

        What the old folder holds of the current event moves along.

        Raises
        ------
        OutputFailed
            That folder cannot be written either.
        """
        probe = folder / ".liveview-probe"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            try:
                probe.write_bytes(b"liveview")
            finally:
                probe.unlink(missing_ok=True)
        except OSError as error:
            raise OutputFailed(
                fault_words(error, 0), str(folder), "choose another folder"
            ) from error
        self._target = Target(folder, self._target.pattern, self._target.reserve_bytes)
        self._nudge.set()

    def drain(self, timeout_s: float | None = None) -> bool:
        """Wait until all events are written and converted; False in trouble or after the time."""
        end_s = None if timeout_s is None else time.monotonic() + timeout_s
        if not self._inbox.wait_until_empty(timeout_s):
            return False
        left_s = None if end_s is None else max(0.0, end_s - time.monotonic())
        return self._converter.wait_until_done(left_s)

    def close(self, timeout_s: float = 5.0) -> None:
        """Write what waits, then end both threads. Spools not converted yet wait for the next
        start. Ask ``status().waiting_frames`` first: what the disk still refuses now is lost.

        Raises
        ------
        WorkerStuck
            The disk did not answer in time.
        """
        if self._closed:
            return
        if self._open:
            self.end(complete=False)
        self._closed = True
        self._inbox.close()
        self._writer.ask_stop()
        self._converter.ask_stop()
        self._writer.join(timeout_s)
        self._converter.join(timeout_s)
        self._writer.raise_error()

    def _say(self, topic: str, words: str) -> None:
        with self._guard:
            self._words.pop(topic, None)
            if words:
                self._words[topic] = words
            while len(self._words) > MOST_WORDS:
                del self._words[next(iter(self._words))]

    def _let_pass(self, until_s: float) -> None:
        with self._guard:
            for topic in [topic for topic, end_s in self._passing.items() if end_s <= until_s]:
                del self._passing[topic]
                self._words.pop(topic, None)

    def _refuse(self) -> None:
        self._dropped += 1
        self._say("dropped", f"{self._dropped} frames of this event were not kept: memory is full")

    def _write(self, stop: threading.Event) -> None:
        writer = EventWriter(lambda: self._target, self._spooled)
        try:
            while not (stop.is_set() and self._inbox.empty):
                if not self._attempt(writer) and stop.is_set():
                    break
        finally:
            writer.abandon()
            lost = self._inbox.drop_all()
            if lost:
                self._say("lost", f"{lost} frames could not be saved before the end")

    def _attempt(self, writer: EventWriter) -> bool:
        """Write the first item, or find out that it cannot be written yet."""
        try:
            if self._inbox.holding:
                writer.mend()
            self._step(writer)
        except OSError as error:
            self._inbox.hold(True)
            self._say("disk", self._disk_words(error))
            self._nudge.wait(self._retry_s)
            self._nudge.clear()
            return False
        if self._inbox.holding:
            self._inbox.hold(False)
            self._say("disk", "")
            self._say("moved", writer.words)
        return True

    def _step(self, writer: EventWriter) -> None:
        item = self._inbox.first(timeout_s=1.0)
        if item is not None:
            try:
                writer.handle(item)
            except ValueError as error:  # not of the event's format: of no use to it
                self._say("format", f"left out of the event: {error}")
            self._inbox.done()
            if isinstance(item, Begin):
                self._say("dropped", "")
        if self._inbox.empty:
            writer.idle()

    def _disk_words(self, error: OSError) -> str:
        target = self._target
        return (
            f"{target.folder}: {fault_words(error, target.reserve_bytes)}; "
            f"{self._inbox.frames} frames stay in memory: mend it or save them elsewhere"
        )

    def _wake_writer(self) -> None:
        self._nudge.set()
        self._inbox.nudge()

    def _writer_ended(self, error: BaseException | None) -> None:
        if error is not None:
            self._inbox.close()
            self._say("writer", f"events are no longer kept ({error!r}): restart the program")

    def _spooled(self, spooled: Spooled) -> None:
        with self._guard:
            self._events.append(KeptEvent(spooled.part, spooled))
            self._kept += 1
        self._converter.add(spooled.part)

    def _converted(self, done: Recovered) -> None:
        topic = f"convert {done.part}"
        self._say(topic, done.words)
        if done.passing:
            self._forget(topic, done.part)
        if done.path is None:
            return
        with self._guard:
            for index, event in enumerate(self._events):
                if event.path == done.part:
                    self._events[index] = KeptEvent(done.path, event.spooled)
                    return
            self._recovered.append(done.path)

    def _forget(self, topic: str, part: Path) -> None:
        """An event without a frame or a sample is none; the words about it go after a while."""
        with self._guard:
            self._passing[topic] = time.monotonic() + PASSING_S
            for event in [event for event in self._events if event.path == part]:
                self._events.remove(event)
                self._kept -= 1
