"""What the session and the window need of a camera's controls."""

from __future__ import annotations

from typing import Protocol

from liveview.model import CameraReading, Disc
from liveview.settings import Camera


class CameraHandle(Protocol):
    """A camera whose controls can be turned while it runs; all for any thread, none waits."""

    def reading(self) -> CameraReading:
        """How its controls stand."""

    @property
    def words(self) -> tuple[str, ...]:
        """What must not be overlooked."""

    def apply(self, camera: Camera) -> None:
        """Wish for these settings."""

    def disc_is(self, disc: Disc | None) -> None:
        """Where the mirror is in the picture."""
