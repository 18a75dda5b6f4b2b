"""Conversions in a process of their own, beside the program: the program's side.

A thread that gives way to all others is put aside by the system whenever there is other work, and
with it the interpreter's lock if it happens to hold that: the camera's thread then waits for the
least important one. A process has a lock of its own. It is started with the first conversion and
ends with the program, or when the program is killed, because its input ends then.

Orders and answers are one line of JSON each::

    {"part": "/events/NAME.part", "reserve_bytes": 500000000}
    {"path": "/events/NAME", "words": "", "passing": false}
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO

from liveview.recorder.recovery import Recovered

END_S = 2.0
"""So long the process may take to end once its input has ended; then it is killed."""


class Aside:
    """The process, seen from the program. ``recover`` is for one thread, ``end`` for any."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._ended = False
        self._lock = threading.Lock()

    def recover(self, part: Path, reserve_bytes: int) -> Recovered:
        """Finish one event, see :func:`recover_part`; waits for it.

        Parameters
        ----------
        part : Path
            The folder ``NAME.part``.
        reserve_bytes : int
            Disk space to leave free.

        Returns
        -------
        Recovered
            Without a path, too, when ``end`` came in between or the process died.

        Raises
        ------
        OSError
            The process cannot be started.
        """
        order = {"part": str(part), "reserve_bytes": reserve_bytes}
        with self._lock:
            if self._ended:
                return Recovered(part, None, f"{part.name} waits for the next start")
            process = self._running()
            answers = _pipe(process.stdout)
            with contextlib.suppress(BrokenPipeError):  # died before: the answer below is empty
                print(json.dumps(order), file=process.stdin, flush=True)
        line = answers.readline()
        if not line:
            return Recovered(part, None, f"{part.name} kept as it is: {self._how_it_died()}")
        answer = json.loads(line)
        path = None if answer["path"] is None else Path(answer["path"])
        return Recovered(part, path, answer["words"], answer["passing"])

    def end(self) -> None:
        """Stop after the current frame; does not wait. No conversion begins afterwards."""
        with self._lock:
            self._ended = True
            if self._process is not None:
                _close(self._process.stdin)

    def kill(self) -> None:
        """After ``end``: do not wait for the frame it is at; the spool is untouched by that."""
        with self._lock:
            if self._process is not None:
                self._process.kill()

    def join(self) -> None:
        """Wait for the process after ``end``; one that does not end is killed."""
        process, self._process = self._process, None
        if process is None:
            return
        try:
            process.wait(END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        _pipe(process.stdout).close()

    def _running(self) -> subprocess.Popen[str]:
        if self._process is None:
            here = str(Path(__file__).parents[2])
            others = os.environ.get("PYTHONPATH")
            self._process = subprocess.Popen(
                [sys.executable, "-m", "liveview.recorder.aside_process"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                encoding="ascii",
                env={**os.environ, "PYTHONPATH": f"{here}{os.pathsep}{others}" if others else here},
            )
        return self._process

    def _how_it_died(self) -> str:
        with self._lock:
            if self._ended:
                return "the program ended"
            process, self._process = self._process, None
        if process is None:
            return "its conversion was given up"
        code = process.wait()
        for pipe in (process.stdin, process.stdout):
            _close(pipe)
        how = f"signal {-code}" if code < 0 else f"code {code}"
        return f"its conversion ended with {how} and is tried again later"


def _pipe(pipe: IO[str] | None) -> IO[str]:
    if pipe is None:
        raise AssertionError("the process was started with pipes")
    return pipe


def _close(pipe: IO[str] | None) -> None:
    """Close an end whose other end is gone: what was not sent yet cannot be."""
    with contextlib.suppress(BrokenPipeError):
        _pipe(pipe).close()
