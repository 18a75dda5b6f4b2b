"""The search for devices behind both sheets: one thread at a time, an answer in words."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

import pytest
from PyQt6.QtCore import QObject
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication

from liveview.errors import SoundUnavailable, WorkerStuck
from liveview.gui.bridge import SourceOffer
from liveview.gui.device_search import DeviceSearch

OFFER = SourceOffer("bench", "bench", "2 channels")


def wait(what: Callable[[], object]) -> None:
    for _ in range(500):
        if what():
            return
        QTest.qWait(10)
    raise AssertionError("it never came to it")


def missing() -> Sequence[SourceOffer]:
    raise SoundUnavailable("the sound library is missing", "PortAudio", "install it")


@pytest.mark.parametrize(
    ("look_for", "found", "words"),
    [
        (lambda: [OFFER], (OFFER,), ""),
        (list, (), "No microphone is there"),
        (missing, (), "the sound library is missing"),
    ],
)
def test_what_it_finds_and_says(
    app: QApplication,
    look_for: Callable[[], Sequence[SourceOffer]],
    found: tuple[SourceOffer, ...],
    words: str,
) -> None:
    owner = QObject()
    search = DeviceSearch("microphone", look_for, owner)
    ended: list[bool] = []
    search.ended.connect(lambda: ended.append(True))
    assert search.start()
    assert search.words == "Looking for microphones"
    wait(lambda: ended)
    assert search.found == found
    assert (words in search.words) if words else not search.words


def test_one_at_a_time_and_it_is_waited_for(app: QApplication) -> None:
    owner, go = QObject(), threading.Event()
    calls: list[bool] = []

    def slow() -> list[SourceOffer]:
        calls.append(True)
        go.wait(10.0)
        return [OFFER]

    search = DeviceSearch("camera", slow, owner)
    assert search.start()
    assert not search.start()
    with pytest.raises(WorkerStuck):
        search.finish(0.05)
    go.set()
    search.finish(5.0)
    assert calls == [True]
