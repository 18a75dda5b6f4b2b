"""The Review page in the real window, on events of the real recorder, with real keys and mouse."""

from __future__ import annotations

import itertools
import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support import review_events
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.other_pages import add_other_pages
from liveview.gui.review_page import ReviewPage
from liveview.gui.review_replay import Compare
from liveview.review.measure import load_measurements
from liveview.settings import Settings

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture(scope="module")
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


class Review:
    """The window with the page open."""

    def __init__(self, app: QApplication, folder: Path) -> None:
        settings = Settings().replaced("store", folder=str(folder))
        self.folder = folder
        self.rig = WindowRig(app, scripted(disc_frames), settings=settings)
        add_other_pages(self.rig.window, self.rig.bridge)
        self.rig.first_picture()
        page = self.rig.window.findChild(ReviewPage)
        assert isinstance(page, ReviewPage)
        self.page = page

    @property
    def replay(self) -> object:
        return self.page.replay

    def open(self) -> None:
        QTest.keyClick(self.rig.window, Qt.Key.Key_F6)
        assert self.page.isVisible()
        self.settle()

    def settle(self) -> None:
        """Wait until nothing is under way."""
        self.rig.wait(lambda: not self.page._timer.isActive())

    def press(self, *keys: str) -> None:
        for key in keys:
            self.rig.press(key)
        self.settle()

    def at(self, x: float, y: float) -> QPoint:
        """Widget point of a picture point."""
        view = self.page.dial.picture.view
        return QPoint(*(round(v) for v in view.to_widget(x, y)))

    def click(self, x: float, y: float) -> None:
        QTest.mouseClick(self.page.dial.marks, LEFT, pos=self.at(x, y))
        self.settle()

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        marks = self.page.dial.marks
        QTest.mousePress(marks, LEFT, pos=self.at(*start))
        QTest.mouseMove(marks, self.at(*end))
        QTest.mouseRelease(marks, LEFT, pos=self.at(*end))
        self.settle()

    def said(self) -> str:
        return self.rig.window.answer.words()


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


def test_keys_step_and_the_picture_is_that_frame(review) -> None:
    r = review()
    at = review_events.SPARK_FRAME
    r.press("Right", "Right", "Left")
    assert r.page.replay.index == at + 1
    assert r.page.replay.shown.index == at + 1
    r.press("Shift+Right")
    assert r.page.replay.index == at + 11
    r.press("Home")
    assert r.page.replay.index == 0
    r.press("End")
    assert r.page.replay.index == len(r.page.replay.facts.times_s) - 1
    r.press("K")
    assert r.page.replay.index == at
    assert "Frame 9 of 34" in r.page.moment.words()


def test_it_plays_at_a_named_rate_to_the_end_and_loops(review) -> None:
    r = review()
    assert "1/40 of real time" in r.page.moment.words()
    r.press(",", ",")
    assert "1/200 of real time" in r.page.moment.words()
    r.rig.press("Space")
    r.rig.wait(lambda: not r.page.replay.playing)
    r.settle()
    assert r.page.replay.index == len(r.page.replay.facts.times_s) - 1
    assert r.page.replay.shown.index == r.page.replay.index
    r.rig.press("L")
    r.rig.press("Space")
    seen: list[int] = []

    def wrapped() -> bool:
        seen.append(r.page.replay.index)
        return any(b < a for a, b in itertools.pairwise(seen))

    r.rig.wait(wrapped)
    assert r.page.replay.playing
    r.rig.press("Space")
    r.settle()
    assert not r.page.replay.playing


def test_a_stretch_is_set_by_keys_and_played_only(review) -> None:
    r = review()
    r.press("[", "Shift+Right", "]")
    player = r.page.replay.player
    assert (player.first, player.last) == (8, 18)
    r.press("Home", ".")
    r.rig.press("Space")
    r.rig.wait(lambda: not r.page.replay.playing)
    assert r.page.replay.index == 18
    r.press("W")
    assert (r.page.replay.player.first, r.page.replay.player.last) == (0, 33)


