"""The sound thread: it owns the microphone (or the sound track) and fills the sound ring."""

from __future__ import annotations

import threading
from collections.abc import Callable

from liveview.engine.board import Board
from liveview.engine.soundring import SoundRing
from liveview.errors import InputUnreadable, SoundUnavailable
from liveview.model import SoundInfo, SoundSource

READ_TIMEOUT_S = 2.0
FIRST_RETRY_S = 1.0
LONGEST_RETRY_S = 8.0


class Listen:
    """Body of the sound thread. Without sound the session goes on, and says so.

    ::

        opening --> listening --end of a track--> (returns)
         ^  |           |
         |  |           '--lost--> waits, longer and longer --> opening
         |  '--cannot be had, or not wanted--> rests
         '-----------------------reopen----------'

    Parameters
    ----------
    make : callable
        Makes a new, unopened source.
    ring : SoundRing
        Where the blocks go.
    board : Board
        Where words go, topic ``"sound"``.
    wanted : callable, optional
        Whether sound is wanted at present; asked before it is opened.
    """

    def __init__(
        self,
        make: Callable[[], SoundSource],
        ring: SoundRing,
        board: Board,
        wanted: Callable[[], bool] = lambda: True,
    ) -> None:
        self._make = make
        self._ring = ring
        self._board = board
        self._wanted = wanted
        self._info: SoundInfo | None = None
        self._heard: SoundInfo | None = None
        self._worked = False
        self._again = threading.Event()

    @property
    def info(self) -> SoundInfo | None:
        """What the open source says of itself; None while there is none."""
        return self._info

    @property
    def heard(self) -> SoundInfo | None:
        """What the source of the newest blocks said of itself, open or not; None before one."""
        return self._heard

    def reopen(self) -> None:
        """Close the source and open a new one, as the settings want it now."""
        self._worked = False
        self._again.set()

    def wake(self) -> None:
        """End a rest."""
        self._again.set()

    def __call__(self, stop: threading.Event) -> None:
        """Run until ``stop`` or the end of a track."""
        wait_s = FIRST_RETRY_S
        while not stop.is_set():
            self._again.clear()
            if stop.is_set():
                return
            if not self._wanted():
                self._board.say("sound", "")
                self._again.wait()
                continue
            heard = self._ring.count
            try:
                if self._run_source(stop):
                    return
            except (SoundUnavailable, InputUnreadable) as error:
                if not self._worked:
                    self._board.say("sound", f"no sound: {error}")
                    self._again.wait()
                    continue
                self._board.say("sound", f"no sound: {error.what}: trying again")
                wait_s = FIRST_RETRY_S if self._ring.count > heard else wait_s
                self._again.wait(wait_s)
                wait_s = min(2.0 * wait_s, LONGEST_RETRY_S)

    def _run_source(self, stop: threading.Event) -> bool:
        """One life of a source; True when there is nothing more to come."""
        source = self._make()
        try:
            self._info = self._heard = source.open()
            self._worked = True
            while not (stop.is_set() or self._again.is_set()):
                block = source.read(READ_TIMEOUT_S)
                if block is None:
                    return True
                self._board.say("sound", "")
                self._ring.add(block)
            return False
        finally:
            self._info = None
            source.close()
