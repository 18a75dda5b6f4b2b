"""The output folder of ``process``: one run at a time, and what an earlier one left in it."""

from __future__ import annotations

import contextlib
import re
import shutil
from collections.abc import Iterable, Iterator
from itertools import count
from pathlib import Path

from liveview.commands.processing.outputs import make_folder, writing
from liveview.errors import OutputFailed
from liveview.model import Cause
from liveview.recorder import is_event
from liveview.recorder.files import PART_SUFFIX, Lock

REPORT = "report.json"
GROWING = ("frames.csv", "contrast.npy", "picture.mkv")
"""Files that grow with the frames."""
EVENTS = "events"
EVENT_NAME = "{number}_{cause}"
"""Pattern of the names of its events."""

_LOCK = ".liveview-lock"
_OURS = re.compile(
    rf"\d{{4,}}_({'|'.join(cause.value for cause in Cause)})(_\d+)?({re.escape(PART_SUFFIX)})?"
)


@contextlib.contextmanager
def held(folder: Path) -> Iterator[None]:
    """Make the folder and keep every other run out of it.

    Raises
    ------
    OutputFailed
        It cannot be written, or another run writes into it at this moment.
    """
    make_folder(folder)
    path = folder / _LOCK
    try:
        with writing(folder):
            lock = Lock(path)
    except OutputFailed as error:
        if isinstance(error.__cause__, BlockingIOError):
            raise OutputFailed(
                "another 'liveview process' writes into it", str(folder), "give another folder"
            ) from error
        raise
    try:
        yield
    finally:
        lock.release()
        with contextlib.suppress(OSError):  # empty, and ours: the next run makes it again
            path.unlink(missing_ok=True)


def earlier_events(folder: Path) -> list[Path]:
    """Event folders that an earlier run left, finished or not, by name."""
    try:
        found = sorted((folder / EVENTS).iterdir())
    except OSError:
        return []
    return [path for path in found if _OURS.fullmatch(path.name) and is_event(path)]


def clear(folder: Path, inputs: Iterable[str], *, overwrite: bool) -> tuple[str, ...]:
    """Take away what an earlier run wrote, so that everything in the folder is of one run.

    Report, table and pictures are made again from the recording at any time; events are
    recordings: they are set aside, or removed with ``overwrite``. Nothing that somebody else
    wrote is removed.

    Parameters
    ----------
    folder : Path
    inputs : iterable of str
        What is to be read, none of which may go.
    overwrite : bool

    Returns
    -------
    tuple of str
        Words about what was set aside.

    Raises
    ------
    OutputFailed
        An input would go, or the system refuses.
    """
    events = earlier_events(folder)
    files = [folder / name for name in (REPORT, *GROWING)]
    # The whole folder of events is set aside, whoever put them there.
    going = events if overwrite else [folder / EVENTS] if events else []
    for name in inputs:
        if any(_lies_in(name, place) for place in (*files, *going)):
            raise OutputFailed(
                f"'{name}' lies in it and would be replaced", str(folder), "give another folder"
            )
    for file in files:
        with writing(file):
            file.unlink(missing_ok=True)
    if not overwrite:
        return (_set_aside(folder / EVENTS),) if events else ()
    for event in events:
        with writing(event):
            shutil.rmtree(event)
    return ()


def _set_aside(events: Path) -> str:
    """Give the folder of an earlier run's events another name; says which."""
    with writing(events):
        for number in count(1):
            other = events.with_name(f"{events.name}-earlier-{number}")
            if not other.exists():
                events.rename(other)
                break
    return f"the events of an earlier run in this folder are in {other.name} now"


def _lies_in(name: str, place: Path) -> bool:
    path = Path(name).expanduser()
    try:
        return path.exists() and path.resolve().is_relative_to(place.resolve())
    except OSError:
        return False
