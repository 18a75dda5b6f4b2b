"""The watch thread: it sees every frame once and hears every sound block."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import replace

from liveview.engine.bell import Bell
from liveview.engine.eventbuilder import EventBuilder, hole_s
from liveview.engine.feed import Feed
from liveview.engine.signals import Signals
from liveview.engine.soundring import SoundRing, block_end_s
from liveview.errors import BadRequest
from liveview.model import (
    ArmState,
    CameraState,
    Cause,
    Disc,
    SourceInfo,
    Spotted,
    TriggerReading,
)
from liveview.settings import Settings
from liveview.trigger.arming import Action, Begin, Mark
from liveview.trigger.catcher import Catcher

MOST_ORDERS = 64
FRAMES_AT_A_TIME = 8
"""Frames watched before sound gets its turn."""
WAIT_S = 0.25
KEPT_SPOTS = 32
_ASKED = (Cause.HAND, Cause.COUNT)
"""Events that no detector spotted."""


class Watch:
    """Body of the watch thread.

    Orders (arm, disarm, trigger) are carried out between two frames, in the order in which they
    came; at most ``MOST_ORDERS`` may wait, the next is refused. Of other settings the newest count.

    Parameters
    ----------
    feed : callable
        The present feed, None before the source is open.
    sounds : SoundRing
        The sound ring.
    hears : callable
        Whether a sound source is open at present.
    make_catcher : callable
        Makes the detectors for a feed's format.
    disc : callable
        The disc as the chain found it.
    camera : callable
        The camera's state as it is now.
    builder : EventBuilder, optional
        Keeps events; without one they are only spotted.
    bell : Bell
        Rung for new frames, sound and orders.
    clock : callable
        The session's clock.
    more : callable
        False when capture has ended for good.
    """

    def __init__(
        self,
        *,
        feed: Callable[[], Feed | None],
        sounds: SoundRing,
        hears: Callable[[], bool],
        make_catcher: Callable[[Feed], Catcher],
        disc: Callable[[], Disc | None],
        camera: Callable[[SourceInfo], CameraState],
        builder: EventBuilder | None,
        bell: Bell,
        clock: Callable[[], float],
        more: Callable[[], bool],
    ) -> None:
        self._current_feed = feed
        self._sounds = sounds
        self._hears = hears
        self._make_catcher = make_catcher
        self._found_disc = disc
        self._camera = camera
        self._camera_was: CameraState | None = None
        self._builder = builder
        self._bell = bell
        self._clock = clock
        self._more = more
        self._orders: queue.Queue[Callable[[Catcher, Feed], tuple[Action, ...]]] = queue.Queue(
            MOST_ORDERS
        )
        self._wanted: Settings | None = None
        self._applied: Settings | None = None
        self._feed: Feed | None = None
        self._catcher: Catcher | None = None
        self._sequence = -1
        self._block = -1
        self._newest_s = 0.0
        self._newest_at_s = 0.0
        self._frame_error_s: float | None = None
        self._sound_error_s: float | None = None
        self._flushed = False
        self._watched = 0
        self._missed = 0
        self._recent: tuple[Spotted, ...] = ()
        self._flash_signal, self._crack_signal, self._level = Signals(), Signals(), Signals()

    @property
    def watched(self) -> int:
        """Frames seen."""
        return self._watched

    @property
    def missed(self) -> int:
        """Frames that were overwritten before they could be seen."""
        return self._missed

    @property
    def recent(self) -> tuple[Spotted, ...]:
        """The newest spots, newest last."""
        return self._recent

    @property
    def arm_state(self) -> ArmState:
        """State of the trigger."""
        return ArmState.OFF if self._catcher is None else self._catcher.state

    @property
    def arm_words(self) -> str:
        """State of the trigger in words."""
        return "" if self._catcher is None else self._catcher.words

    @property
    def reading(self) -> TriggerReading:
        """What the trigger measures at present."""
        catcher = self._catcher
        if catcher is None:
            return TriggerReading()
        return TriggerReading(
            now_s=self._newest_s if self._watched else None,
            learnt=catcher.learnt,
            anew=catcher.anew,
            since_s=catcher.since_s,
            until_s=catcher.until_s,
            flash=self._flash_signal.recent(),
            crack=self._crack_signal.recent(),
            level=self._level.recent(),
            noise_rate_hz=catcher.noise_rate_hz if catcher.state is ArmState.ARMED else None,
            frame_error_s=self._frame_error_s,
            sound_error_s=self._sound_error_s if self._hears() else None,
        )

    def want(self, settings: Settings) -> None:
        """Use other settings from the next frame on; for any thread."""
        self._wanted = settings
        self._bell.ring()

    def order(self, what: Callable[[Catcher, Feed], tuple[Action, ...]]) -> None:
        """Have something done between two frames.

        Raises
        ------
        BadRequest
            Too many orders are waiting: no source is open yet, or the watch thread does not
            keep up.
        """
        try:
            self._orders.put_nowait(what)
        except queue.Full as error:
            raise BadRequest(
                "too many requests are waiting", "trigger", "wait a moment and try again"
            ) from error
        self._bell.ring()

    def __call__(self, stop: threading.Event) -> None:
        """Run until ``stop``; an event under way is ended then."""
        try:
            while not stop.is_set():
                heard = self._bell.count
                if not self._work():
                    self._idle()
                    self._bell.wait(heard, WAIT_S)
        finally:
            if self._builder is not None:
                self._builder.close()

    def _work(self) -> bool:
        """Do what there is to do; False when there was nothing."""
        self._follow_feed()
        feed, catcher = self._feed, self._catcher
        if feed is None or catcher is None:
            return False
        self._act(catcher.set_disc(self._found_disc()), feed)
        self._follow_camera(feed, catcher)
        worked = self._carry_out(feed, catcher)
        for _ in range(FRAMES_AT_A_TIME):
            if not self._one_frame(feed, catcher):
                break
            worked = True
        return self._sound(feed, catcher) or worked

    def _follow_feed(self) -> None:
        feed = self._current_feed()
        if feed is self._feed or feed is None:
            return
        if self._feed is not None and self._catcher is not None:
            while self._one_frame(self._feed, self._catcher):
                pass
            if replace(feed.info, exposure_s=None, gain=None) != replace(
                self._feed.info, exposure_s=None, gain=None
            ):
                self._camera_was = None
                self._act(self._catcher.set_source(feed.info), self._feed)
            if feed.ring is not self._feed.ring:
                self._new_ring()
        else:
            self._catcher = self._make_catcher(feed)
        self._feed = feed

    def _follow_camera(self, feed: Feed, catcher: Catcher) -> None:
        """What was learnt at another exposure or gain does not hold."""
        before, self._camera_was = self._camera_was, self._camera(feed.info)
        if before is not None and self._camera_was != before:
            what = self._camera_was.changes_from(before)
            self._act(catcher.camera_changed(what, feed.info), feed)

    def _new_ring(self) -> None:
        self._sequence = -1
        if self._builder is not None:
            self._builder.close()
            self._builder.new_ring()

    def _carry_out(self, feed: Feed, catcher: Catcher) -> bool:
        wanted, worked = self._wanted, False
        if wanted is not None and wanted is not self._applied:
            catcher.apply(wanted)
            self._applied, worked = wanted, True
        while not self._orders.empty():
            self._act(self._orders.get_nowait()(catcher, feed), feed)
            worked = True
        return worked

    def _one_frame(self, feed: Feed, catcher: Catcher) -> bool:
        lease = feed.ring.following(self._sequence)
        if lease is None:
            return False
        self._missed += lease.sequence - self._sequence - 1
        self._sequence = lease.sequence
        if self._catching and lease.frame.time_s - self._newest_s > hole_s(feed.info):
            self._cut(feed, catcher)
        self._newest_s, self._newest_at_s = lease.frame.time_s, self._clock()
        self._frame_error_s = lease.frame.stamp.error_s
        actions = catcher.see(lease.frame)
        self._watched += 1
        self._flash_signal.add(self._newest_s, catcher.flash_strength)
        self._note(catcher)
        if self._builder is None:
            lease.release()
        else:
            self._builder.frame(lease, actions, feed.ring)
            self._builder.tick(self._newest_s)
        return True

    def _sound(self, feed: Feed, catcher: Catcher) -> bool:
        catcher.set_sound(self._hears())
        blocks = self._sounds.following(self._block)
        for number, block in blocks:
            self._block = number
            self._sound_error_s = block.error_s
            actions = catcher.hear(block)
            end_s = block_end_s(block)
            self._crack_signal.add(end_s, catcher.crack_strength)
            self._level.add(end_s, float(abs(block.samples).max(initial=0.0)))
            self._note(catcher)
            if self._builder is not None:
                self._builder.sound(number, block)
            self._act(actions, feed)
            if self._builder is not None:
                self._builder.tick(self._newest_s)
        return bool(blocks)

    def _act(self, actions: tuple[Action, ...], feed: Feed) -> None:
        asked = [
            action.spotted
            for action in actions
            if isinstance(action, Begin | Mark) and action.spotted.cause in _ASKED
        ]
        self._recent = (*self._recent, *asked)[-KEPT_SPOTS:]
        if self._builder is None:
            return
        for action in actions:
            self._builder.act(action, feed.ring, self._sequence, self._newest_s)

    def _note(self, catcher: Catcher) -> None:
        spots = catcher.new_spots()
        if spots:
            self._recent = (*self._recent, *spots)[-KEPT_SPOTS:]

    def _idle(self) -> None:
        """Nothing came: see whether an event waits for frames that will not come."""
        feed, catcher = self._feed, self._catcher
        if feed is None or catcher is None:
            return
        if not self._more():
            self._flush(feed, catcher)
        elif self._catching and self._clock() - self._newest_at_s > hole_s(feed.info):
            self._cut(feed, catcher)

    @property
    def _catching(self) -> bool:
        return self._builder is not None and self._builder.busy

    def _cut(self, feed: Feed, catcher: Catcher) -> None:
        """An event under way ends: its frames have a hole that is no part of it."""
        self._act(catcher.cut(), feed)
        if self._builder is not None:
            self._builder.close()

    def _flush(self, feed: Feed, catcher: Catcher) -> None:
        if self._flushed:
            return
        self._flushed = True
        self._act(catcher.flush(), feed)
        self._note(catcher)
        if self._builder is not None:
            self._builder.close()
