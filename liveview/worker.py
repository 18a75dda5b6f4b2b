"""The one way to own a thread: start, ask to stop, join, raise if alive, hand its error over."""

from __future__ import annotations

import threading
from collections.abc import Callable

from liveview.errors import WorkerStuck


class Worker:
    """Owns one thread that runs ``body(stop)`` until it returns or ``stop`` is set.

    ::

        new --start()--> running --body returns--> finished   (error is None)
                            |  '---body raises---> finished   (error carries it)
                            '--stop()--> stop event set, joined, else WorkerStuck

    ``on_finish`` is called exactly once, from the thread, whatever happened; it must not raise.

    Parameters
    ----------
    name : str
        Name of the thread, shown in messages.
    body : callable
        Receives the stop event. Waiting inside must end when the event is set; ``wake`` is
        called after it is set so that a body blocked on a condition can be woken.
    on_finish : callable, optional
        Receives the exception that ended the body, or None.
    wake : callable, optional
        Called by ``ask_stop`` after the event is set.
    """

    def __init__(
        self,
        name: str,
        body: Callable[[threading.Event], None],
        *,
        on_finish: Callable[[BaseException | None], None] | None = None,
        wake: Callable[[], None] | None = None,
    ) -> None:
        self._body = body
        self._on_finish = on_finish
        self._wake = wake
        self._stop = threading.Event()
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    @property
    def name(self) -> str:
        """Name of the thread."""
        return self._thread.name

    @property
    def alive(self) -> bool:
        """True while the thread runs."""
        return self._thread.is_alive()

    @property
    def error(self) -> BaseException | None:
        """The exception that ended the body, None while running or after a clean end."""
        return self._error

    def start(self) -> None:
        """Start the thread; once only."""
        self._thread.start()

    def ask_stop(self) -> None:
        """Set the stop event and wake the body; does not wait."""
        self._stop.set()
        if self._wake is not None:
            self._wake()

    def join(self, timeout_s: float) -> None:
        """Wait for the end.

        Raises
        ------
        WorkerStuck
            The thread is still alive after ``timeout_s`` seconds.
        """
        if self._thread.ident is None:
            return
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            raise WorkerStuck(
                f"did not end within {timeout_s:g} s",
                f"thread '{self.name}'",
                "a driver may be stuck; the rest goes on, restart the program to free it",
            )

    def stop(self, timeout_s: float = 2.0) -> None:
        """``ask_stop`` and ``join``."""
        self.ask_stop()
        self.join(timeout_s)

    def raise_error(self) -> None:
        """Raise here what ended the body there, if anything did."""
        if self._error is not None:
            raise self._error

    def _run(self) -> None:
        try:
            self._body(self._stop)
        except BaseException as error:  # noqa: BLE001 - handed over whole, see raise_error
            self._error = error
        finally:
            if self._on_finish is not None:
                self._on_finish(self._error)
