"""The chain thread: newest frame in, reading out; calibration frames in a row."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from liveview.engine.aidsdesk import AidsDesk
from liveview.engine.bell import Bell
from liveview.engine.calibrating import Calibrating
from liveview.engine.clock import iso_at
from liveview.engine.feed import Feed
from liveview.engine.mailbox import Mailbox
from liveview.engine.newest import Newest
from liveview.engine.ring import RingLease
from liveview.model import Calibration, CameraState, Disc, Frame, Light, Reading, SourceInfo
from liveview.settings import Settings

WAIT_S = 1.0
KEPT_LATENCIES = 16384

KEEPS_UP = 1.25
"""Sources up to this many times as fast as the beat are worked on frame by frame."""


class ChainLike(Protocol):
    """What the thread needs of :class:`liveview.engine.chain.Chain`."""

    def run(self, frame: Frame) -> Reading:
        """Everything from one frame."""

    def to_light(self, frame: Frame) -> Light:
        """Linear light of one frame."""

    def apply(self, settings: Settings) -> None:
        """Other settings."""

    def set_calibration(self, calibration: Calibration) -> None:
        """Other calibration pictures."""

    def set_disc(self, disc: Disc | None) -> None:
        """The disc by hand; None: find it."""

    def retake_background(self) -> None:
        """Background anew."""


class ChainThread:
    """Body of the chain thread.

    It takes the newest frame only; those in between are counted as skipped. While a calibration
    picture is taken it takes every frame in a row, and shows those it has time for. When no frame
    comes (end of a recording) a change of settings shows on the last one.

    Parameters
    ----------
    feed : callable
        The present feed, None before the source is open.
    make_chain : callable
        Makes a chain for settings and a format.
    settings : Settings
        To begin with.
    calibrating : Calibrating
        The calibration and its taking.
    camera : callable
        State of the camera as it stands.
    mailbox : Mailbox
        Where readings go.
    bell : Bell
        Rung for new frames and changes.
    clock : callable
        The session's clock.
    wall : callable
        Unix time, for the dates of calibration pictures.
    more : callable
        False when capture has ended for good.
    rate_hz : callable
        Measured rate of the source, None before it is known.
    aids : AidsDesk, optional
        Served with every frame shown.
    """

    def __init__(
        self,
        *,
        feed: Callable[[], Feed | None],
        make_chain: Callable[[Settings, SourceInfo], ChainLike],
        settings: Settings,
        calibrating: Calibrating,
        camera: Callable[[SourceInfo], CameraState],
        mailbox: Mailbox[Reading],
        bell: Bell,
        clock: Callable[[], float],
        wall: Callable[[], float],
        more: Callable[[], bool],
        rate_hz: Callable[[], float | None],
        aids: AidsDesk | None = None,
    ) -> None:
        self._current_feed = feed
        self._make_chain = make_chain
        self._calibrating = calibrating
        self._camera = camera
        self._mailbox = mailbox
        self._bell = bell
        self._clock = clock
        self._wall = wall
        self._more = more
        self._rate_hz = rate_hz
        self._aids = aids
        self._announce: Callable[[], None] | None = None
        self._beat_s = 0.0
        self._due_s = 0.0
        self._lock = threading.Lock()
        self._wanted: tuple[Settings, Disc | None] = (settings, None)
        self._applied: tuple[Settings, Disc | None] | None = None
        self._version = -1
        self._feed: Feed | None = None
        self._chain: ChainLike | None = None
        self._held: RingLease | None = None
        self._sequence = -1
        self._skipped = 0
        self._retake = threading.Event()
        self._took = False
        self._latencies = Newest(KEPT_LATENCIES)

    @property
    def skipped(self) -> int:
        """Frames that were not shown because a newer one was there."""
        return self._skipped

    def latencies_s(self) -> tuple[float, ...]:
        """Arrival in the ring to reading, of the newest frames shown."""
        return self._latencies.all()

    def want(self, settings: Settings, disc: Disc | None) -> None:
        """Use these settings and this disc (None: find it) from the next frame on."""
        with self._lock:
            self._wanted = (settings, disc)
        self._bell.ring()

    def announce(self, to: Callable[[], None] | None, beat_s: float = 0.0) -> None:
        """Call ``to`` from this thread after every new reading.

        Of a source much faster than one frame in ``beat_s`` only one frame a beat is worked on,
        always the newest: nobody sees more, and the time is better spent on catching.
        """
        self._announce, self._beat_s = to, beat_s

    def retake_background(self) -> None:
        """Without a reference: take the background anew from the next frame on."""
        self._retake.set()
        self._bell.ring()

    def __call__(self, stop: threading.Event) -> None:
        """Run until ``stop``."""
        try:
            while not stop.is_set():
                heard = self._bell.count
                if not self._step():
                    self._bell.wait(heard, WAIT_S)
                elif (rest_s := self._rest_s()) > 0.0:
                    stop.wait(rest_s)
        finally:
            self._hold(None)

    def _rest_s(self) -> float:
        """Time until the next beat; none where every frame counts."""
        rate_hz = self._rate_hz()
        if rate_hz is None or rate_hz * self._beat_s < KEEPS_UP or self._took:
            return 0.0
        now = self._clock()
        self._due_s += self._beat_s
        if not now - self._beat_s < self._due_s <= now + self._beat_s:
            self._due_s = now + self._beat_s / 2
        return self._due_s - now

    def _step(self) -> bool:
        feed = self._current_feed()
        if feed is None:
            return False
        if feed is not self._feed:
            self._follow(feed)
        self._calibrating.camera_is(self._camera(feed.info))
        changed = self._apply_wanted()
        taking = self._calibrating.taking is not None
        lease = self._next_lease(feed, taking)
        if lease is not None:
            self._hold(lease)
            if taking:
                self._take(feed, lease)
            if not taking or lease.sequence >= feed.ring.captured - 1:
                self._show(lease)
                self._latencies.add(self._clock() - lease.arrived_s)
            return True
        if taking and not self._more():
            self._calibrating.cancel("no frames come any more; open the source again")
        if changed and self._held is not None:
            self._show(self._held)
            return True
        return False

    def _follow(self, feed: Feed) -> None:
        if self._feed is None or feed.ring is not self._feed.ring:
            self._sequence = -1
            self._hold(None)
        if self._feed is None or feed.info != self._feed.info:
            self._chain = self._make_chain(self._wanted[0], feed.info)
            self._applied, self._version = None, -1
        self._feed = feed

    def _apply_wanted(self) -> bool:
        assert self._chain is not None
        with self._lock:
            wanted, version = self._wanted, self._calibrating.version
        changed = self._retake.is_set()
        if changed:
            self._retake.clear()
            self._chain.retake_background()
        if wanted != self._applied:
            if self._applied is None or wanted[0] != self._applied[0]:
                self._chain.apply(wanted[0])
            if self._applied is None or wanted[1] != self._applied[1]:
                self._chain.set_disc(wanted[1])
            self._applied, changed = wanted, True
        if version != self._version:
            self._chain.set_calibration(self._calibrating.calibration)
            self._version, changed = version, True
        return changed

    def _next_lease(self, feed: Feed, taking: bool) -> RingLease | None:
        if taking and not self._took:
            self._sequence = feed.ring.captured - 1
        self._took = taking
        after = self._sequence
        lease = feed.ring.following(after) if taking else feed.ring.newest(after)
        if lease is not None:
            self._skipped += lease.sequence - after - 1
            self._sequence = lease.sequence
        return lease

    def _take(self, feed: Feed, lease: RingLease) -> None:
        assert self._chain is not None
        reading = self._mailbox.get()
        light = self._chain.to_light(lease.frame)
        taken_s = lease.frame.time_s
        disc = reading.disc if reading is not None else None
        self._calibrating.add(light, taken_s, iso_at(self._wall()), disc)
        self._apply_wanted()

    def _show(self, lease: RingLease) -> None:
        assert self._chain is not None
        reading = self._chain.run(lease.frame)
        aids, feed, settings = self._aids, self._feed, self._wanted[0]
        if aids is not None and feed is not None:
            aids.serve_blade(reading, settings, feed.info)
        self._mailbox.put(reading)
        announce = self._announce
        if announce is not None:
            announce()
        if aids is not None and feed is not None:
            aids.serve(lease.frame, reading, settings, feed.info)

    def _hold(self, lease: RingLease | None) -> None:
        """Keep the newest frame so that it can be shown again under other settings."""
        if self._held is not None:
            self._held.release()
        self._held = lease
