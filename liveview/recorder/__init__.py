"""Event folders: written, converted, recovered and read back."""

from typing import TYPE_CHECKING

from liveview.recorder.reading import StoredEvent, is_event
from liveview.recorder.recovery import Recovered, recover

if TYPE_CHECKING:
    from liveview.recorder.recorder import KeptEvent, Recorder, default_folder, store_folder

__all__ = [
    "KeptEvent",
    "Recorder",
    "Recovered",
    "StoredEvent",
    "default_folder",
    "is_event",
    "recover",
    "store_folder",
]


def __getattr__(name: str) -> object:
    """The recorder needs the settings, which the process that converts does without."""
    if name in ("KeptEvent", "Recorder", "default_folder", "store_folder"):
        from liveview.recorder import recorder

        return getattr(recorder, name)
    raise AttributeError(name)
