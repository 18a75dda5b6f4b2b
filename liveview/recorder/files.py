"""Small tools for files that must survive: whole-or-nothing writes, locks, room on the disk."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import IO, Any

MEGABYTE = 1_000_000
PART_SUFFIX = ".part"
"""Ending of an event folder's name while it is not finished."""


def sync_file(file: IO[bytes]) -> None:
    """Ask the system to put a file's data on the disk now."""
    os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Make new and renamed entries of a folder lasting, where the system can (not on Windows)."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file that is either the old one or the new one, never half of it."""
    partial = path.with_name(path.name + ".new")
    with partial.open("wb") as file:
        file.write(data)
        file.flush()
        sync_file(file)
    partial.replace(path)


def write_json(path: Path, data: Mapping[str, Any]) -> None:
    """Write JSON whole; refuses values that JSON has no number for."""
    text = json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(path, (text + "\n").encode("utf-8"))


def write_at(file: IO[bytes], offset: int, data: memoryview) -> None:
    """Write all of ``data`` at ``offset`` of an unbuffered file.

    Raises
    ------
    OSError
        Disk full and the like; what stands before ``offset`` is untouched.
    """
    file.seek(offset)
    done = 0
    while done < len(data):
        written = file.write(data[done:])
        if not written:
            raise OSError(errno.EIO, "the system wrote nothing")
        done += written


class Lock:
    """A hold on a folder that ends with the process, however it ends.

    A second program that looks for leftovers leaves a held folder alone. On file systems
    without locks the folder counts as free.
    """

    def __init__(self, path: Path) -> None:
        self._file: IO[bytes] | None = None
        file = path.open("ab")
        try:
            _lock(file)
        except BlockingIOError:
            file.close()
            raise
        except OSError:
            file.close()
            return
        self._file = file

    def release(self) -> None:
        """Let go; harmless when called twice."""
        if self._file is not None:
            self._file.close()
            self._file = None


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            raise BlockingIOError(errno.EAGAIN, "held by another program") from error
        return
    import fcntl

    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


class Room:
    """Watches the free space of a disk so that a reserve is never used.

    Parameters
    ----------
    folder : Path
        Any folder on that disk.
    reserve_bytes : int
        Bytes that must stay free.
    clock : callable
        Seconds; the system is asked at most twice a second unless the known room is used up.
    """

    def __init__(
        self, folder: Path, reserve_bytes: int, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._folder = folder
        self._reserve = reserve_bytes
        self._clock = clock
        self._asked = -1e9
        self._left = 0

    def take(self, size: int) -> None:
        """Count on ``size`` more bytes.

        Raises
        ------
        OSError
            ENOSPC when the reserve would be touched; ENOENT when the folder is gone.
        """
        if size > self._left or self._clock() - self._asked > 0.5:
            self._left = shutil.disk_usage(self._folder).free - self._reserve
            self._asked = self._clock()
        if size > self._left:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(self._folder))
        self._left -= size


def free_bytes(folder: Path) -> int | None:
    """Free space of the disk a folder is (or will be) on; None where it cannot be told."""
    for place in (folder, *folder.parents):
        with contextlib.suppress(OSError):
            return shutil.disk_usage(place).free
    return None


def fault_words(error: OSError, reserve_bytes: int) -> str:
    """What an error of the file system means to the person at the rig."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        kept = f" (a reserve of {reserve_bytes // MEGABYTE} MB is kept)" if reserve_bytes else ""
        return f"the disk is full{kept}"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "no permission to write there"
    if error.errno in (errno.ENOENT, errno.ESTALE, errno.ENODEV, errno.ENXIO):
        return "the folder has vanished"
    return f"cannot be written ({error.strerror or error})"


def lower_priority() -> None:
    """Let the calling thread (and those it starts) give way to all others, where possible."""
    if sys.platform == "linux":
        import threading

        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 15)
    elif sys.platform == "win32":
        import ctypes

        kernel = ctypes.windll.kernel32
        kernel.SetThreadPriority(kernel.GetCurrentThread(), -2)
