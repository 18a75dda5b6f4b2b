"""The list of events and the bin."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from liveview.errors import OutputFailed
from liveview.model import Cause
from liveview.recorder import StoredEvent
from liveview.review.shelf import list_events, read_card, restore, to_bin


@pytest.mark.slow
def test_cards(record, tmp_path) -> None:
    first, second = record(count=5), record(count=3, complete=False)
    (tmp_path / "events" / "notes").mkdir()
    cards = list_events(tmp_path / "events")
    assert [card.path for card in cards] == [first, second]
    card = cards[0]
    assert (card.cause, card.strength, card.sparks, card.frames) == (Cause.FLASH, 12.0, 1, 5)
    assert card.complete and card.converted and card.poster == first / "poster.png"
    assert not cards[1].complete


def test_sparks_of_an_event_that_is_not_compressed_yet(tmp_path) -> None:
    spool = tmp_path / "one" / "spool"
    spool.mkdir(parents=True)
    spotted = {"cause": "flash", "strength": 12.0}
    start = {"cause": "flash", "spotted": [spotted], "started_at": "2031-05-06T07:08:09"}
    (spool / "start.json").write_text(json.dumps(start))
    card = read_card(spool.parent)
    assert (card.sparks, card.words) == (1, "not compressed yet")
    line = json.dumps(spotted) + "\n"
    # The last line is being written.
    (spool / "marks.jsonl").write_text(4 * line + line[:9])
    assert read_card(spool.parent).sparks == 5


@pytest.mark.slow
def test_damaged_and_missing(record, tmp_path) -> None:
    path = record(count=2)
    (path / "event.json").write_text("{")
    assert "cannot be read" in read_card(path).words
    assert list_events(tmp_path / "none") == ()


@pytest.mark.slow
def test_bin_and_back(record, tmp_path) -> None:
    path = record(count=2)
    binned = to_bin(path)
    assert list_events(path.parent) == () and binned.parent.name == ".bin"
    again = record(count=2)
    assert again == path
    back = restore(binned)
    assert back.name == f"{path.name}_2"
    with StoredEvent.open(back) as event:
        assert len(event) == 2
    with pytest.raises(OutputFailed):
        to_bin(Path(tmp_path / "none" / "x"))


def test_order_is_that_of_the_moment_not_of_the_clock_on_the_wall(tmp_path) -> None:
    """Clocks are set back in autumn: 02:10 comes after 02:40 of the same night."""
    for name, at in (
        ("a", "2031-10-26T02:10:00+01:00"),
        ("b", "2031-10-26T02:40:00+02:00"),
        ("c", "no time at all"),
    ):
        folder = tmp_path / name
        folder.mkdir()
        data = {"spotted": [{"strength": 9.0}], "cause": "flash", "started_at": at}
        (folder / "event.json").write_text(json.dumps(data))
    assert [card.name for card in list_events(tmp_path)] == ["c", "b", "a"]


@pytest.mark.parametrize("count", ["1e999", "[]", "null", '"many"'])
def test_a_count_that_is_none_is_said(tmp_path, count) -> None:
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "event.json").write_text(
        '{"spotted": [{"strength": 9.0}], "cause": "flash", "started_at": "", '
        f'"frames": {{"count": {count}}}}}'
    )
    (card,) = list_events(tmp_path)
    assert "cannot be read" in card.words
