"""The running session: it owns the threads and is the one thing the window talks to."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from liveview.engine.aidsdesk import AidsDesk
from liveview.engine.bell import Bell
from liveview.engine.board import Board
from liveview.engine.calibrating import Calibrating
from liveview.engine.camera_handle import CameraHandle
from liveview.engine.capture import Capture
from liveview.engine.chainthread import ChainLike, ChainThread
from liveview.engine.clock import SessionClock, iso_at, wall_minus
from liveview.engine.clockcheck import ClockCheck
from liveview.engine.crew import Crew
from liveview.engine.eventbuilder import EventBuilder
from liveview.engine.feed import Feed
from liveview.engine.guide import Guide
from liveview.engine.intake import Intake
from liveview.engine.listen import Listen
from liveview.engine.mailbox import Mailbox
from liveview.engine.ring import FrameRing
from liveview.engine.soundring import SoundRing
from liveview.engine.watch import Watch
from liveview.errors import LiveviewError
from liveview.model import (
    Calibration,
    CalibrationKind,
    CameraState,
    Counters,
    Disc,
    EventSink,
    EventStart,
    Frame,
    FrameSource,
    Reading,
    RigHandle,
    SessionState,
    SessionStatus,
    SoundSource,
    SourceInfo,
    Spotted,
    StoreStatus,
)
from liveview.settings import Settings
from liveview.trigger.arming import Action
from liveview.trigger.catcher import Catcher
from liveview.worker import Worker

SOUND_MARGIN_S = 5.0
FRAMES_AT_ONCE = 256
SILENT_AFTER_S = 3.0


class Session:
    """Capture, watching, the chain and the events of one source, from start to stop.

    ::

        stopped --start--> opening --first frame--> running --end of a recording--> ended
                              |                      |   ^
                              |                      '-> stalled (tries again by itself)
                              '--cannot be opened--> failed
        any --stop--> stopped

    Four threads: capture (owns the source), sound (owns the microphone), watch (sees every frame,
    hears every block, builds events) and chain (newest frame to reading). A session is started
    once; make a new one for another source.

    Parameters
    ----------
    settings : Settings
        To begin with; see ``apply``.
    frames : callable
        Makes a new, unopened frame source; called again after a stall.
    sound : callable, optional
        The same for sound.
    sound_wanted : callable, optional
        Told other settings before sound is opened anew for them.
    sink : EventSink, optional
        Keeps events. Without one they are spotted and shown only.
    store_status : callable, optional
        Status of the recorder, for the snapshot.
    rig : RigHandle, optional
        The simulated rig's handle, passed on to the window.
    camera : CameraHandle, optional
        Where the camera's own controls are turned; told of other settings and of the disc.
    clock : callable, optional
        Seconds since the session's start; hand the same one to the sources.
    wall : callable, optional
        Unix time, for names and dates only; it may jump.
    make_chain : callable, optional
        Makes the chain; the real one unless a test hands in another.
    """

    def __init__(
        self,
        settings: Settings,
        frames: Callable[[], FrameSource],
        *,
        sound: Callable[[], SoundSource] | None = None,
        sound_wanted: Callable[[Settings], None] | None = None,
        sink: EventSink | None = None,
        store_status: Callable[[], StoreStatus] | None = None,
        rig: RigHandle | None = None,
        camera: CameraHandle | None = None,
        clock: Callable[[], float] | None = None,
        wall: Callable[[], float] = time.time,
        make_chain: Callable[[Settings, SourceInfo], ChainLike] | None = None,
    ) -> None:
        self.clock = clock or SessionClock()
        self.rig = rig
        self.camera = camera
        self._settings = settings
        self._store_status = store_status
        self._wall = wall
        self._bell = Bell()
        self._board = Board()
        self._intake = Intake(self._bell.ring, self._board)
        self._disc: Disc | None = _disc_of(settings)
        self._mailbox: Mailbox[Reading] = Mailbox()
        self._calibrating = Calibrating()
        self.aids = AidsDesk()
        """Aids for setting up; see ``engine.aidsdesk``."""
        self.guide = Guide()
        """Steps of the set-up. The window judges them; what was reached goes into events."""
        self._sounds = SoundRing(_sound_seconds(settings), self._bell.ring)
        self._clock_check: ClockCheck | None = None

        self._capture = Capture(frames, self._opened, self._board, self.clock)
        self._sound_wanted = sound_wanted
        self._listen = (
            None
            if sound is None
            else Listen(sound, self._sounds, self._board, lambda: self._settings.sound.enabled)
        )
        builder = None if sink is None else EventBuilder(sink, self._describe, self._sounds)
        self._watch = Watch(
            feed=lambda: self._intake.feed,
            sounds=self._sounds,
            hears=lambda: self._listen is not None and self._listen.info is not None,
            make_catcher=self._make_catcher,
            disc=self._found_disc,
            camera=self._camera_state,
            builder=builder,
            bell=self._bell,
            clock=self.clock,
            more=self._more,
        )
        self._chain = ChainThread(
            feed=lambda: self._intake.feed,
            make_chain=make_chain or _make_chain,
            settings=settings,
            calibrating=self._calibrating,
            camera=self._camera_state,
            mailbox=self._mailbox,
            bell=self._bell,
            clock=self.clock,
            wall=wall,
            more=self._more,
            rate_hz=lambda: self._capture.rate_hz,
            aids=self.aids,
        )
        self._chain.want(settings, self._disc)
        wake = self._bell.ring
        workers = [
            Worker("capture", self._capture, on_finish=self._capture_over),
            Worker("watch", self._watch, on_finish=self._reader_over("trigger"), wake=wake),
            Worker("chain", self._chain, on_finish=self._reader_over("picture"), wake=wake),
        ]
        if self._listen is not None:
            over, awake = self._reader_over("sound"), self._listen.wake
            workers.insert(1, Worker("sound", self._listen, on_finish=over, wake=awake))
        self._crew = Crew(workers, self._board)

    # -- life ---------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the threads; returns at once, see ``status``."""
        self._board.enter(SessionState.OPENING)
        self._crew.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """Stop and join all threads; an event under way is ended first.

        Raises
        ------
        WorkerStuck
            A thread (of a stuck driver) did not end in time. All others have ended.
        """
        try:
            self._crew.stop(timeout_s)
        finally:
            self._board.enter(SessionState.STOPPED)

    # -- what the window pulls ----------------------------------------------------------------

    def newest(self) -> Reading | None:
        """The newest reading, None before the first."""
        return self._mailbox.get()

    def announce(self, to: Callable[[], None] | None, beat_s: float = 0.0) -> None:
        """Call ``to``, from a thread, after each new reading; None: no more.

        ``beat_s`` is the time for which the caller shows one picture, seconds: of a much faster
        source only the newest frame of each beat becomes a reading. Capture, trigger and
        recording see every frame all the same.
        """
        self._chain.announce(to, beat_s)

    def frames_between(
        self, since_s: float, until_s: float, most: int = FRAMES_AT_ONCE
    ) -> tuple[Frame, ...]:
        """Copies of the frames that the memory still holds of a stretch of time, oldest first.

        For any thread. Of more than ``most`` the last ones are left out.
        """
        return self._intake.between(since_s, until_s, most)

    def status(self) -> SessionStatus:
        """A snapshot of everything else; never waits for a thread."""
        feed = self._intake.feed
        rate_hz = self._capture.rate_hz
        ring_seconds, capacity_seconds = self._intake.ring_seconds(rate_hz)
        has = self._calibrating.calibration
        camera_words: tuple[str, ...] = ()
        if self.camera is not None:
            self.camera.disc_is(self._found_disc())
            camera_words = self.camera.words
        return SessionStatus(
            state=self._board.state,
            words=self._board.words() + self._silence() + camera_words,
            source=None if feed is None else feed.info,
            sound=None if self._listen is None else self._listen.info,
            counters=self._counters(),
            rate_hz=rate_hz,
            ring_seconds=ring_seconds,
            ring_capacity_seconds=capacity_seconds,
            arm=self._watch.arm_state,
            arm_words=self._watch.arm_words,
            trigger=self._watch.reading,
            sound_level=self._sounds.peak,
            recent=self._watch.recent,
            calibration_words=self._calibrating.words,
            taking=_taking(self._calibrating),
            has=frozenset(k for k in CalibrationKind if getattr(has, k.value) is not None),
            can_undo=self._calibrating.can_undo,
            store=StoreStatus() if self._store_status is None else self._store_status(),
        )

    def latencies_s(self) -> tuple[float, ...]:
        """Seconds from a frame's arrival in the ring to its reading, newest frames."""
        return self._chain.latencies_s()

    def check_clock(self, path_s: float, path_error_s: float) -> ClockCheck:
        """Begin the flash-and-click check; whoever asked ends it, ``stop`` does so at the latest.

        ``path_s`` is the sound's travel time from the flash to the microphone, seconds.
        """
        if self._clock_check is not None:
            self._clock_check.stop()
        self._clock_check = ClockCheck(
            feed=lambda: self._intake.feed,
            sounds=self._sounds,
            bell=self._bell,
            disc=self._found_disc,
            clock=self.clock,
            path_s=path_s,
            path_error_s=path_error_s,
        )
        self._crew.take_on(self._clock_check.worker)
        self._clock_check.start()
        return self._clock_check

    # -- calibration and disc -----------------------------------------------------------------

    @property
    def calibration(self) -> Calibration:
        """The pictures that hold for the camera as it stands."""
        return self._calibrating.calibration

    def set_calibration(self, calibration: Calibration) -> None:
        """Use these pictures; can be undone."""
        self._calibrating.set(calibration)
        self._bell.ring()

    def take(self, kind: CalibrationKind) -> None:
        """Average the next frames into a calibration picture; see ``status().taking``.

        Raises
        ------
        BadRequest
            Another one is being taken.
        """
        self._calibrating.begin(kind)
        self._bell.ring()

    def cancel_take(self) -> None:
        """Stop taking."""
        self._calibrating.cancel()

    def undo_take(self) -> None:
        """Back to the calibration before the last change."""
        self._calibrating.undo()
        self._bell.ring()

    def retake_background(self) -> None:
        """Without a reference: take the background anew from the next frames."""
        self._chain.retake_background()

    def place_disc(self, disc: Disc | None) -> None:
        """Set the disc by hand; None: found by itself again."""
        self._disc = disc
        self._chain.want(self._settings, disc)

    # -- settings and trigger -----------------------------------------------------------------

    @property
    def settings(self) -> Settings:
        """The settings in use."""
        return self._settings

    def apply(self, settings: Settings) -> None:
        """Use other settings from the next frame on.

        The source stays: another one, and another size of the ring, hold from the next session
        on. Exposure, gain, format, size and rate of a camera are wishes that its own thread
        grants, see ``sources.desk``.
        """
        before, self._settings = self._settings, settings
        if settings.disc != before.disc:
            self._disc = _disc_of(settings)
        if self.camera is not None:
            self.camera.apply(settings.camera)
        self._sounds.reach_back(_sound_seconds(settings))
        if settings.sound != before.sound and self._listen is not None:
            if self._sound_wanted is not None:
                self._sound_wanted(settings)
            self._listen.reopen()
        self._chain.want(settings, self._disc)
        self._watch.want(settings)

    def arm(self) -> None:
        """Learn the quiet, then wait for a spark."""
        self._watch.order(lambda catcher, feed: catcher.arm())

    def disarm(self) -> None:
        """Stop waiting; an event under way ends."""
        self._watch.order(lambda catcher, feed: catcher.disarm())

    def trigger(self) -> None:
        """Keep an event now, by hand; works without arming, too."""
        asked_s = self.clock()

        def by_hand(catcher: Catcher, feed: Feed) -> tuple[Action, ...]:
            return catcher.hand(asked_s)

        self._watch.order(by_hand)

    # -- inside -------------------------------------------------------------------------------

    def _more(self) -> bool:
        return self._board.state not in (SessionState.ENDED, SessionState.FAILED)

    def _opened(self, info: SourceInfo) -> FrameRing:
        """The source is open (capture thread): give it a ring."""
        ring = self._intake.open(info, self._settings.store.ring_mb)
        self._calibrating.camera_is(self._camera_state(info))
        self._bell.ring()
        return ring

    def _capture_over(self, error: BaseException | None) -> None:
        if self._board.state is SessionState.STOPPED:
            return
        if error is None:
            self._board.enter(SessionState.ENDED)
        elif isinstance(error, LiveviewError):
            self._board.enter(SessionState.FAILED, str(error))
        else:
            self._board.enter(SessionState.FAILED, f"capture failed: {_in_words(error)}")
        self._bell.ring()

    def _reader_over(self, part: str) -> Callable[[BaseException | None], None]:
        def over(error: BaseException | None) -> None:
            if error is not None:
                self._board.say(part, f"{part} stopped: {_in_words(error)}")

        return over

    def _make_catcher(self, feed: Feed) -> Catcher:
        return Catcher(self._settings, feed.info, sound=self._listen is not None)

    def _camera_state(self, info: SourceInfo) -> CameraState:
        state = info.camera_state
        if self.rig is None:
            return state
        values = self.rig.values()
        return replace(
            state,
            exposure_s=values.get("exposure_s", state.exposure_s),
            gain=values.get("gain", state.gain),
        )

    def _found_disc(self) -> Disc | None:
        reading = self._mailbox.get()
        return None if reading is None else reading.disc

    def _describe(self, spotted: Spotted) -> EventStart:
        """What the recorder keeps beside the frames (watch thread)."""
        feed = self._intake.feed
        assert feed is not None
        return EventStart(
            cause=spotted.cause,
            spotted=spotted,
            source=feed.info,
            sound=None if self._listen is None else self._listen.heard,
            calibration=self._calibrating.calibration,
            settings=self._settings.to_mapping(),
            disc=self._found_disc(),
            started_at=iso_at(self._wall()),
            wall_minus_session_s=wall_minus(self.clock, self._wall),
            set_up=self.guide.notes(),
        )

    def _counters(self) -> Counters:
        return Counters(
            captured=self._intake.captured,
            lost_source=self._capture.lost_source,
            lost_ring=self._intake.lost,
            skipped_chain=self._chain.skipped,
            watched=self._watch.watched,
            missed_watch=self._watch.missed,
            sound_blocks=self._sounds.count,
            sound_lost_samples=self._sounds.lost_samples,
        )

    def _silence(self) -> tuple[str, ...]:
        arrived_s = self._capture.arrived_s
        if arrived_s is None or self._board.state is not SessionState.RUNNING:
            return ()
        silent_s = self.clock() - arrived_s
        if silent_s < SILENT_AFTER_S:
            return ()
        return (f"no frame for {silent_s:.0f} s: the source does not answer",)


def _make_chain(settings: Settings, info: SourceInfo) -> ChainLike:
    from liveview.engine.chain import Chain

    return Chain(settings, info)


def _disc_of(settings: Settings) -> Disc | None:
    place = settings.disc
    return None if place is None else Disc(place.cx, place.cy, place.radius, by_hand=True)


def _sound_seconds(settings: Settings) -> float:
    return settings.catch.pre_trigger_s + SOUND_MARGIN_S


def _taking(calibrating: Calibrating) -> tuple[str, float] | None:
    taking = calibrating.taking
    return None if taking is None else (taking[0].value, taking[1])


def _in_words(error: BaseException) -> str:
    return str(error) if isinstance(error, LiveviewError) else f"{type(error).__name__}: {error}"
