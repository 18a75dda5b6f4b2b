"""What the reading threads need of the source that is open at present."""

from __future__ import annotations

from dataclasses import dataclass

from liveview.engine.ring import FrameRing
from liveview.model import SourceInfo


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """One opening of the source: a new object whenever it was opened again.

    The ring is the one before when the frames' format is still the same.
    """

    info: SourceInfo
    ring: FrameRing
