"""The window with a real session behind it, driven by real keys and mouse."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QWidget
from support.scripted_source import ScriptedSource, Skip, Stuck, gone, info, stalled
from support.waiting import wait_for
from support.window_rig import HEIGHT, RATE, WIDTH, WindowRig, disc_frames, scripted, simulated

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.errors import InputUnreadable
from liveview.gui.hand import knobs_for
from liveview.model import (
    ArmState,
    CalibrationKind,
    Cause,
    FrameSource,
    SessionState,
    SourceKind,
    Spotted,
)
from liveview.settings import Settings

Open = Callable[..., WindowRig]


@pytest.fixture
def open_window(app: QApplication) -> Iterator[Open]:
    """Opens windows that are closed, and their threads ended, after the test."""
    rigs: list[WindowRig] = []

    def make(*args: object, **more: object) -> WindowRig:
        rigs.append(WindowRig(app, *args, **more))  # type: ignore[arg-type]
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.close()


def words_of(rig: WindowRig) -> str:
    """Everything written on the page."""
    page = rig.window.page
    blocks = (page.blade, page.notices, page.catch, page.verdict, rig.window.answer)
    return "\n".join(block.words() for block in blocks)


def test_it_shows_a_picture_its_readings_and_the_count_of_lost_frames(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.wait(lambda: rig.window.page.histogram is not None)
    rig.wait(lambda: "0 frames lost" in words_of(rig))
    rig.wait(lambda: "Relative brightness" in words_of(rig))
    assert not rig.window.source.simulated
    rig.wait(lambda: "320" in rig.window.source.words())
    rig.wait(lambda: rig.window.page.dial.picture.reading.disc is not None)


@pytest.mark.slow
def test_the_only_picture_of_a_still_stays_though_it_came_before_the_window(
    open_window: Open,
) -> None:
    """A recording of one frame is over before its session is taken over."""

    def build(address: str, settings: Settings) -> Session:
        clock = SessionClock()
        says = info(WIDTH, HEIGHT, rate_hz=RATE, kind=SourceKind.IMAGES, transfer="linear")

        def frames() -> FrameSource:
            return ScriptedSource(says, itertools.islice(disc_frames(), 1), clock)

        session = Session(settings, frames, clock=clock)
        start = session.start

        def start_and_see() -> None:
            start()
            wait_for(lambda: session.newest() is not None)

        session.start = start_and_see  # type: ignore[method-assign]
        return session

    rig = open_window(build)
    rig.wait(lambda: rig.bridge.session is not None)
    QTest.qWait(300)
    assert rig.window.page.dial.picture.reading is not None


@pytest.mark.slow
def test_lost_frames_are_counted_on_the_screen(open_window: Open) -> None:
    def steps() -> Iterator[object]:
        frames = iter(disc_frames())
        yield from itertools.islice(frames, 30)
        yield Skip(7)
        yield from frames

    rig = open_window(scripted(steps))
    rig.first_picture()
    rig.wait(lambda: "7 frames lost" in words_of(rig))


def test_the_simulated_rig_is_labelled_and_can_be_turned(open_window: Open) -> None:
    rig = open_window(simulated, addresses=("simulated",))
    rig.first_picture()
    rig.wait(lambda: rig.window.source.simulated)
    assert "SIMULATED" in rig.window.source.words()
    rig.press("H")
    assert rig.window.panels.hand.isVisible()
    before = rig.session.rig.values()["blade_x_m"]
    rig.press("Right")
    rig.press("Shift+Right")
    assert rig.session.rig.values()["blade_x_m"] == pytest.approx(before + 11 * 10e-6)
    rig.press("Escape")
    assert not rig.window.panels.hand.isVisible()


@pytest.mark.slow
def test_no_two_knobs_of_the_rig_have_one_name(open_window: Open) -> None:
    rig = open_window(simulated, addresses=("simulated",))
    rig.first_picture()
    titles = [knob.title for knob in knobs_for(rig.session.rig)]
    assert len(set(titles)) == len(titles)
    assert "Fire one spark" in titles


@pytest.mark.slow
@pytest.mark.parametrize("size", [(1280, 800), (1280, 720)])
@pytest.mark.parametrize("text_scale", [1.0, 1.25])
def test_the_rigs_panel_covers_no_words(
    open_window: Open, size: tuple[int, int], text_scale: float
) -> None:
    settings = Settings().replaced("screen", text_scale=text_scale)
    rig = open_window(simulated, addresses=("simulated",), settings=settings, size=size)
    rig.first_picture()
    page, hand = rig.window.page, rig.window.panels.hand
    rig.wait(lambda: "background" in page.notices.words().lower())
    before = page.notices.geometry()
    rig.press("H")
    assert not page.notices.geometry().intersects(hand.geometry())
    rig.wait(lambda: page.notices.fits)
    assert "frames lost" in page.notices.words()
    rig.press("H")
    assert page.notices.geometry() == before


@pytest.mark.slow
def test_freeze_holds_the_picture_and_goes_on(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.press("Space")
    assert rig.window.frozen
    number = rig.window.page.dial.picture.reading.stamp.number
    captured = rig.session.status().counters.captured
    rig.wait(lambda: rig.session.status().counters.captured > captured + 10)
    assert rig.window.page.dial.picture.reading.stamp.number == number
    rig.press("Space")
    rig.wait(lambda: rig.window.page.dial.picture.reading.stamp.number > number)


@pytest.mark.slow
def test_calibration_is_taken_by_key_and_undone(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.press("R")
    rig.wait(lambda: CalibrationKind.REFERENCE in rig.session.status().has)
    rig.wait(lambda: rig.window.page.pads["take reference"].on)
    assert rig.window.page.pads["take reference"].note == "taken"
    rig.press("Ctrl+Z")
    rig.wait(lambda: CalibrationKind.REFERENCE not in rig.session.status().has)
    rig.wait(lambda: not rig.window.page.pads["take reference"].on)
    rig.press("Ctrl+Z")
    assert "Nothing to undo" in words_of(rig)


@pytest.mark.slow
def test_a_calibration_picture_is_taken_by_mouse(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    QTest.mouseClick(rig.window.page.pads["take open"], Qt.MouseButton.LeftButton)
    rig.wait(lambda: CalibrationKind.OPEN in rig.session.status().has)


@pytest.mark.slow
def test_arming_and_a_trigger_by_hand(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.press("A")
    rig.wait(lambda: rig.session.status().arm is not ArmState.OFF)
    rig.wait(lambda: "Learning" in words_of(rig) or "Armed" in words_of(rig))
    rig.press("T")
    rig.wait(lambda: "Catching" in words_of(rig))
    rig.press("A")
    rig.wait(lambda: rig.session.status().arm is ArmState.OFF)


def test_views_and_gain(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.press("3")
    rig.wait(lambda: rig.window.page.dial.picture.reading.view == "signed")
    rig.wait(lambda: rig.window.page.pads["view signed"].on)
    assert rig.bridge.settings.enhance.gain_contrast is None
    rig.press("G")
    fixed = rig.bridge.settings.enhance.gain_contrast
    assert fixed is not None
    rig.press("+")
    assert rig.bridge.settings.enhance.gain_contrast < fixed
    rig.press("G")
    assert rig.bridge.settings.enhance.gain_contrast is None
    rig.press("1")
    rig.wait(lambda: rig.window.page.dial.picture.reading.view == "plain")


@pytest.mark.slow
def test_the_disc_by_hand_and_found_again(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.wait(lambda: rig.window.page.dial.picture.reading.disc is not None)
    found = rig.window.page.dial.picture.reading.disc
    rig.press("P")
    assert rig.bridge.settings.enhance.view == "plain"
    rig.press("Shift+Left")
    rig.press("Return")
    assert rig.bridge.settings.enhance.view == "lifted"
    picture = rig.window.page.dial.picture
    rig.wait(lambda: picture.reading.disc is not None and picture.reading.disc.by_hand)
    assert picture.reading.disc.cx == pytest.approx(found.cx - 10)
    rig.press("F")
    rig.wait(lambda: picture.reading.disc is not None and not picture.reading.disc.by_hand)
    assert picture.reading.disc.cx == pytest.approx(found.cx, abs=1.0)


def test_sheets_open_and_close_by_key(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    rig.press("F1")
    assert rig.window.key_sheet.isVisible()
    rig.press("Escape")
    assert not rig.window.key_sheet.isVisible()
    rig.press("S")
    assert rig.window.sources.isVisible()
    # Letters belong to the address now.
    rig.press("D")
    assert rig.window.sources.address_field.text().lower() == "d"
    assert rig.session.status().taking is None
    rig.press("Escape")
    assert not rig.window.sources.isVisible()
    rig.press("D")
    rig.wait(lambda: rig.session.status().taking is not None or rig.session.status().has)


@pytest.mark.slow
def test_after_a_sheet_keys_go_to_the_page_that_is_open(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    rig.first_picture()
    page = QWidget()
    page.set_look = page.set_settings = lambda _: None  # type: ignore[attr-defined]
    page.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    rig.window.add_page("Plan", page)
    rig.window.turn_to("Plan")
    for key in ("F8", "F1"):
        rig.press(key)
        assert not page.hasFocus()
        rig.press("Escape")
        assert page.hasFocus()
    rig.window.turn_to("Watch")
    rig.press("F1")
    rig.press("Escape")
    assert rig.window.page.dial.picture.hasFocus()


@pytest.mark.slow
def test_another_source_is_chosen_from_the_sheet(open_window: Open) -> None:
    opened: list[str] = []
    build = scripted(disc_frames)

    def remember(address: str, settings: object) -> object:
        opened.append(address)
        return build(address, settings)  # type: ignore[arg-type]

    rig = open_window(remember)
    rig.first_picture()
    rig.press("S")
    field = rig.window.sources.address_field
    QTest.keyClicks(field, "shelf/candle.mkv")
    QTest.keyClick(field, Qt.Key.Key_Return)
    rig.wait(lambda: opened == ["camera:0", "shelf/candle.mkv"])
    rig.wait(lambda: rig.bridge.session is not None)
    rig.first_picture()
    assert not rig.window.sources.isVisible()


@pytest.mark.slow
def test_the_first_source_that_delivers_is_taken_and_the_other_named(open_window: Open) -> None:
    good = scripted(disc_frames)

    def build(address: str, settings: object) -> object:
        if address == "camera:0":
            raise InputUnreadable("does not answer", "camera:0", "plug it in")
        if address == "camera:1":
            return scripted(lambda: [gone()])(address, settings)  # type: ignore[arg-type]
        return good(address, settings)  # type: ignore[arg-type]

    rig = open_window(build, addresses=("camera:0", "camera:1", "simulated"))
    rig.first_picture()
    assert rig.bridge.address == "simulated"
    rig.wait(lambda: "camera:0: does not answer" in words_of(rig))


def test_a_source_that_cannot_be_opened_is_said_and_keys_do_not_crash(open_window: Open) -> None:
    def build(address: str, settings: object) -> object:
        raise InputUnreadable("there is no such file", "gone.mkv", "check the path")

    rig = open_window(build, addresses=("gone.mkv",))
    rig.wait(lambda: rig.bridge.status.state is SessionState.FAILED)
    rig.wait(lambda: "gone.mkv: there is no such file; check the path" in words_of(rig))
    for key in ("D", "A", "T", "G", "Space", "P", "F", "H", "W", "Ctrl+Z", "B"):
        rig.press(key)


@pytest.mark.slow
def test_a_stalled_source_says_so_and_comes_back(open_window: Open) -> None:
    openings = itertools.count()

    def steps() -> Iterator[object]:
        frames = iter(disc_frames())
        if next(openings) == 0:
            yield from itertools.islice(frames, 40)
            yield stalled()
        yield from frames

    rig = open_window(scripted(steps))
    rig.first_picture()
    rig.wait(lambda: rig.bridge.status.state is SessionState.STALLED)
    rig.wait(lambda: rig.bridge.status.state is SessionState.RUNNING)
    assert next(openings) >= 2


@pytest.mark.slow
def test_a_stuck_driver_does_not_hang_the_window(open_window: Open) -> None:
    stuck = Stuck()

    def steps() -> Iterator[object]:
        yield from itertools.islice(disc_frames(), 20)
        yield stuck

    rig = open_window(scripted(steps))
    rig.first_picture()
    rig.wait(lambda: rig.session.status().counters.captured == 20)
    try:
        assert rig.close() < 3.0
        assert any("did not end" in words for words in rig.window.stuck)
    finally:
        stuck.let_go.set()


def test_closing_is_quick_and_leaves_no_thread(open_window: Open) -> None:
    rig = open_window(simulated, addresses=("simulated",))
    rig.first_picture()
    assert rig.close() < 2.5
    assert rig.window.stuck == ()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("size", "text_scale"),
    [
        ((1280, 800), 1.0),
        ((1280, 720), 1.25),
        ((1920, 1080), 1.0),
        ((960, 600), 1.0),
        ((1024, 1200), 1.0),
    ],
)
def test_nothing_is_cut_off_or_lies_over_something_else(
    open_window: Open, size: tuple[int, int], text_scale: float
) -> None:
    settings = Settings().replaced("screen", text_scale=text_scale)
    rig = open_window(scripted(disc_frames), size=size, settings=settings)
    rig.first_picture()
    rig.wait(lambda: rig.window.page.histogram is not None)
    page = rig.window.page
    pads = list(page.pads.values())
    room = page.rect()
    for pad in pads:
        assert room.contains(pad.geometry()), pad.text()
    for one, other in itertools.combinations(pads, 2):
        assert not one.geometry().intersects(other.geometry()), (one.text(), other.text())
    # The trigger has its most to say once a spark was spotted.
    spark = Spotted(1.0, 0.0, Cause.BOTH, 1648.0)
    page.show_status(replace(rig.bridge.status, recent=(spark,)), ())
    page.lay_out()
    for pad in pads:
        assert not pad.geometry().intersects(page.verdict.geometry()), pad.text()
    for block in (page.blade, page.notices, page.catch, page.verdict):
        assert block.needed_height(block.width()) <= block.height() + 1, block.words()
        assert room.contains(block.geometry())
    # Words stay off the disc itself.
    centre, radius = page.dial.geometry().center(), page.dial.geometry_of_rings.disc
    for widget in (*pads, page.blade, page.catch, page.verdict, page.notices):
        box = widget.geometry()
        x = min(max(centre.x(), box.left()), box.right())
        y = min(max(centre.y(), box.top()), box.bottom())
        off = ((x - centre.x()) ** 2 + (y - centre.y()) ** 2) ** 0.5
        assert off >= radius, widget.accessibleName()


def test_every_action_has_a_key_and_stands_on_the_sheet(open_window: Open) -> None:
    rig = open_window(scripted(disc_frames))
    shown = {a.name for actions in rig.window.keys.groups().values() for a in actions}
    for name in ("freeze", "take dark", "take open", "take reference", "undo", "arm", "trigger"):
        assert name in shown
    for name, pad in rig.window.page.pads.items():
        assert rig.window.keys[name].key in pad.toolTip()
