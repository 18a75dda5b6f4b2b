"""The last spark once more, slowly: from the memory while it is there, else from the disk.

::

    idle --start--> making ready --first picture--> playing --end, or told to--> idle
                         '----- nothing to show -----'

From the memory it begins as soon as the frames after the spark are there: nothing has to be
written first. The frames are copied, and enhanced a few ahead in a thread of their own.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Protocol

from liveview.engine.chain import Chain
from liveview.gui.review_reader import Sight
from liveview.gui.review_replay import Replay
from liveview.model import Calibration, Disc, Frame, Reading, SourceInfo
from liveview.review.player import Player
from liveview.settings import Settings
from liveview.worker import Worker

LEAD_S = 0.3
"""Frames so long before the stretch serve as background where there is no reference."""

AHEAD = 4
"""Pictures that are kept ready."""

HOLD_S = 1.0
"""The last picture stays so long."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is to be replayed, seconds on the session's clock."""

    spark_s: float
    before_s: float
    after_s: float
    rate: Fraction


@dataclass(frozen=True, slots=True)
class Manner:
    """How its frames are enhanced: as they were live."""

    settings: Settings
    info: SourceInfo
    calibration: Calibration
    disc: Disc | None


class Tape(Protocol):
    """A slow replay under way."""

    @property
    def shown(self) -> tuple[Reading, Frame | None] | None:
        """The picture of the moment, and its frame where it is at hand; None: not yet."""

    @property
    def over(self) -> bool:
        """It has come to its end, or cannot be shown."""

    @property
    def fault(self) -> str:
        """Why it cannot be shown, empty when it can."""

    def advance(self, seconds: float) -> None:
        """So much of the viewers' time has gone by."""

    def finish(self, timeout_s: float) -> None:
        """Let go of everything. Raises WorkerStuck."""


class MemoryTape:
    """A replay from frames that ``fetch`` copies out of the memory.

    Parameters
    ----------
    fetch : callable
        Frames from one time to another, oldest first; called in the thread.
    stretch : Stretch
    manner : Manner
    """

    def __init__(
        self,
        fetch: Callable[[float, float], tuple[Frame, ...]],
        stretch: Stretch,
        manner: Manner,
    ) -> None:
        self._fetch = fetch
        self._stretch = stretch
        self._manner = manner
        self._condition = threading.Condition()
        self._ready: dict[int, tuple[Reading, Frame]] = {}
        self._player: Player | None = None
        self._at = 0
        self._rest_s = HOLD_S
        self._fault = ""
        self._worker = Worker("slow replay", self._run, wake=self._wake)
        self._worker.start()

    @property
    def shown(self) -> tuple[Reading, Frame | None] | None:
        """See :class:`Tape`."""
        with self._condition:
            there = [index for index in self._ready if index <= self._at]
            return self._ready[max(there)] if there else None

    @property
    def over(self) -> bool:
        """See :class:`Tape`."""
        if self._fault or self._worker.error is not None:
            return True
        return self._player is not None and not self._player.playing and self._rest_s <= 0

    @property
    def fault(self) -> str:
        """See :class:`Tape`."""
        error = self._worker.error
        return self._fault or ("" if error is None else f"The replay stopped: {error}")

    def advance(self, seconds: float) -> None:
        """See :class:`Tape`; the time stands still while the picture is not ready."""
        with self._condition:
            player = self._player
            if player is None or player.index not in self._ready:
                return
            if not player.playing:
                self._rest_s -= seconds
                return
            self._player = player.advance(seconds)
            self._at = self._player.index
            for index in [k for k in self._ready if k < self._at - 1]:
                del self._ready[index]
            self._condition.notify_all()

    def finish(self, timeout_s: float) -> None:
        """See :class:`Tape`."""
        self._worker.stop(timeout_s)

    def _wake(self) -> None:
        with self._condition:
            self._condition.notify_all()

    def _run(self, stop: threading.Event) -> None:
        stretch = self._stretch
        since = stretch.spark_s - stretch.before_s
        bare = self._manner.calibration.reference is None
        frames = self._fetch(since - (LEAD_S if bare else 0.0), stretch.spark_s + stretch.after_s)
        shown = [frame for frame in frames if frame.time_s >= since]
        if len(shown) < 2:
            self._fault = "The memory no longer holds that spark."
            return
        chain = self._chain()
        for frame in frames[: len(frames) - len(shown)]:
            chain.run(frame)
        player = Player.of([frame.time_s for frame in shown])
        with self._condition:
            self._player = replace(player, rate=stretch.rate).play()
        for index, frame in enumerate(shown):
            if not self._room_for(index, stop):
                return
            reading = chain.run(frame)
            with self._condition:
                own = replace(reading, picture=reading.picture.copy())
                self._ready[index] = (own, frame)

    def _chain(self) -> Chain:
        manner = self._manner
        chain = Chain(manner.settings, replace(manner.info, live=False))
        chain.set_calibration(manner.calibration)
        chain.set_disc(manner.disc)
        return chain

    def _room_for(self, index: int, stop: threading.Event) -> bool:
        """Wait until picture ``index`` is needed; False when it never will be."""
        with self._condition:
            self._condition.wait_for(lambda: stop.is_set() or index <= self._at + AHEAD)
        return not stop.is_set()


