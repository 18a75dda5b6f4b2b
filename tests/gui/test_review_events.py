"""The list of events on the Review page: opening, the bin, damage, events from elsewhere."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from support import review_events


@pytest.mark.slow
def test_newest_event_opens_at_its_spark_with_a_card_for_each(review) -> None:
    r = review(older=False)
    cards = r.page.events.cards
    assert [card.name for card in cards] == sorted((c.name for c in cards), reverse=True)
    assert r.page.replay.path == cards[0].path
    assert r.page.replay.index == review_events.SPARK_FRAME
    assert r.page.dial.picture.reading is not None
    assert "0" in r.page.moment.words()
    assert "incomplete" in r.page.notices.words()
    assert "No sound" in r.page.notices.words()
    r.press("Down")
    assert r.page.replay.path == cards[1].path
    assert "2 frames lost" in r.page.notices.words()
    assert r.page.events._posters


@pytest.mark.slow
def test_binned_events_come_back(review) -> None:
    r = review()
    path = r.page.replay.path
    r.press("Delete")
    assert not path.exists()
    assert (path.parent / ".bin" / path.name / "event.json").is_file()
    assert len(r.page.events.cards) == 1
    assert r.page.replay.path == r.page.events.cards[0].path
    assert "bin" in r.said()
    r.press("Ctrl+Z")
    assert (path / "event.json").is_file()
    assert r.page.replay.path == path
    assert len(r.page.events.cards) == 2
    r.press("Ctrl+Z")
    assert "Nothing to put back" in r.said()


@pytest.mark.slow
def test_binning_the_last_event_leaves_words(review) -> None:
    r = review()
    r.press("Delete", "Delete")
    assert r.page.replay.path is None, r.said()
    assert r.page.events.cards == ()
    assert "No events yet" in r.page.events.words
    assert r.page.dial.picture.reading is None


@pytest.mark.slow
def test_an_event_that_somebody_removed_is_left(review) -> None:
    r = review()
    shutil.rmtree(r.page.replay.path)
    r.page.library.look_again()
    r.settle()
    assert r.page.replay.path is None
    assert len(r.page.events.cards) == 1


@pytest.mark.slow
def test_a_damaged_event_says_so_and_the_others_still_open(review) -> None:
    r = review(older=False)
    path = r.page.events.cards[1].path
    (path / "event.json").write_text("{")
    r.page.library.look_again()
    r.settle()
    damaged = next(card for card in r.page.events.cards if card.path == path)
    assert damaged.words
    r.page.open(path)
    r.settle()
    assert "not JSON" in r.page.moment.words()
    other = next(card for card in r.page.events.cards if card.path != path)
    r.page.open(other.path)
    r.settle()
    assert r.page.replay.shown is not None


@pytest.mark.slow
def test_a_damaged_frame_says_so_and_the_next_is_shown(review) -> None:
    r = review()
    path = r.page.replay.path
    data = json.loads((path / "event.json").read_text())
    assert data["frames"]["count"] == 34
    rows = (path / "times.csv").read_text()
    assert rows
    video = bytearray((path / "frames.mkv").read_bytes())
    middle = len(video) // 2
    video[middle : middle + 400] = bytes(400)
    (path / "frames.mkv").write_bytes(bytes(video))
    r.page.replay.reader.let_go()
    faults = 0
    r.press("Home")
    for _ in range(33):
        r.press("Right")
        faults += bool(r.page.replay.fault)
    assert 1 <= faults < 33
    assert r.page.replay.shown.index == 33


@pytest.mark.slow
def test_an_empty_folder_says_where_events_come_from(review) -> None:
    r = review(events=False)
    assert r.page.replay.path is None
    assert "No events yet" in r.page.events.words
    r.press("Right", "Space", "C", "V", "Delete", "E", "M", "K")
    assert not r.page.sheet.isVisible()
    r.press("Escape")


@pytest.mark.slow
def test_an_event_elsewhere_is_opened_and_other_recordings_go_to_the_source(
    review, tmp_path: Path
) -> None:
    r = review()
    elsewhere = tmp_path / "elsewhere" / "copied"
    shutil.copytree(r.page.replay.path, elsewhere)
    r.page.library.open_elsewhere(elsewhere / "event.json")
    r.settle()
    assert r.page.replay.path == elsewhere
    assert r.page.events.cards[0].path == elsewhere
    chosen: list[str] = []
    r.page.recording_chosen.disconnect()
    r.page.recording_chosen.connect(chosen.append)
    video = tmp_path / "other.avi"
    video.touch()
    r.page.library.open_elsewhere(video)
    assert chosen == [str(video)]


@pytest.mark.slow
def test_a_new_event_appears_in_the_list_by_itself(review, recorded: Path) -> None:
    r = review()
    newer = next(path for path in recorded.iterdir() if path.is_dir())
    shutil.copytree(newer, r.folder / "copied_later")

    status = r.rig.bridge.status
    r.page.show_status(replace(status, store=replace(status.store, events_kept=7)))
    r.settle()
    assert len(r.page.events.cards) == 3
