"""What every export has in common: progress, cancelling, no half file, errors in words."""

from __future__ import annotations

import contextlib
import os
import queue
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from liveview.errors import BadRequest, LiveviewError, OutputFailed
from liveview.worker import Worker

T = TypeVar("T")

Progress = Callable[[int, int], None]
"""Called with (done, total) as the work goes on."""


class Cancelled(LiveviewError):
    """The export was cancelled; nothing was left behind."""

    exit_code = 130


class Job:
    """One export: counts, tells, and stops when asked.

    Parameters
    ----------
    progress : callable, optional
        See :data:`Progress`.
    cancel : threading.Event, optional
        Set it to stop; the export raises :class:`Cancelled`.
    """

    def __init__(
        self, progress: Progress | None = None, cancel: threading.Event | None = None
    ) -> None:
        self._progress = progress
        self._cancel = cancel or threading.Event()
        self._done = 0
        self.total = 0

    def step(self, count: int = 1) -> None:
        """So much more is done.

        Raises
        ------
        Cancelled
            Somebody asked for it.
        """
        if self._cancel.is_set():
            raise Cancelled("export cancelled; nothing was written")
        self._done += count
        if self._progress is not None:
            self._progress(self._done, max(self.total, self._done))


@contextlib.contextmanager
def whole_file(path: Path, *, overwrite: bool = False) -> Iterator[Path]:
    """A name to write to that becomes ``path`` only when all went well.

    Raises
    ------
    BadRequest
        ``path`` exists and is not to be replaced.
    OutputFailed
        The folder cannot be written, or the disk is full.
    """
    with whole_files((path,), overwrite=overwrite) as parts:
        yield parts[0]


@contextlib.contextmanager
def whole_files(paths: Sequence[Path], *, overwrite: bool = False) -> Iterator[list[Path]]:
    """The same for files of one folder that belong together: all of them or none.

    Raises
    ------
    BadRequest, OutputFailed
        See :func:`whole_file`; a folder in the place of a file is never replaced.
    """
    for path in paths:
        if path.is_dir():
            raise BadRequest("is a folder", str(path), "choose another name")
        if path.exists() and not overwrite:
            raise BadRequest(
                "exists already", str(path), "choose another name or allow overwriting"
            )
    parts = [path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}") for path in paths]
    at, placed = paths[0], list[Path]()
    try:
        at.parent.mkdir(parents=True, exist_ok=True)
        yield parts
        for part in parts:
            with part.open("rb+") as file:
                os.fsync(file.fileno())
        for at, part in zip(paths, parts, strict=True):
            part.replace(at)
            placed.append(at)
    except OSError as error:
        parts += placed
        raise OutputFailed(
            f"cannot be written ({error.strerror or error})",
            str(at),
            "choose another folder or free some space",
        ) from error
    finally:
        for part in parts:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def ahead(items: Iterable[T], depth: int = 4) -> Generator[T, None, None]:
    """The same items, made by a thread that is at most ``depth`` ahead.

    An error over there is raised here; leaving early stops the thread.
    """
    ready: queue.Queue[tuple[T] | None] = queue.Queue(maxsize=depth)
    left = threading.Event()

    def put(item: tuple[T] | None) -> bool:
        while not left.is_set():
            try:
                ready.put(item, timeout=0.2)
            except queue.Full:
                continue
            return True
        return False

    def make(stop: threading.Event) -> None:
        try:
            for item in items:
                if stop.is_set() or not put((item,)):
                    return
        finally:
            put(None)

    worker = Worker("export reader", make, wake=left.set)
    worker.start()
    try:
        while (box := ready.get()) is not None:
            yield box[0]
        worker.raise_error()
    finally:
        worker.stop(10.0)
