"""A whole short show: real windows, real keys, a real session, and what the audience was sent."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, QRect, Qt
from PyQt6.QtGui import QKeySequence
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QFileDialog, QWidget
from support.flash_check import passes_general
from support.readings import reading
from support.scripted_source import Pause, ScriptedSource, Step, info
from support.window_rig import (
    HEIGHT,
    RATE,
    WIDTH,
    WindowRig,
    disc_frames,
    flashing_frames,
    scripted,
)

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.gui.show_board import Board
from liveview.gui.show_desk import ShowDesk
from liveview.gui.show_lines import fault_lines, seen_words
from liveview.gui.show_page import ShowPage, join_show
from liveview.model import ArmState, FrameSource, SessionState, SessionStatus, SourceKind
from liveview.settings import Settings, Show, validated

CAPTIONS = [
    {"text": "The mirror.", "view": "plain"},
    {"text": "The air.", "view": "lifted", "note": "wait for it"},
    "The end.",
]


def settings(**show: object) -> Settings:
    more = {"captions": CAPTIONS, "title": "An evening", **show}
    return validated({"show": more, "store": {"ring_mb": 60}}, "test")


class Stage:
    """A window on its Show page with the audience's window open beside it."""

    def __init__(
        self,
        app: QApplication,
        build: Callable[[str, Settings], Session],
        *,
        wanted: Settings | None = None,
    ) -> None:
        self.rig = WindowRig(app, build, settings=wanted or settings())
        self.page: ShowPage = join_show(self.rig.window, self.rig.bridge)
        self.desk: ShowDesk = self.page.desk
        self.rig.first_picture()
        self.press(self.rig.window, "F7")
        assert self.page.isVisible()

    @property
    def audience(self) -> QWidget:
        return self.desk.audience

    def go_on(self) -> None:
        """On the screen by its key, and the audience's window has a picture."""
        self.press(self.rig.window, "O")
        self.rig.wait(lambda: self.audience.isVisible() and self.sent().any())

    def sent(self) -> np.ndarray:
        """What the audience's window shows, as sent."""
        frame = self.desk.audience.frame
        return np.zeros((1, 1, 4), np.uint8) if frame is None else frame

    def press(self, widget: QWidget, key: str) -> None:
        combination = QKeySequence(key)[0]
        QTest.keyClick(widget, combination.key(), combination.keyboardModifiers())

    def key(self, key: str) -> None:
        """A key of the presenter, wherever the keyboard is."""
        over = self.desk.stage.covers_presenter
        self.press(self.audience if over else self.rig.window, key)

    def level(self) -> float:
        """Mean of the disc's middle as sent."""
        at, frame = self.desk.frame.places, self.sent()
        y, x, part = at.disc_y + at.disc // 2, at.disc_x + at.disc // 2, at.disc // 8
        return float(frame[y - part : y + part, x - part : x + part, :3].mean())

    def column(self) -> np.ndarray:
        """Where the words stand, as sent."""
        at = self.desk.frame.places.caption
        return self.sent()[
            round(at.top()) : round(at.bottom()), round(at.left()) : round(at.right()), :3
        ].copy()


@pytest.fixture
def stage(app: QApplication) -> Iterator[Stage]:
    made = Stage(app, scripted(disc_frames))
    yield made
    made.rig.close()