def test_dragging_on_the_ring_goes_to_that_moment(review) -> None:
    r = review()
    dial, rings = r.page.dial, r.page.dial.rings
    times = r.page.replay.facts.times_s
    radius = (rings.sound_in + rings.sound_out) / 2

    def on_ring(index: int) -> QPoint:
        from liveview.gui.paint import polar

        return polar(rings.centre, radius, dial.face.scale.angle(times[index] + 3e-5)).toPoint()

    QTest.mousePress(dial, LEFT, pos=on_ring(3))
    assert r.page.replay.index == 3
    QTest.mouseMove(dial, on_ring(25))
    QTest.mouseRelease(dial, LEFT, pos=on_ring(25))
    r.settle()
    assert r.page.replay.index == 25
    assert r.page.replay.shown.index == 25


def test_ring_shows_sparks_losses_and_sound(review) -> None:
    r = review()
    face = r.page.dial.face
    assert face.sparks_s == (pytest.approx(review_events.START_S + 8 / review_events.RATE_HZ),)
    assert sum(face.lost_before) == 2
    assert face.envelope is not None
    crack = np.argmax(face.envelope) / len(face.envelope)
    # Half of the sound's 3.6 ms, seen against the 3.5 ms from the first frame to the last.
    assert crack == pytest.approx(0.5 * 3.6 / 3.5, abs=0.01)


def test_views_and_gain_as_live(review) -> None:
    r = review()
    r.press("Right", "Right", "Right", "3")
    assert r.page.dial.picture.reading.view == "signed"
    signed = r.page.dial.picture.reading.picture.copy()
    r.press("1")
    assert r.page.dial.picture.reading.view == "plain"
    assert not np.array_equal(signed, r.page.dial.picture.reading.picture)
    r.press("3")
    assert np.array_equal(signed, r.page.dial.picture.reading.picture)
    before = r.page.dial.picture.reading.scale
    r.press("+")
    assert r.page.dial.picture.reading.scale == pytest.approx(before / 1.25)
    assert "fixed" in r.page.pads["gain"].note
    r.press("G")
    assert r.page.dial.picture.reading.scale == pytest.approx(before)


def test_plain_and_lifted_stand_on_both_sides_of_an_edge_that_is_dragged(review) -> None:
    r = review()
    r.press("Shift+Right", "C")
    marks = r.page.dial.marks
    assert r.page.replay.shown.beside.view == "plain"
    assert r.page.replay.shown.reading.view == "lifted"
    r.drag((64, 64), (90, 64))
    to = r.at(90, 64).x() / marks.width()
    assert marks.edge == pytest.approx(to, abs=0.01)
    image = marks.parent().grab().toImage()
    y = r.at(64, 100).y()
    alone = r.page.dial.picture.reading.picture
    right = image.pixelColor(r.at(100, 100).x(), y).red()
    left = image.pixelColor(r.at(40, 100).x(), y).red()
    assert abs(right - int(alone[100, 100, 0])) < 12
    plain = r.page.replay.shown.beside.picture
    assert abs(left - int(plain[100, 40, 0])) < 12
    r.press("Escape")
    assert r.page.replay.compare is Compare.NONE
    assert marks.beside is None


def test_a_held_picture_is_compared_with_another_instant_and_another_event(review) -> None:
    r = review()
    r.press("V", "Right", "Right", "Right")
    reading, names = r.page.replay.beside
    assert reading.stamp.number == review_events.SPARK_FRAME
    assert names == ("0\u2009\u00b5s", "+300\u2009\u00b5s")
    r.press("Up")
    assert r.page.replay.beside[1] == ("the event before", "this event")
    assert r.page.dial.marks.beside is reading
    r.press("V")
    assert r.page.replay.compare is Compare.NONE


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
    assert "Nothing was binned" in r.said()


def test_binning_the_last_event_leaves_words(review) -> None:
    r = review()
    r.press("Delete", "Delete")
    assert r.page.replay.path is None, r.said()
    assert r.page.events.cards == ()
    assert "No events yet" in r.page.events.words
    assert r.page.dial.picture.reading is None


def test_an_event_that_somebody_removed_is_left(review) -> None:
    r = review()
    shutil.rmtree(r.page.replay.path)
    r.page.library.look_again()
    r.settle()
    assert r.page.replay.path is None
    assert len(r.page.events.cards) == 1


