"""The error tree. Every message says what happened, where, and how to mend it.

LiveviewError
├── BadRequest        exit 2   arguments or settings that cannot be used
├── InputUnreadable   exit 3   a recording, file or stream that cannot be read
│   ├── SourceStalled          no frame came within the time allowed; may come back
│   └── FormatChanged          size, depth or channels changed while running
├── OutputFailed      exit 4   something could not be written
├── SoundUnavailable  exit 3   no sound library, no device, no permission
├── CalibrationRefused exit 3  dark, open or reference frames that would mislead
└── WorkerStuck       exit 1   a thread that did not end in the time allowed

Adapters translate foreign errors into these at the boundary, with ``from``.
"""

from __future__ import annotations


class LiveviewError(Exception):
    """Root of all errors meant for the user.

    Parameters
    ----------
    what : str
        What happened, without a full stop: ``"cannot read the recording"``.
    where : str
        The file, key, option or device it happened at.
    remedy : str
        What the user can do about it.
    """

    exit_code = 1

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(self._line())

    def _line(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        line = f"{head}; {self.remedy}" if self.remedy else head
        return " ".join(line.split())


class BadRequest(LiveviewError):
    """Arguments or settings that cannot be used."""

    exit_code = 2


class InputUnreadable(LiveviewError):
    """A recording, file, device or stream that cannot be read."""

    exit_code = 3


class SourceStalled(InputUnreadable):
    """No frame came within the time allowed; the source may come back."""


class FormatChanged(InputUnreadable):
    """Frame size, depth or channels changed while running; reopen the source."""


class OutputFailed(LiveviewError):
    """Something could not be written."""

    exit_code = 4


class SoundUnavailable(LiveviewError):
    """No sound library, no device or no permission: go on without sound."""

    exit_code = 3


class CalibrationRefused(LiveviewError):
    """Dark, open or reference frames that would mislead were refused."""

    exit_code = 3


class WorkerStuck(LiveviewError):
    """A thread did not end in the time allowed."""
