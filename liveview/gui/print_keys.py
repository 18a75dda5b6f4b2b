"""``liveview --key-card FILE.pdf``: the card of all keys without opening a window."""

from __future__ import annotations

from pathlib import Path
from typing import NoReturn

from PyQt6.QtWidgets import QApplication

from liveview.errors import LiveviewError
from liveview.gui.actions import VIEW_WORDS
from liveview.gui.bridge import Bridge, Supplies
from liveview.gui.key_card import key_groups, usual_paper, write_key_card
from liveview.gui.other_pages import add_other_pages
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.settings import Settings


def print_keys(path: Path, settings: Settings) -> None:
    """Write the card; needs no display. A show's own keys are on it.

    Raises
    ------
    OutputFailed
        The file cannot be written.
    """
    app = QApplication(["liveview", "-platform", "offscreen"])
    dress(app)
    bridge = Bridge(Supplies(_no_session, tuple, ()), settings)
    window = Window(bridge, tuple(VIEW_WORDS))
    try:
        add_other_pages(window, bridge)
        write_key_card(key_groups(window.keys.groups(), window.key_pages()), path, usual_paper())
    finally:
        window.close()


def _no_session(address: str, settings: Settings) -> NoReturn:
    raise LiveviewError("no source is opened for the card of keys", address)
