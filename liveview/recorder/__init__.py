"""Event folders: written, converted, recovered and read back."""

from liveview.recorder.reading import StoredEvent, is_event
from liveview.recorder.recorder import KeptEvent, Recorder, default_folder, store_folder
from liveview.recorder.recovery import Recovered, recover

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
