"""Turns the trigger's actions into a recorder's calls: frames by lease, sound in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from liveview.engine.ring import FrameRing, RingLease
from liveview.engine.soundring import SoundRing, block_end_s
from liveview.model import EventSink, EventStart, SoundBlock, SourceInfo, Spotted
from liveview.trigger.arming import Action, Begin, End, Mark

SOUND_PATIENCE_S = 0.6
"""How long the end of an event waits for the sound that belongs to its last frames."""
HOLE_S = 2.0
"""Frames that are farther apart (or five frame periods) belong to two events."""


def hole_s(info: SourceInfo) -> float:
    """Longest time without a frame inside an event, seconds."""
    return max(HOLE_S, 5.0 / info.rate_hz) if info.rate_hz else HOLE_S


class EventBuilder:
    """Hands one event after the other to the sink.

    ::

        idle --Begin--> gathering --End--> waiting for the last sound --> idle
                            ^                       |
                            '--------Begin----------'

    Used by the watch thread only. The pre-trigger frames are leased from the ring at the moment of
    the trigger; overlapping events lease the same frames again. What lies before a hole in them is
    left out, and so is sound that was first opened while the event was under way.

    Parameters
    ----------
    sink : EventSink
        The recorder.
    describe : callable
        Makes the ``EventStart`` of a spark.
    sounds : SoundRing
        Where the pre-trigger sound is.
    """

    def __init__(
        self, sink: EventSink, describe: Callable[[Spotted], EventStart], sounds: SoundRing
    ) -> None:
        self._sink = sink
        self._describe = describe
        self._sounds = sounds
        self._open = False
        self._hears = False
        self._sent = -1
        self._since_s = 0.0
        self._last_block = -1
        self._heard_block = -1
        self._ending: End | None = None
        self._ending_at_s = 0.0

    @property
    def busy(self) -> bool:
        """True while an event is not ended."""
        return self._open

    def new_ring(self) -> None:
        """Sequence numbers start anew."""
        self._sent = -1

    def frame(self, lease: RingLease, actions: tuple[Action, ...], ring: FrameRing) -> None:
        """The next frame (its lease is taken over) with what the trigger made of it."""
        given = False
        for action in actions:
            if isinstance(action, End) and lease.frame.time_s <= action.until_s:
                given = given or self._give(lease)
            self.act(action, ring, lease.sequence, lease.frame.time_s)
        if not (given or self._give(lease)):
            lease.release()

    def act(self, action: Action, ring: FrameRing, last: int, now_s: float) -> None:
        """Begin, mark or end; ``last`` is the sequence number of the newest frame watched."""
        if isinstance(action, Begin):
            self._begin(action, ring, last)
        elif isinstance(action, Mark):
            if self._open:
                self._sink.mark(action.spotted)
        elif self._open and self._ending is None:
            self._ending, self._ending_at_s = action, now_s
            self.tick(now_s)

    def sound(self, number: int, block: SoundBlock) -> None:
        """The next sound block, with its running number in the sound ring."""
        self._heard_block = number
        if not (self._open and self._hears) or number <= self._last_block:
            return
        if block_end_s(block) <= self._since_s:
            return
        if self._ending is None or block.start_s <= self._ending.until_s:
            self._sink.add_sound(block)
            self._last_block = number

    def tick(self, now_s: float) -> None:
        """End an event whose last sound has come or is given up."""
        if self._ending is None:
            return
        until_s = self._sounds.until_s
        complete = until_s is None or until_s >= self._ending.until_s
        complete = complete and self._heard_block >= self._sounds.count - 1
        if complete or now_s > self._ending_at_s + SOUND_PATIENCE_S:
            self._finish()

    def close(self) -> None:
        """Nothing more will come: end what is open, cut short."""
        if self._open and self._ending is None:
            self._ending = End(False, 0.0)
        self._finish()

    def _begin(self, action: Begin, ring: FrameRing, last: int) -> None:
        if self._open:
            self.close()
        start = self._describe(action.spotted)
        self._sink.begin(start)
        self._hears = start.sound is not None
        leases = ring.between(action.since_s, last)
        before = _before_hole(leases, hole_s(ring.info))
        since_s = leases[before].frame.time_s if before else action.since_s
        self._open, self._since_s, self._ending = True, since_s, None
        for lease in leases[:before]:
            lease.release()
        for lease in leases[before:]:
            self._sink.add_frame(lease)
        self._sent = last
        for block in self._sounds.since(since_s, self._heard_block) if self._hears else ():
            self._sink.add_sound(block)
        self._last_block = self._heard_block

    def _give(self, lease: RingLease) -> bool:
        """Hand one frame to the event that gathers, if there is one and it has not got it."""
        if not self._open or self._ending is not None or lease.sequence <= self._sent:
            return False
        if lease.frame.time_s < self._since_s:
            return False
        self._sent = lease.sequence
        self._sink.add_frame(lease)
        return True

    def _finish(self) -> None:
        if self._ending is not None:
            complete, self._ending, self._open = self._ending.complete, None, False
            self._sink.end(complete)


def _before_hole(leases: Sequence[RingLease], longest_s: float) -> int:
    """How many of the frames lie before the last hole among them."""
    times_s = [lease.frame.time_s for lease in leases]
    for index in range(len(times_s) - 1, 0, -1):
        if times_s[index] - times_s[index - 1] > longest_s:
            return index
    return 0