class EventTape:
    """A replay of an event on the disk, from a while before its spark."""

    def __init__(self, path: Path, stretch: Stretch, sight: Sight) -> None:
        self._stretch = stretch
        self._started = self._ready = False
        self._rest_s = HOLD_S
        self._replay = Replay(lambda: None)
        self._replay.rate = stretch.rate
        self._replay.sight = sight
        self._replay.open(path)

    @property
    def shown(self) -> tuple[Reading, Frame | None] | None:
        """See :class:`Tape`."""
        there = self._replay.shown
        return None if there is None or not self._ready else (there.reading, None)

    @property
    def over(self) -> bool:
        """See :class:`Tape`."""
        return bool(self.fault) or (self._started and self._rest_s <= 0)

    @property
    def fault(self) -> str:
        """See :class:`Tape`."""
        return self._replay.fault

    def advance(self, seconds: float) -> None:
        """See :class:`Tape`."""
        replay = self._replay
        replay.poll()
        if replay.player is None or replay.facts is None:
            return
        if not self._started:
            self._begin(replay)
        elif not replay.waiting:
            self._ready = True  # until then the frame is there that came with the opening
            if replay.playing:
                replay.advance(seconds)
            else:
                self._rest_s -= seconds

    def _begin(self, replay: Replay) -> None:
        assert replay.player is not None and replay.facts is not None
        spark_s = replay.facts.start.spotted.time_s
        first = replay.player.seek_time(spark_s - self._stretch.before_s).index
        last = replay.player.seek_time(spark_s + self._stretch.after_s).index
        replay.player = replay.player.between(first, max(first, last))
        replay.seek(first)
        replay.toggle_play()
        self._started = True

    def finish(self, timeout_s: float) -> None:
        """See :class:`Tape`."""
        self._replay.reader.stop(timeout_s)


def newest_event(folder: str | None, newest: str | None) -> Path | None:
    """The newest event of the recorder, None without one."""
    if newest is None:
        return None
    path = Path(newest)
    return path if path.is_absolute() or folder is None else Path(folder) / path


def manner_of(
    settings: Settings, info: SourceInfo, calibration: Calibration, reading: Reading | None
) -> Manner:
    """As the picture is enhanced now, its gain held: a flash must not turn it down.

    Raises
    ------
    LiveviewError
        The settings cannot be used.
    """
    disc = None
    if reading is not None:
        disc = reading.disc
        if settings.enhance.gain_contrast is None and reading.unit == "contrast" and reading.scale:
            gain = min(max(reading.scale, 1e-4), 10.0)
            settings = settings.replaced("enhance", gain_contrast=gain)
    return Manner(settings, info, calibration, disc)