def test_a_length_is_measured_with_its_uncertainty_and_kept(review) -> None:
    r = review()
    r.press("D")
    r.drag((40.0, 64.0), (80.0, 64.0))
    measured = r.page.desk.result.measurement.results["length"]
    view = r.page.dial.picture.view
    # A mouse goes by whole pixels of the screen.
    assert measured.value * 1e3 == pytest.approx(
        40 * review_events.MM_PER_PX, abs=1.5 * review_events.MM_PER_PX / view.scale
    )
    assert "\u00b1" in r.page.panel.words()
    assert "mm" in r.page.panel.words()
    assert load_measurements(r.page.replay.path) == ()
    r.press("Return")
    (kept,) = load_measurements(r.page.replay.path)
    assert kept.kind == "length"
    assert kept.results["length"].value == pytest.approx(measured.value)
    r.press("Escape")
    assert "Kept with this event" in r.page.panel.words()
    assert "Length: " in r.page.panel.words()


def test_an_angle_and_a_known_length(review) -> None:
    r = review()
    r.press("A")
    for place in ((80.0, 64.0), (50.0, 64.0), (50.0, 34.0)):
        r.click(*place)
    angle = r.page.desk.result.measurement.results["angle"]
    assert angle.low < np.pi / 2 < angle.high
    r.press("U")
    r.drag((40.0, 70.0), (90.0, 70.0))
    field = r.page.panel.length_field
    assert field.isVisible()
    QTest.keyClicks(field, "25 mm")
    QTest.keyClick(field, Qt.Key.Key_Return)
    scale = r.page.desk.result.measurement.results["scale"]
    assert scale.low < 0.5e-3 < scale.high
    r.press("D")
    r.drag((40.0, 70.0), (60.0, 70.0))
    length = r.page.desk.result.measurement.results["length"].value
    assert length == pytest.approx(10e-3, rel=0.03)


def test_front_is_followed_by_itself_and_its_speed_is_right(review) -> None:
    r = review()
    r.press("Shift+Right", "F")
    r.click(*review_events.CENTRE)
    result = r.page.desk.result
    assert result.measurement is not None, result.words
    speed = result.measurement.results["speed"]
    assert speed.value == pytest.approx(review_events.FRONT_M_S, rel=0.02)
    assert "Mach number" in r.page.panel.words()
    # The ring lies on the front of the frame that is shown.
    ((_, radius),) = r.page.dial.marks.drawing.rings
    assert radius == pytest.approx(4 + 1.5 * 10, abs=0.7)
    assert r.page.panel.plot_place.plot.shown.name == "front"
    r.press("Right")
    ((_, later),) = r.page.dial.marks.drawing.rings
    assert later > radius + 0.7
    QTest.mouseClick(r.page.panel.save, LEFT)
    saved = sorted(path.suffix for path in r.page.export_folder.iterdir())
    assert saved == [".csv", ".png", ".svg"]
    table = next(r.page.export_folder.glob("*.csv")).read_text()
    assert table.startswith("frame,time_s,radius_px")


def test_front_by_hand_takes_the_place_of_the_found_one(review) -> None:
    r = review()
    r.press("Shift+Right", "F")
    r.click(*review_events.CENTRE)
    r.click(review_events.CENTRE[0] + 19.0, review_events.CENTRE[1])
    by_hand = [p for p in r.page.desk.result.points if p.by_hand]
    assert len(by_hand) == 1
    assert by_hand[0].radius_px == pytest.approx(19.0, abs=0.5)


def test_no_front_is_said_in_words(review) -> None:
    r = review()
    r.press("Home", "[", "Right", "Right", "Right", "]", "F")
    r.click(*review_events.CENTRE)
    assert r.page.desk.result.measurement is None
    assert "no front found" in r.page.panel.words().lower()
    assert not r.page.panel.keep.isVisible()


def test_flicker_and_plume_answer_in_words_when_there_is_none(review) -> None:
    r = review()
    r.press("H")
    r.drag((20.0, 50.0), (40.0, 70.0))
    assert r.page.desk.result is not None
    assert r.page.panel.plot_place.plot.shown.name == "spectrum"
    r.press("T")
    r.drag((40.0, 64.0), (60.0, 65.0))
    result = r.page.desk.result
    assert result.measurement is not None or result.words


def open_sheet(r: Review) -> object:
    r.press("E")
    sheet = r.page.sheet
    assert sheet.isVisible()
    return sheet


