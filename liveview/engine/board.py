"""What the threads have to say, gathered for the screen."""

from __future__ import annotations

import threading

from liveview.model import SessionState


class Board:
    """State and words of the session: threads write, the window's snapshot reads.

    Words are kept by topic (``"source"``, ``"sound"``, ...), the newest replaces the older one of
    the same topic, so that the screen never fills up with repetitions.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = SessionState.STOPPED
        self._words: dict[str, str] = {}

    @property
    def state(self) -> SessionState:
        """Where the session stands."""
        return self._state

    def enter(self, state: SessionState, words: str | None = None) -> None:
        """Change the state; ``words`` replace (or with an empty text clear) the source's words."""
        with self._lock:
            self._state = state
        if words is not None:
            self.say("source", words)

    def say(self, topic: str, words: str) -> None:
        """Show ``words`` under ``topic``; empty words clear it."""
        with self._lock:
            self._words.pop(topic, None)
            if words:
                self._words[topic] = words

    def words(self) -> tuple[str, ...]:
        """Everything said, oldest first."""
        with self._lock:
            return tuple(self._words.values())
