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

    A microphone that disappears is tried again, after longer and longer waits; a sound that could
    never be opened is not.

    Parameters
    ----------
    make : callable
        Makes a new, unopened source.
    ring : SoundRing
        Where the blocks go.
    board : Board
        Where words go, topic ``"sound"``.
    """

    def __init__(self, make: Callable[[], SoundSource], ring: SoundRing, board: Board) -> None:
        self._make = make
        self._ring = ring
        self._board = board
        self._info: SoundInfo | None = None
        self._worked = False

    @property
    def info(self) -> SoundInfo | None:
        """What the open source says of itself; None while there is none."""
        return self._info

    def __call__(self, stop: threading.Event) -> None:
        """Run until ``stop``, the end of the sound, or a sound that cannot be had."""
        wait_s = FIRST_RETRY_S
        while not stop.is_set():
            heard = self._ring.count
            try:
                self._run_source(stop)
                return
            except (SoundUnavailable, InputUnreadable) as error:
                self._info = None
                if not self._worked:
                    self._board.say("sound", f"no sound: {error}")
                    return
                self._board.say("sound", f"no sound: {error.what}: trying again")
                wait_s = FIRST_RETRY_S if self._ring.count > heard else wait_s
                stop.wait(wait_s)
                wait_s = min(2.0 * wait_s, LONGEST_RETRY_S)

    def _run_source(self, stop: threading.Event) -> None:
        source = self._make()
        try:
            self._info = source.open()
            self._worked = True
            while not stop.is_set():
                block = source.read(READ_TIMEOUT_S)
                if block is None:
                    break
                self._board.say("sound", "")
                self._ring.add(block)
        finally:
            source.close()
        self._info = None
