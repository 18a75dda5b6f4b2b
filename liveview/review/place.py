"""Where events are, for those who only look at them."""

from __future__ import annotations

from pathlib import Path

from liveview.recorder.recorder import store_folder
from liveview.settings import Settings


def events_folder(settings: Settings) -> Path:
    """The folder of events that the settings mean."""
    return store_folder(settings.store)