@pytest.mark.slow
def test_a_whole_show_by_keys(stage: Stage) -> None:
    desk, rig = stage.desk, stage.rig
    assert not desk.stage.running
    assert "Off screen" in stage.page.stage_lines.words()
    stage.go_on()
    assert "On screen" in stage.page.stage_lines.words() or desk.stage.covers_presenter
    assert stage.sent().shape[:2] == (stage.audience.height(), stage.audience.width())
    assert stage.audience.cursor().shape() == Qt.CursorShape.BlankCursor

    # Captions: a clicker's keys, forth and back, with their views.
    without = stage.column()
    stage.key("PgDown")
    assert desk.board.caption is not None and desk.board.caption.text == "The mirror."
    rig.wait(lambda: desk.board.edge.value == 1.0)
    assert np.abs(stage.column().astype(int) - without).max() > 100
    stage.key("PgDown")
    assert rig.bridge.settings.enhance.view == "lifted"
    rig.wait(lambda: desk.board.edge.value == 0.0)
    stage.key("PgUp")
    assert desk.board.at == 0
    stage.key("Right")
    stage.key("Right")
    stage.key("Right")
    assert desk.board.at == 2  # no further than the last
    stage.key("Down")
    assert not desk.board.caption_on
    stage.key("Down")

    # Held: the picture stands still while readings go on.
    stage.key("Space")
    held = desk._current()
    assert desk.frozen and held is not None
    QTest.qWait(200)
    assert desk._current() is held
    stage.key("Space")
    assert not desk.frozen

    # Blank, by the full stop of a clicker, as a fade and not as a flash.
    bright = stage.level()
    assert bright > 40
    stage.key(".")
    QTest.qWait(100)
    assert 0 < stage.level() < bright
    rig.wait(lambda: not stage.sent()[..., :3].any())
    stage.key("B")
    rig.wait(lambda: stage.level() > 0.9 * bright)

    # Spotlight: the middle stays, the rim darkens; it moves by keys.
    stage.key("L")
    rig.wait(lambda: desk.board.spot_depth.value == 1.0)
    at = desk.frame.places
    rim = stage.sent()[at.disc_y + at.disc // 2, at.disc_x + at.disc // 12, :3].mean()
    assert rim < 0.5 * stage.level()
    stage.key("Ctrl+Left")
    assert desk.board.spot[0] < 0
    stage.key("L")

    # More gain for a moment, and as before.
    rig.wait(lambda: desk._live is not None and desk._live.scale is not None)
    assert rig.bridge.settings.enhance.gain_contrast is None
    stage.key("G")
    assert rig.bridge.settings.enhance.gain_contrast is not None
    stage.key("G")
    assert rig.bridge.settings.enhance.gain_contrast is None

    # Clock and legend.
    for key, name in (("C", "clock_on"), ("N", "legend_on"), ("E", "drawing_on")):
        before = getattr(desk.board, name)
        stage.key(key)
        assert getattr(desk.board, name) is not before

    # The way back.
    if desk.stage.covers_presenter:
        stage.key("Escape")
    else:
        stage.key("O")
    assert not stage.audience.isVisible()
    assert rig.window.isVisible()
    assert rig.window.answer.words() == "" or "error" not in rig.window.answer.words()


@pytest.mark.slow
def test_more_gain_ends_by_itself(app: QApplication) -> None:
    made = Stage(app, scripted(disc_frames), wanted=settings(more_gain_for="200 ms"))
    try:
        made.go_on()
        made.rig.wait(lambda: made.desk._live is not None and made.desk._live.scale is not None)
        made.key("G")
        assert made.desk.boosted
        made.rig.wait(lambda: not made.desk.boosted)
        assert made.rig.bridge.settings.enhance.gain_contrast is None
    finally:
        made.rig.close()


@pytest.mark.slow
def test_half_a_wipe_shows_both_pictures_of_one_frame(stage: Stage) -> None:
    desk = stage.desk
    stage.go_on()
    stage.key("Shift+W")
    stage.rig.wait(lambda: desk.board.edge.value == 0.5)
    stage.key("Space")
    held = desk._current()
    assert held is not None and held.frame is not None
    assert held.frame.number == held.reading.stamp.number
    at, frame = desk.frame.places, stage.sent()
    y, quarter = at.disc_y + at.disc // 2, at.disc // 4
    left = frame[y - 20 : y + 20, at.disc_x + quarter - 20 : at.disc_x + quarter + 20, 0].mean()
    right = frame[y - 20 : y + 20, at.disc_x + 3 * quarter : at.disc_x + 3 * quarter + 20, 0].mean()
    # 0.45 of the light, linear, is sRGB 178; the quiet lifted picture is middle grey.
    assert left == pytest.approx(178, abs=4)
    assert right == pytest.approx(128, abs=8)


@pytest.mark.slow
def test_nothing_of_the_presenter_appears_on_the_audiences_window(stage: Stage) -> None:
    stage.go_on()
    stage.rig.bridge.said.emit("a message for the presenter")
    stage.rig.bridge.note("a fault for the presenter")
    QTest.qWait(300)
    assert not stage.audience.findChildren(QWidget)
    assert QApplication.activePopupWidget() is None
    assert "a fault" in stage.page.guard.words().lower()


@pytest.mark.slow
def test_words_take_turns_beside_pictures_and_wait_for_nothing_without_them(stage: Stage) -> None:
    desk, page, bridge = stage.desk, stage.page, stage.rig.bridge
    stage.go_on()
    bridge.new_reading.disconnect(desk._on_reading)
    bridge.new_status.disconnect(desk._on_status)
    bridge.new_status.disconnect(page._on_status)
    page._chores.with_picture()
    bridge.note("a fault for the presenter")
    page._on_status(bridge.status)
    assert "a fault" not in page.guard.words().lower()

    def with_pictures() -> bool:
        desk.composed.emit()
        return "a fault" in page.guard.words().lower()

    stage.rig.wait(with_pictures)
    desk.board.at = 1
    QTest.qWait(300)  # no picture for longer than the words' patience
    page._on_status(bridge.status)
    assert "The air." in page.captions.words()


def test_a_press_on_the_small_copy_points_the_spotlight(stage: Stage) -> None:
    copy, at = stage.page.dial.copy, stage.desk.frame.places
    scale = copy.width() / stage.desk.frame.size[0]
    x = (at.disc_x + 0.75 * at.disc) * scale
    y = (at.disc_y + 0.5 * at.disc) * scale
    QTest.mouseClick(copy, Qt.MouseButton.LeftButton, pos=QPoint(round(x), round(y)))
    assert stage.desk.board.spot[0] == pytest.approx(0.5, abs=0.03)
    assert stage.desk.board.spot[1] == pytest.approx(0.0, abs=0.03)
    assert stage.desk.board.spot_depth.target == 1.0


def test_the_guard_is_switched_off_only_through_its_warning(stage: Stage) -> None:
    desk, page = stage.desk, stage.page
    stage.key("Y")
    assert desk.frame.guarded
    stage.key("K")  # the cautions alone do not offer it
    assert page.sheet.isVisible()
    stage.key("Y")
    assert desk.frame.guarded
    stage.key("Escape")
    assert not page.sheet.isVisible()
    stage.key("Ctrl+G")
    assert page.sheet.isVisible()
    assert desk.frame.guarded
    stage.key("Escape")
    assert desk.frame.guarded
    stage.key("Ctrl+G")
    stage.key("Y")
    assert not desk.frame.guarded
    QTest.qWait(200)
    assert "OFF" in page.guard.words()
    stage.key("Ctrl+G")
    assert desk.frame.guarded


@pytest.mark.slow
def test_the_caution_has_room_beside_the_pads_with_large_words(app: QApplication) -> None:
    made = Stage(app, scripted(disc_frames), wanted=settings().replaced("screen", text_scale=1.25))
    try:
        page = made.page
        caution = page.caution.geometry()
        assert page.caution.fits
        assert page.rect().contains(caution)
        assert not any(caution.intersects(pad.geometry()) for pad in page.pads.values())
    finally:
        made.rig.close()


@pytest.mark.slow
def test_settable_keys_and_a_foot_switch(app: QApplication) -> None:
    own = {"replay": ["F13"], "next": ["Space"], "blank": ["PageDown"]}
    made = Stage(app, scripted(disc_frames), wanted=settings(keys=own))
    try:
        made.key("Space")
        assert made.desk.board.at == 0
        made.key("PgDown")
        assert made.desk.board.blank
        made.key("F13")
        made.rig.wait(lambda: "no spark" in made.rig.window.answer.words())
    finally:
        made.rig.close()


@pytest.mark.slow
def test_a_stalled_camera_leaves_the_last_picture_and_a_small_mark(app: QApplication) -> None:
    def steps() -> Iterator[Step]:
        yield from itertools.islice(disc_frames(), 90)
        yield Pause(5.0)
        yield from disc_frames()

    made = Stage(app, scripted(steps))
    try:
        made.go_on()

        def marked() -> bool:
            at = made.desk.frame.places
            low, right, part = at.disc_y + at.disc, at.disc_x + at.disc, at.disc // 12
            corner = made.sent()[low - part : low, right - part : right]
            return bool(corner[..., :3].max() > 80)  # the mark's strokes

        def stands() -> bool:
            """For a while: on a busy machine a frame before the pause may look like it, too."""
            before = made.level()
            QTest.qWait(400)
            return made.desk.stalled and marked() and made.level() == before > 40

        made.rig.wait(stands)
        made.rig.wait(lambda: not made.desk.stalled)
    finally:
        made.rig.close()


class Beat:
    """A clock that goes on by a sixtieth of a second when told to."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.mark.slow
@pytest.mark.parametrize("hz", [2, 5, 20])
def test_sparks_reach_the_audience_within_the_limits(app: QApplication, hz: int) -> None:
    """Full-screen sparks through desk and window; every frame sent is judged independently."""
    made = WindowRig(app, scripted(disc_frames))
    beat = Beat()
    page = ShowPage(made.window, made.bridge, clock=beat)
    desk = page.desk
    try:
        made.bridge.new_reading.disconnect(desk._on_reading)
        made.bridge.new_status.disconnect(desk._on_status)
        desk.stage.running = True
        desk.board.legend_on = False
        desk.audience.put_on(QRect(0, 0, 432, 243), full=False)
        QTest.qWaitForWindowExposed(desk.audience)
        sent, given = [], []
        for number in range(4 * 60):
            beat.now_s += 1 / 60
            lit = number % round(60 / hz) == 0
            picture = np.full((180, 320, 4), 255 if lit else 110, np.uint8)
            desk._on_reading(replace(reading(number, disc=None), picture=picture))
            assert desk.audience.frame is desk.frame.sent
            sent.append(desk.audience.frame.copy())
            given.append(picture)
        assert passes_general(given, every=16) is (hz == 2)
        assert passes_general(sent, every=16)
        assert (desk.log.touched > 0) is (hz > 2)
        if hz > 2:
            headline, below = desk.guard_words()
            assert "softens" in headline or "holds" in headline or "softened" in below
        # A quiet picture passes untouched, in the same call: no frame of delay.
        for number in range(240, 330):
            beat.now_s += 1 / 60
            picture = np.full((180, 320, 4), 110, np.uint8)
            desk._on_reading(replace(reading(number, disc=None), picture=picture))
        assert desk.log.share == 1.0
        picture = np.full((180, 320, 4), 113, np.uint8)
        beat.now_s += 1 / 60
        desk._on_reading(replace(reading(330, disc=None), picture=picture))
        assert desk.audience.frame[120, 200, 0] == 113
    finally:
        page.finish(1.0)
        made.close()


@pytest.mark.slow
def test_every_spark_is_replayed_slowly_and_then_it_is_live_again(app: QApplication) -> None:
    wanted = settings(
        replay_by_itself=True, replay_rate="1/4", replay_before="50 ms", replay_after="150 ms"
    )
    wanted = wanted.replaced("catch", on="flash", learn_s=1.0)
    made = Stage(app, scripted(flashing_frames), wanted=wanted)
    try:
        made.go_on()
        made.rig.wait(lambda: made.rig.session.status().arm is not ArmState.OFF)  # by itself
        made.rig.wait(lambda: made.desk.slow.shown is not None, 30)
        spark_s = max(spot.time_s for spot in made.rig.bridge.status.recent)
        shown = made.desk.slow.shown
        assert shown is not None and shown.frame is not None
        assert shown.reading.stamp.time_s <= spark_s + 0.02
        assert made.desk.slow.mark == "Slow replay, 1/4 of real time"
        seen = set()

        def live_again() -> bool:
            there = made.desk.slow.shown
            if there is not None:
                seen.add(there.reading.stamp.number)
            return not made.desk.replaying

        made.rig.wait(live_again)
        assert len(seen) > 6  # 0.2 s of 60 Hz, a few may be skipped on a busy machine
        made.rig.wait(lambda: made.desk.slow.mark == "")
        live = made.desk._current()
        assert live is not None and live.reading.stamp.number > max(seen)
    finally:
        made.rig.close()


@pytest.mark.slow
def test_the_replay_can_be_left_at_any_time(app: QApplication) -> None:
    wanted = settings(replay_rate="1/100").replaced("catch", on="flash", learn_s=1.0)
    made = Stage(app, scripted(flashing_frames), wanted=wanted)
    try:
        made.go_on()
        made.rig.session.arm()
        made.rig.wait(lambda: bool(made.rig.bridge.status.recent), 30)
        made.key("R")
        made.rig.wait(lambda: made.desk.slow.shown is not None)
        made.key("R")
        assert not made.desk.replaying
    finally:
        made.rig.close()


def simulated_source(address: str, wanted: Settings) -> Session:
    clock = SessionClock()
    says = info(WIDTH, HEIGHT, rate_hz=RATE, kind=SourceKind.SIMULATED, transfer="linear")

    def frames() -> FrameSource:
        return ScriptedSource(says, disc_frames(), clock)

    return Session(wanted, frames, clock=clock)


@pytest.mark.slow
def test_a_simulated_rig_is_labelled_for_the_audience_too(app: QApplication) -> None:
    made = Stage(app, simulated_source)
    try:
        made.go_on()
        made.rig.wait(lambda: made.desk._source(made.desk._current()).simulated)
    finally:
        made.rig.close()


def test_the_presenter_is_told_what_the_picture_lacks() -> None:
    """And that the audience sees the last picture while a stalled source is opened again."""
    lacking = replace(reading(), words=("background: the first 16 frames; take a reference",))
    running = SessionStatus(SessionState.RUNNING)
    assert "Background: the first 16 frames" in fault_lines(running, (), lacking)[0].text
    assert fault_lines(running, ()) == []
    again = SessionStatus(SessionState.OPENING, ("no picture came for 2 s: trying again",))
    first, second = fault_lines(again, (), reading())
    assert "the audience sees the last one" in first.text
    assert "trying again" in second.text
    assert "being opened" in fault_lines(SessionStatus(SessionState.OPENING), ())[0].text


def test_off_the_screen_it_is_not_on() -> None:
    stage = SimpleNamespace(running=True)
    desk = cast(
        Any,
        SimpleNamespace(
            board=Board(Show()),
            stage=stage,
            frozen=False,
            replaying=False,
            stalled=False,
            boosted=False,
        ),
    )
    assert "on for 2" in seen_words(desk, 130.0)
    stage.running = False
    assert seen_words(desk, 130.0) == "live"


@pytest.mark.slow
def test_another_show_is_opened_by_its_key(stage: Stage, tmp_path: Path) -> None:
    path = tmp_path / "second.toml"
    path.write_text(
        "[show]\ntitle = 'Second'\ncaptions = ['one', 'two']\n"
        "[show.keys]\nnext = ['F13']\nblank = ['W']\n",
        encoding="utf-8",
    )
    stage.go_on()
    stage.key("PgDown")
    if stage.desk.stage.covers_presenter:
        stage.key("Escape")
    stage.press(stage.rig.window, "Ctrl+O")
    dialog = stage.page.window().findChild(QFileDialog)
    assert dialog is not None
    assert Path(dialog.directory().path()).name == "shows"
    dialog.fileSelected.emit(str(path))
    dialog.close()
    assert [caption.text for caption in stage.desk.board.captions] == ["one", "two"]
    assert stage.desk.board.caption is None, "from its beginning"
    assert "Show: Second" in stage.rig.window.answer.words()
    stage.press(stage.rig.window, "F13")
    assert stage.desk.board.caption is not None
    assert stage.desk.board.caption.text == "one"
    stage.press(stage.rig.window, "W")
    assert stage.desk.board.blank, "the key that the show gave to it"
    assert stage.page.pads["next"].key == "F13"
    assert stage.page.pads["wipe"].key == ""
    assert stage.rig.bridge.address == "camera:0"


@pytest.mark.slow
def test_a_show_that_names_a_source_changes_to_it_and_a_wrong_one_changes_nothing(
    stage: Stage, tmp_path: Path
) -> None:
    wrong, right = tmp_path / "wrong.toml", tmp_path / "right.toml"
    wrong.write_text("[show]\n[show.keys]\nnext = ['Y']\n", encoding="utf-8")
    right.write_text("[camera]\nsource = 'camera:7'\n[show]\ntitle = 'R'\n", encoding="utf-8")
    before = stage.rig.bridge.settings
    stage.page.open_show(str(wrong))
    assert "belongs to the window" in stage.rig.window.answer.words()
    assert stage.rig.bridge.settings == before
    stage.page.open_show(str(right))
    assert stage.rig.bridge.address == "camera:7"
    stage.rig.wait(lambda: not stage.rig.bridge.changing)
    stage.rig.first_picture()
