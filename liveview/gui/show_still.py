"""Pictures that are kept, and the plain picture of the same frame for the wipe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.engine.painting import plain_into
from liveview.gui.bridge import Bridge
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes, Frame, Reading
from liveview.settings import Settings


@dataclass(frozen=True, slots=True)
class Still:
    """A reading, and the raw frame it came from where that is at hand."""

    reading: Reading
    frame: Frame | None


class Stills:
    """Finds raw frames in the session's memory and paints them plainly."""

    def __init__(self, bridge: Bridge) -> None:
        self._bridge = bridge
        self._plain: tuple[object, Bytes] | None = None

    def raw(self, reading: Reading) -> Frame | None:
        """The frame a live reading came from, while the memory holds it."""
        session = self._bridge.session
        if session is None:
            return None
        frames = session.frames_between(reading.stamp.time_s, reading.stamp.time_s)
        return frames[0] if frames else None

    def plain(self, still: Still, settings: Settings) -> Bytes | None:
        """The plain picture of the same frame, made once; None where the frame is gone."""
        if still.reading.view == "plain":
            return still.reading.picture
        stamp = still.reading.stamp
        if self._plain is not None and self._plain[0] == stamp:
            return self._plain[1]
        frame = still.frame or self.raw(still.reading)
        source = self._bridge.status.source
        if frame is None or source is None:
            return None
        rows, columns = frame.pixels.shape[:2]
        out = np.empty((rows, columns, 4), np.uint8)
        transfer = Transfer.named(source.transfer or settings.camera.transfer)
        plain_into(frame.pixels, frame.white, transfer, out)
        self._plain = (stamp, out)
        return out
