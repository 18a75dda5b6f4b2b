"""When a recording was made: its own date where it has one, never that of its processing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from liveview.model import FrameSource, SourceInfo


@dataclass(frozen=True, slots=True)
class Recorded:
    """Wall time of 0 on the recording's own clock; None where nothing tells."""

    began: datetime | None = None

    def at(self, time_s: float, timespec: str = "seconds") -> str:
        """Wall time of a frame in ISO 8601; empty where it is not known."""
        if self.began is None:
            return ""
        return (self.began + timedelta(seconds=time_s)).isoformat(timespec=timespec)


UNKNOWN = Recorded()


def recorded_at(source: FrameSource, info: SourceInfo) -> Recorded:
    """From the file's own statement, or for a stream the present.

    Parameters
    ----------
    source : FrameSource
        Open; its ``recorded_at``, if it has one, is the ISO time of 0 on its clock.
    info : SourceInfo
    """
    if info.live:
        return Recorded(datetime.now().astimezone())
    said = getattr(source, "recorded_at", "")
    try:
        return Recorded(datetime.fromisoformat(said).astimezone())
    except (ValueError, OverflowError, OSError):
        return UNKNOWN
