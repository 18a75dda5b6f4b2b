"""The program as a process of its own, from its first picture to its end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

PROGRAM = [sys.executable, "-m", "liveview"]


def environment(**changes: str | None) -> dict[str, str]:
    """This environment with changes; None takes a variable away."""
    env = {**os.environ, **{k: v for k, v in changes.items() if v is not None}}
    for name, value in changes.items():
        if value is None:
            env.pop(name, None)
    return env


def show_and_end(
    *arguments: str, env: Mapping[str, str], seen: Path, how: signal.Signals = signal.SIGTERM
) -> tuple[int, str]:
    """Start the window, wait for its first picture, end it; exit code and what it complained of.

    Parameters
    ----------
    arguments : str
        Of the command line.
    env : mapping
        Environment.
    seen : Path
        A file that does not exist: the program writes it with its first picture.
    how : signal
        How it is asked to end.
    """
    process = subprocess.Popen(
        [*PROGRAM, *arguments],
        env={**env, "LIVEVIEW_FIRST_PICTURE": str(seen)},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        end = time.monotonic() + 40
        while not seen.exists():
            assert process.poll() is None, process.communicate()[1]
            assert time.monotonic() < end, "no picture"
            time.sleep(0.05)
        process.send_signal(how)
        _, errors = process.communicate(timeout=15)
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
    return process.returncode, errors
