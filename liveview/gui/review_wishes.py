"""A thread that serves the newest wish only and tells news that the window pulls on a timer.

::

    window --ask(wish)--> newest wish --> thread: serve --tell(news)--> bounded --take()--> window
                          (an older one that waits is replaced)         (oldest are dropped)
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Generic, TypeVar

from liveview.worker import Worker

Wish = TypeVar("Wish")
News = TypeVar("News")


class Wishes(Generic[Wish, News]):
    """Owns the thread; it starts with the first wish.

    Parameters
    ----------
    name : str
        Of the thread.
    serve : callable (wish)
        Runs in the thread.
    let_go : callable
        Runs in the thread when it is asked to let go of files, and at its end.
    most_news : int
        What is told beyond these drops the oldest.
    """

    def __init__(
        self,
        name: str,
        serve: Callable[[Wish], None],
        let_go: Callable[[], None] = lambda: None,
        *,
        most_news: int = 64,
    ) -> None:
        self._serve, self._let_go = serve, let_go
        self._condition = threading.Condition()
        self._wish: Wish | None = None
        self._news: deque[News] = deque(maxlen=most_news)
        self._busy = self._letting_go = self._stopping = self._started = False
        self._worker = Worker(name, self._run, wake=self._wake)

    def ask(self, wish: Wish, *, outdates: Callable[[News], bool] = lambda news: False) -> None:
        """Make this the newest wish; news that it outdates and nobody has taken is dropped."""
        with self._condition:
            self._wish = wish
            kept = [news for news in self._news if not outdates(news)]
            self._news = deque(kept, self._news.maxlen)
            self._condition.notify_all()
        if not self._started:
            self._started = True
            self._worker.start()

    def let_go(self) -> None:
        """Drop the wish that waits, and let go of what is open."""
        with self._condition:
            self._wish, self._letting_go = None, True
            self._condition.notify_all()

    def take(self) -> list[News]:
        """What has come since the last time, oldest first."""
        with self._condition:
            found = list(self._news)
            self._news.clear()
            return found

    @property
    def busy(self) -> bool:
        """True while something is being done or news has not been taken."""
        with self._condition:
            return self._busy or self._wish is not None or bool(self._news)

    def stop(self, timeout_s: float) -> None:
        """End the thread. Raises WorkerStuck."""
        if self._started:
            self._worker.stop(timeout_s)
            self._worker.raise_error()

    # For the thread.

    @property
    def overtaken(self) -> bool:
        """True when a newer wish waits, or the thread is to end: leave off."""
        return self._wish is not None or self._stopping

    def tell(self, news: News, *, unless_overtaken: bool = False) -> None:
        """Hand news to the window."""
        with self._condition:
            if not (unless_overtaken and self._wish is not None):
                self._news.append(news)

    def _wake(self) -> None:
        with self._condition:
            self._stopping = True
            self._condition.notify_all()

    def _run(self, stop: threading.Event) -> None:
        try:
            while not stop.is_set():
                with self._condition:
                    self._busy = False
                    self._condition.wait_for(
                        lambda: self._wish is not None or self._letting_go or stop.is_set()
                    )
                    letting_go, self._letting_go = self._letting_go, False
                    wish, self._wish = self._wish, None
                    self._busy = wish is not None or letting_go
                if letting_go:
                    self._let_go()
                if wish is not None:
                    self._serve(wish)
        finally:
            self._let_go()
