"""Sparks in a recording: the same detectors, joining and event folders as in the window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from liveview.commands.processing.folder import EVENT_NAME
from liveview.commands.processing.recorded import UNKNOWN, Recorded
from liveview.engine.eventbuilder import EventBuilder
from liveview.engine.ring import FrameRing, RingLease
from liveview.engine.soundring import SoundRing, block_end_s
from liveview.errors import LiveviewError, SoundUnavailable
from liveview.model import (
    Calibration,
    Disc,
    EventStart,
    SoundBlock,
    SoundInfo,
    SoundSource,
    SourceInfo,
    Spotted,
)
from liveview.recorder import Recorder
from liveview.settings import Settings
from liveview.trigger.arming import Action, Begin, Mark
from liveview.trigger.catcher import Catcher

SOUND_AHEAD_S = 0.1
"""Sound is heard this far ahead of the frames, so that a flash finds its crack at once."""
PAIRING_S = 0.75
"""How long after a spark its event may begin: the two senses wait for each other."""
SOUND_WAIT_S = 10.0
WAITING_MB = 64
"""Memory of frames and sound that wait for the disk."""


@dataclass(frozen=True, slots=True)
class Caught:
    """A spark and the event folder it is in, if one was kept."""

    spotted: Spotted
    folder: Path | None


class Catching:
    """Watches the frames, hears the sound and keeps the events.

    Parameters
    ----------
    settings : Settings
        What to catch and how long before and after.
    info : SourceInfo
        The frames' format.
    sound : SoundSource, optional
        Not opened yet.
    folder : Path
        Where event folders go.
    calibration : callable
        The calibration at the moment.
    sound_needed : bool
        Somebody named the sound: without it there is nothing to be done.
    recorded_at : Recorded
        When the recording was made.

    Raises
    ------
    SoundUnavailable
        The sound is needed and cannot be read.
    """

    def __init__(
        self,
        settings: Settings,
        info: SourceInfo,
        sound: SoundSource | None,
        folder: Path,
        calibration: Callable[[], Calibration],
        *,
        sound_needed: bool = False,
        recorded_at: Recorded = UNKNOWN,
    ) -> None:
        self._settings = settings
        self._sound_needed = sound_needed
        self._info = info
        self._calibration = calibration
        self._disc: Disc | None = None
        self._recorded_at = recorded_at
        shortened = history_frames(settings, info)[1]
        self.warnings = [shortened] if shortened else []
        self._sound = sound
        self._sound_info = self._open_sound()
        self._sounds = SoundRing(settings.catch.pre_trigger_s + PAIRING_S)
        self._heard_s = float("-inf")
        self._catcher = Catcher(settings, info, sound=self._sound_info is not None)
        self._catcher.arm(learn=False)
        store = settings.store.model_copy(
            update={"ring_mb": WAITING_MB, "name": EVENT_NAME, "folder": str(folder)}
        )
        self._recorder = Recorder(store, when_full="wait")
        self._builder = EventBuilder(self._recorder, self._describe, self._sounds)
        self._begun = 0
        self._event_of: dict[Spotted, int] = {}
        self._sparks: list[Spotted] = []
        self._paused = self._anew_said = False
        self._last = -1
        self._last_s = 0.0

    def _open_sound(self) -> SoundInfo | None:
        """The sound's format; without sound flashes are caught alone, and it is said."""
        if self._sound is not None:
            try:
                return self._sound.open()
            except SoundUnavailable as error:
                self._sound = None
                if self._sound_needed:
                    raise
                if self._settings.catch.on in ("sound", "both"):
                    self.warnings.append(str(error))
        if self._settings.catch.on in ("sound", "both"):
            self.warnings.append(
                f"--catch {self._settings.catch.on} needs sound and there is none: nothing is "
                "caught; give --sound FILE or use --catch flash"
            )
        return None

    def set_disc(self, disc: Disc | None, ring: FrameRing) -> None:
        """Where the mirror is; far from where it was, the quiet is learnt anew."""
        self._disc = disc
        self._act(self._catcher.set_disc(disc), ring)

    def pause(self, paused: bool, ring: FrameRing) -> None:
        """Catch nothing while paused: the frames show hands at lamp and blade, not the air."""
        if paused != self._paused:
            self._paused = paused
            self._act(self._catcher.disarm() if paused else self._catcher.arm(learn=False), ring)

    def see(self, lease: RingLease, ring: FrameRing) -> None:
        """The next frame; its lease is taken over."""
        frame = lease.frame
        self._hear_until(frame.time_s + SOUND_AHEAD_S, ring)
        self._last, self._last_s = lease.sequence, frame.time_s
        actions = self._catcher.see(frame)
        self._say_if_anew(frame.time_s)
        self._note(actions)
        self._builder.frame(lease, actions, ring)
        self._builder.tick(frame.time_s)

    def _say_if_anew(self, time_s: float) -> None:
        if self._catcher.anew and not self._anew_said:
            self._anew_said = True
            self.warnings.append(
                f"{self._catcher.anew} at {time_s:.2f} s: the quiet was learnt anew from there for "
                f"{self._settings.catch.learn_s:g} s, in which flashes may be missed"
            )

    def _hear_until(self, time_s: float, ring: FrameRing) -> None:
        while self._sound is not None and self._heard_s < time_s:
            try:
                block = self._sound.read(SOUND_WAIT_S)
            except LiveviewError as error:
                self.warnings.append(f"the sound ends at {self._heard_s:.3f} s: {error}")
                block = None
            if block is None:
                self._close_sound()
                return
            self._hear(block, ring)

    def _hear(self, block: SoundBlock, ring: FrameRing) -> None:
        self._heard_s = block_end_s(block)
        self._sounds.add(block)
        actions = self._catcher.hear(block)
        self._builder.sound(self._sounds.count - 1, block)
        self._act(actions, ring)

    def _close_sound(self) -> None:
        if self._sound is not None:
            self._sound.close()
            self._sound = None

    def _act(self, actions: tuple[Action, ...], ring: FrameRing) -> None:
        self._note(actions)
        for action in actions:
            self._builder.act(action, ring, self._last, self._last_s)
        self._builder.tick(self._last_s)

    def _note(self, actions: tuple[Action, ...]) -> None:
        for action in actions:
            if isinstance(action, Begin):
                self._begun += 1
            if isinstance(action, Begin | Mark):
                self._event_of[action.spotted] = self._begun - 1
        self._sparks += self._catcher.new_spots()

    def _describe(self, spotted: Spotted) -> EventStart:
        return EventStart(
            cause=spotted.cause,
            spotted=spotted,
            source=self._info,
            sound=self._sound_info,
            calibration=self._calibration(),
            settings=self._settings.to_mapping(),
            disc=self._disc,
            started_at=self._recorded_at.at(spotted.time_s, "milliseconds"),
            wall_minus_session_s=0.0,
        )

    def finish(self, ring: FrameRing) -> list[Caught]:
        """Nothing more will come: decide what was held back and wait for the files."""
        self._act(self._catcher.flush(), ring)
        self._builder.close()
        self._recorder.drain()
        self.warnings += self._recorder.status().words
        paths = [event.path for event in self._recorder.events]
        found = []
        for spotted in sorted(self._sparks, key=lambda s: s.time_s):
            index = self._event_of.get(spotted)
            there = index is not None and index < len(paths)
            found.append(Caught(spotted, paths[index] if there and index is not None else None))
        return found

    def close(self) -> None:
        """End the threads; harmless when called twice."""
        self._close_sound()
        self._builder.close()
        self._recorder.close()