def test_enter_writes_as_the_sheet_says_and_space_chooses(review) -> None:
    r = review()
    sheet = open_sheet(r)
    sheet.products["raw"].setFocus()
    QTest.keyClick(sheet.products["raw"], Qt.Key.Key_Space)
    assert sheet.order.product == "raw"
    QTest.keyClick(sheet.products["raw"], Qt.Key.Key_Return)
    r.rig.wait(lambda: not sheet.working and "Written" in sheet.words)
    assert (r.page.export_folder / f"{r.page.replay.facts.name}_raw.png").is_file()


def test_a_still_and_a_clip_are_written_from_the_sheet(review) -> None:
    r = review()
    r.press("Shift+Right")
    sheet = open_sheet(r)
    QTest.mouseClick(sheet.products["still"], LEFT)
    assert "Frame 19" in sheet.summary()
    QTest.mouseClick(sheet.write_pad, LEFT)
    r.rig.wait(lambda: not sheet.working)
    still = r.page.export_folder / f"{r.page.replay.facts.name}.png"
    assert still.is_file(), sheet.words
    QTest.mouseClick(sheet.products["clip"], LEFT)
    sheet.name.setFocus()
    QTest.keyClick(sheet.name, Qt.Key.Key_Return)
    r.rig.wait(lambda: not sheet.working)
    assert (r.page.export_folder / f"{r.page.replay.facts.name}.mp4").stat().st_size > 1000
    assert "Written" in sheet.words
    QTest.keyClick(sheet, Qt.Key.Key_Escape)
    assert not sheet.isVisible()
    r.press("Left")
    assert r.page.replay.index == 17


def test_a_cancelled_export_leaves_nothing_and_the_window_goes_on(review) -> None:
    r = review()
    r.press(*[","] * 5)
    sheet = open_sheet(r)
    QTest.mouseClick(sheet.products["lossless"], LEFT)
    QTest.mouseClick(sheet.shapes["tall"], LEFT)
    QTest.mouseClick(sheet.write_pad, LEFT)
    assert sheet.working
    QTest.mouseClick(sheet.cancel_pad, LEFT)
    r.rig.wait(lambda: not sheet.working)
    assert "Cancelled" in sheet.words
    folder = r.page.export_folder
    assert not folder.exists() or not any(folder.iterdir())


def test_the_window_can_be_closed_while_it_exports(review) -> None:
    r = review()
    r.press(*[","] * 5)
    sheet = open_sheet(r)
    QTest.mouseClick(sheet.products["lossless"], LEFT)
    QTest.mouseClick(sheet.write_pad, LEFT)
    assert sheet.working
    r.rig.close()
    assert r.rig.window.stuck == ()
    folder = r.page.export_folder
    assert not folder.exists() or not any(folder.iterdir())


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


def test_an_empty_folder_says_where_events_come_from(review) -> None:
    r = review(events=False)
    assert r.page.replay.path is None
    assert "No events yet" in r.page.events.words
    r.press("Right", "Space", "C", "V", "Delete", "E", "M", "K")
    assert not r.page.sheet.isVisible()
    r.press("Escape")


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


def test_a_new_event_appears_in_the_list_by_itself(review, recorded: Path) -> None:
    r = review()
    newer = next(path for path in recorded.iterdir() if path.is_dir())
    shutil.copytree(newer, r.folder / "copied_later")
    from dataclasses import replace

    status = r.rig.bridge.status
    r.page.show_status(replace(status, store=replace(status.store, events_kept=7)))
    r.settle()
    assert len(r.page.events.cards) == 3


def test_the_key_sheet_lists_the_keys_of_this_page_and_all_of_them(review) -> None:
    r = review()
    rows = [row for column in r.rig.window.key_sheet.columns() for row in column]
    headings = [row for row in rows if isinstance(row, str)]
    assert set(headings) == set(ReviewPage.KEY_GROUPS)
    names = {row.name for row in rows if not isinstance(row, str)}
    assert {action.name for action in r.page.own_actions()} <= names
    assert "freeze" not in names
    r.press("F1")
    sheet = r.rig.window.key_sheet
    assert sheet.sheet_rect().height() <= sheet.height()
    r.press("F1")
