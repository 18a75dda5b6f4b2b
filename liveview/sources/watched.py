"""A camera whose frames pass the drift watch on their way."""

from __future__ import annotations

from liveview.model import FrameSource, FrameStamp, Pixels, SourceInfo
from liveview.sources.desk import CameraDesk


class WatchedFrames:
    """A ``FrameSource`` around another; see ``imaging.cheat``."""

    def __init__(self, source: FrameSource, desk: CameraDesk) -> None:
        self._source = source
        self._desk = desk
        self._time_s = 0.0

    @property
    def info(self) -> SourceInfo | None:
        """What the camera says of itself now."""
        info: SourceInfo | None = getattr(self._source, "info", None)
        return info

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong so far."""
        warnings: tuple[str, ...] = getattr(self._source, "warnings", ())
        return warnings

    def open(self) -> SourceInfo:
        """See ``FrameSource.open``."""
        return self._source.open()

    def grab(self) -> FrameStamp | None:
        """See ``FrameSource.grab``."""
        stamp = self._source.grab()
        if stamp is not None:
            self._time_s = stamp.time_s
        return stamp

    def read_into(self, out: Pixels) -> None:
        """See ``FrameSource.read_into``."""
        self._source.read_into(out)
        self._desk.watch(out, self._time_s)

    def close(self) -> None:
        """See ``FrameSource.close``."""
        self._source.close()
