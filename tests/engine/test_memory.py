"""How much memory the ring gets: the setting, half of the machine, or what the system gives."""

from __future__ import annotations

import pytest
from support.scripted_source import info

from liveview.engine import memory
from liveview.engine.memory import fitting_ring, physical_megabytes, ring_megabytes
from liveview.engine.ring import FEWEST_SLOTS, FrameRing
from liveview.errors import InputUnreadable


def test_a_modest_wish_is_granted_without_words() -> None:
    assert ring_megabytes(100, 1000) == (100, "")
    ring, words = fitting_ring(info(640, 480), 8)
    assert words == ""
    assert ring.slots == 8_000_000 // (640 * 480)


def test_half_of_the_machine_is_the_most() -> None:
    given, words = ring_megabytes(900, 1000)
    assert given == 500
    assert "500 MB, half of this machine" in words


def test_an_unknown_machine_gives_what_is_wished() -> None:
    assert physical_megabytes() is None or physical_megabytes() > 100


def refusing(most_mb: float) -> type[FrameRing]:
    """A ring whose system gives no more than so much."""

    class Refused(FrameRing):
        def __init__(self, of, megabytes, published=None) -> None:
            if megabytes > most_mb:
                raise MemoryError
            super().__init__(of, megabytes, published)

    return Refused


def test_less_than_wished_is_halved_until_it_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "FrameRing", refusing(30))
    ring, words = fitting_ring(info(640, 480), 100)
    assert ring.slots == 25_000_000 // (640 * 480)
    assert "limited to 25 MB: the system gives no more" in words


def test_no_memory_at_all_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "FrameRing", refusing(0))
    with pytest.raises(InputUnreadable, match="no memory for its pictures"):
        fitting_ring(info(640, 480), 100)


def test_a_small_wish_still_holds_the_fewest_frames() -> None:
    assert fitting_ring(info(640, 480), 0.001)[0].slots == FEWEST_SLOTS
