"""The flash-and-click check: finds how late the camera is against the microphone."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from liveview.engine.bell import Bell
from liveview.engine.feed import Feed
from liveview.engine.soundring import SoundRing
from liveview.model import Disc
from liveview.trigger.clock import Delay, Moment, find_delay
from liveview.trigger.flash import FlashDetector
from liveview.trigger.onset import OnsetDetector
from liveview.worker import Worker

SIGMA = 8.0
"""The flashes are set off on purpose: weak ones are not needed."""
ENOUGH = 5
MOST = 64
WAIT_S = 0.25
SILENT_S = 2.0


@dataclass(frozen=True, slots=True)
class ClockReading:
    """How the check stands.

    ``seen`` and ``heard`` count flashes and sounds; ``delay`` is what they say of the stamps as
    they are now, None before they agree. ``hears`` is False without sound.
    """

    ready: bool = False
    hears: bool = True
    seen: int = 0
    heard: int = 0
    delay: Delay | None = None
    failed: str = ""

    @property
    def enough(self) -> bool:
        """True when more flashes would not change much."""
        return self.delay is not None and self.delay.pairs >= ENOUGH


class ClockCheck:
    """Watches every frame and hears every block in a thread of its own, until it is stopped.

    Parameters
    ----------
    feed : callable
        The present feed, None before the source is open.
    sounds : SoundRing
    bell : Bell
        Rung for new frames and sound.
    disc : callable
        Where the mirror is.
    clock : callable
        The session's clock.
    path_s, path_error_s : float
        Travel time of the sound, and one standard uncertainty of it, seconds.
    """

    def __init__(
        self,
        *,
        feed: Callable[[], Feed | None],
        sounds: SoundRing,
        bell: Bell,
        disc: Callable[[], Disc | None],
        clock: Callable[[], float],
        path_s: float,
        path_error_s: float,
    ) -> None:
        self._current_feed = feed
        self._sounds = sounds
        self._bell = bell
        self._disc = disc
        self._clock = clock
        self._path_s = path_s
        self._path_error_s = path_error_s
        self._feed: Feed | None = None
        self._flash: FlashDetector | None = None
        self._onsets = OnsetDetector()
        self._sequence = -1
        self._block = sounds.count - 1
        self._seen: list[Moment] = []
        self._heard: list[Moment] = []
        self._reading = ClockReading()
        self._worker = Worker("clock check", self._run, on_finish=self._over, wake=bell.ring)

    def start(self) -> None:
        """Begin to watch and listen."""
        self._worker.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End it. Raises WorkerStuck."""
        self._worker.stop(timeout_s)

    @property
    def worker(self) -> Worker:
        """Its thread, for who ends all threads together."""
        return self._worker

    @property
    def alive(self) -> bool:
        """True while it runs."""
        return self._worker.alive

    @property
    def reading(self) -> ClockReading:
        """How it stands."""
        return self._reading

    def _run(self, stop: threading.Event) -> None:
        while not stop.is_set():
            rung = self._bell.count
            if not self._work(stop):
                self._publish()
                self._bell.wait(rung, WAIT_S)

    def _work(self, stop: threading.Event) -> bool:
        feed = self._current_feed()
        if feed is None:
            return False
        if feed is not self._feed:
            self._begin(feed)
        worked = self._look(feed)
        for number, block in self._sounds.following(self._block):
            self._block = number
            worked = True
            for time_s in self._onsets.hear(block):
                self._heard = [*self._heard, Moment(time_s, block.error_s)][-MOST:]
        return worked and not stop.is_set()

    def _begin(self, feed: Feed) -> None:
        """The source was opened: its stamps may follow another clock from now on."""
        self._feed = feed
        self._flash = FlashDetector(feed.info, SIGMA)
        self._flash.set_disc(self._disc())
        self._sequence = feed.ring.captured - 1
        self._seen, self._heard = [], []

    def _look(self, feed: Feed) -> bool:
        assert self._flash is not None
        lease = feed.ring.following(self._sequence)
        if lease is None:
            return False
        try:
            self._sequence = lease.sequence
            for spotted in self._flash.look(lease.frame):
                self._seen = [*self._seen, Moment(spotted.time_s, spotted.error_s)][-MOST:]
        finally:
            lease.release()
        return True

    def _publish(self) -> None:
        until_s = self._sounds.until_s
        hears = until_s is not None and self._clock() - until_s < SILENT_S
        self._reading = ClockReading(
            ready=self._flash is not None and self._flash.ready and self._onsets.ready,
            hears=hears,
            seen=len(self._seen),
            heard=len(self._heard),
            delay=find_delay(
                self._seen, self._heard, self._path_s, path_error_s=self._path_error_s
            ),
        )

    def _over(self, error: BaseException | None) -> None:
        if error is not None:
            self._reading = ClockReading(failed=f"{type(error).__name__}: {error}")
