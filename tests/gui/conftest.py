"""One application for all tests of the window, and a still, known reading."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PyQt6.QtWidgets import QApplication

from liveview.gui.theme import dress


@pytest.fixture(scope="session")
def app(display: str) -> Iterator[QApplication]:
    """The application; Qt allows one in a process."""
    there = QApplication.instance()
    made = there if isinstance(there, QApplication) else QApplication(["liveview"])
    dress(made)
    yield made


KEPT: list[object] = []
"""Widgets of all tests: destroying plots while others are alive can crash their library."""


@pytest.fixture(autouse=True)
def nothing_open(app: QApplication) -> Iterator[None]:
    """Windows of a test are closed before the next one."""
    yield
    for widget in app.topLevelWidgets():
        KEPT.append(widget)
        widget.close()
    app.processEvents()