def history_frames(settings: Settings, info: SourceInfo) -> tuple[int, str]:
    """Frames kept from before a spark, and words when memory allows fewer than asked for."""
    frame = max(1, frame_bytes(info))
    before_s = settings.catch.pre_trigger_s + PAIRING_S
    wanted = round(before_s * (info.rate_hz or 60.0)) + 1
    allowed = max(1, settings.store.ring_mb * 1_000_000 // frame)
    if wanted <= allowed:
        return wanted, ""
    return allowed, (
        f"memory (store.ring_mb = {settings.store.ring_mb}) holds {allowed} frames before a spark, "
        f"fewer than the {wanted} asked for"
    )


def frame_bytes(info: SourceInfo) -> int:
    """Memory of one frame."""
    return info.width * info.height * info.channels * info.dtype.itemsize


def ring_megabytes(settings: Settings, info: SourceInfo, ahead: int) -> float:
    """Memory that the ring needs so that the reader always finds a free slot.

    For frames read ahead, those that wait for the disk, and the history before a spark.
    """
    slots = ahead + 6
    if settings.catch.on != "off":
        slots += history_frames(settings, info)[0] + WAITING_MB * 1_000_000 // frame_bytes(info) + 1
    return (slots + 0.5) * frame_bytes(info) / 1e6
