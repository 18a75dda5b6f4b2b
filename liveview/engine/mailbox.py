"""The newest value of something, for readers that must never wait for the writer."""

from __future__ import annotations

import threading
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Mailbox(Generic[Value]):
    """Holds the newest value only; an unread older one is replaced and counted.

    Any number of readers may look; ``get`` does not take the value away.
    """

    def __init__(self) -> None:
        self._condition = threading.Condition()
        self._value: Value | None = None
        self._count = 0
        self._seen = True
        self._replaced = 0

    @property
    def replaced(self) -> int:
        """Values that nobody looked at before the next one came."""
        return self._replaced

    @property
    def count(self) -> int:
        """Values put in so far."""
        return self._count

    def put(self, value: Value) -> None:
        """Make ``value`` the newest."""
        with self._condition:
            if not self._seen:
                self._replaced += 1
            self._value, self._seen = value, False
            self._count += 1
            self._condition.notify_all()

    def get(self) -> Value | None:
        """The newest value, None before the first."""
        with self._condition:
            self._seen = True
            return self._value

    def wait(self, seen: int, timeout_s: float) -> Value | None:
        """The newest value once more than ``seen`` were put in; None when the time is over."""
        with self._condition:
            if not self._condition.wait_for(lambda: self._count > seen, timeout_s):
                return None
            self._seen = True
            return self._value
