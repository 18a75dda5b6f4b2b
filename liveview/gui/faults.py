"""Faults of the program itself: their traces go into a file, words say where it is."""

from __future__ import annotations

import traceback
from datetime import datetime
from pathlib import Path

import platformdirs


def keep_trace(error: BaseException) -> str:
    """Write the trace into the user's log folder; words about where, or why it cannot be."""
    path = Path(platformdirs.user_log_dir("liveview")) / "faults.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{datetime.now().astimezone().isoformat(timespec='seconds')}\n")
            traceback.print_exception(error, file=file)
    except OSError as fault:
        return f"; the details could not be kept ({fault.strerror})"
    return f"; details in {path}"
