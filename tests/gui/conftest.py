"""One application for all tests of the window, and a still, known reading."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication
from support import review_events
from support.review_window import Review

from liveview.gui.theme import dress


@pytest.fixture(scope="session")
def app(display: str) -> Iterator[QApplication]:
    """The application; Qt allows one in a process."""
    there = QApplication.instance()
    made = there if isinstance(there, QApplication) else QApplication(["liveview"])
    dress(made)
    yield made


KEPT: dict[int, object] = {}
"""Windows of all tests: destroying plots while others are alive can crash their library."""


@pytest.fixture(autouse=True)
def nothing_open(app: QApplication) -> Iterator[None]:
    """Windows of a test are closed before the next one."""
    yield
    for widget in app.topLevelWidgets():
        if id(widget) not in KEPT or widget.isVisible():
            KEPT[id(widget)] = widget
            widget.close()
            for timer in widget.findChildren(QTimer):  # it would tick through all other tests
                timer.stop()
    app.processEvents()


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two events: an older one with sound and losses, a newer one without calibration."""
    folder = tmp_path_factory.mktemp("recorded")
    review_events.record_event(folder)
    review_events.record_event(
        folder,
        count=12,
        lost=(),
        sound=False,
        calibrated=False,
        complete=False,
        at="2031-05-07T09:10:11+00:00",
    )
    return folder


@pytest.fixture
def review(app: QApplication, recorded: Path, tmp_path: Path) -> Iterator[Callable[..., Review]]:
    made: list[Review] = []

    def make(*, older: bool = True, events: bool = True) -> Review:
        folder = tmp_path / "events"
        if events:
            shutil.copytree(recorded, folder)
        made.append(Review(app, folder))
        made[-1].open()
        if older and events:
            made[-1].press("Down")
        return made[-1]

    yield make
    for one in made:
        one.rig.close()
