"""What a crash left: found at the next start, finished, marked incomplete. Nothing overwritten."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from liveview.errors import LiveviewError
from liveview.recorder.convert import LOCK, finish_part
from liveview.recorder.files import PART_SUFFIX, Lock, fault_words
from liveview.recorder.spool import SPOOL

_GROWING = ("frames.raw", "sound.raw")


@dataclass(frozen=True, slots=True)
class Recovered:
    """What became of one leftover: ``path`` is the finished event, None when ``words`` say why.

    ``passing`` words ask nothing of anybody: they may go after a while.
    """

    part: Path
    path: Path | None
    words: str = ""
    passing: bool = False


def leftovers(folder: Path) -> list[Path]:
    """Unfinished events in ``folder``, oldest name first; those of others are not touched."""
    try:
        return sorted(
            entry
            for entry in folder.iterdir()
            if entry.name.endswith(PART_SUFFIX)
            and entry.is_dir()
            and not entry.is_symlink()
            and _is_ours(entry)
        )
    except OSError:
        return []


def _is_ours(entry: Path) -> bool:
    if (entry / SPOOL).is_dir() or (entry / "event.json").is_file():
        return True
    return all(inside.name == LOCK for inside in entry.iterdir())  # just made, or empty


def holds_nothing(part: Path) -> bool:
    """True when a crash came before the first pixel or sample and nobody holds the folder."""
    if (part / "event.json").exists():
        return False
    sizes = [(part / SPOOL / name) for name in _GROWING]
    return all(not path.exists() or path.stat().st_size == 0 for path in sizes)


def recover_part(part: Path, finish: Callable[[Path], Path] = finish_part) -> Recovered:
    """Finish one leftover; never raises for what may be wrong with it."""
    try:
        lock = Lock(part / LOCK)
        empty = holds_nothing(part)
        lock.release()
        if empty:
            shutil.rmtree(part)
            return Recovered(part, None, f"{part.name} held nothing and was removed", passing=True)
        return Recovered(part, finish(part))
    except BlockingIOError:
        return Recovered(part, None, f"{part.name} is in use by another program")
    except LiveviewError as error:
        return Recovered(part, None, f"{part.name} kept as it is: {error}")
    except OSError as error:
        return Recovered(part, None, f"{part.name} kept as it is: {fault_words(error, 0)}")
    except Exception as error:  # noqa: BLE001 - one strange leftover must not stop the others
        return Recovered(part, None, f"{part.name} kept as it is: damaged ({error!r})")


def recover(folder: Path) -> tuple[Recovered, ...]:
    """Finish all that was left unfinished in ``folder``.

    Safe to call at any time and any number of times: what another program (or a running event)
    holds is left alone, nothing that exists is overwritten, a spool is deleted only after its
    frames were read back bit for bit.

    Parameters
    ----------
    folder : Path
        Folder of events; a missing one holds nothing.

    Returns
    -------
    tuple of Recovered
        One for each leftover. Events cut short have ``complete: false`` in their ``event.json``.
    """
    return tuple(recover_part(part) for part in leftovers(folder))
