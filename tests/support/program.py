"""The program as a process of its own, from its first picture to its end."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

PROGRAM = [sys.executable, "-m", "liveview"]


def environment(**changes: str | None) -> dict[str, str]:
    """This environment with changes; None takes a variable away."""
    env = {**os.environ, **{k: v for k, v in changes.items() if v is not None}}
    for name, value in changes.items():
        if value is None:
            env.pop(name, None)
    return env


@contextlib.contextmanager
def running(*arguments: str, env: Mapping[str, str] | None = None) -> Iterator[subprocess.Popen]:
    """The program with these arguments, its complaints in a pipe; ended and closed afterwards.

    Ctrl-C reaches it even when a shell started the tests in the background: such a shell has
    SIGINT ignored, which children inherit; a handler they do not, they start with the default.
    """
    before = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        process = subprocess.Popen(
            [*PROGRAM, *arguments], env=env, stderr=subprocess.PIPE, text=True
        )
    finally:
        signal.signal(signal.SIGINT, before)
    with process:  # closes the pipe and waits
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()


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
    with running(*arguments, env={**env, "LIVEVIEW_FIRST_PICTURE": str(seen)}) as process:
        end = time.monotonic() + 40
        while not seen.exists():
            assert process.poll() is None, process.communicate()[1]
            assert time.monotonic() < end, "no picture"
            time.sleep(0.05)
        process.send_signal(how)
        _, errors = process.communicate(timeout=15)
    return process.returncode, errors
