"""The Catch page with a real session and a real recorder, driven by real keys and mouse."""

from __future__ import annotations

import itertools
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, QPointF, Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QFileDialog, QWidget
from support.scripted_source import ScriptedSound, ScriptedSource, info
from support.window_rig import HEIGHT, RATE, WIDTH, WindowRig, flashing_frames

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.gui.catch_cards import CaughtCards
from liveview.gui.catch_page import CatchPage, join_catch
from liveview.gui.catch_ring import angle_to_time
from liveview.gui.catch_words import longest_pre_s
from liveview.gui.other_pages import add_other_pages
from liveview.gui.review_page import ReviewPage
from liveview.model import ArmState, Cause, FrameSource, SoundBlock, SourceKind
from liveview.recorder import Recorder, StoredEvent
from liveview.settings import Settings
from liveview.sources import Input

CRACK_S = 0.5
"""A crack in every so many seconds of sound."""

BLOCK = 2400


def hiss(level: float) -> Iterator[SoundBlock]:
    """Endless even noise."""
    rng = np.random.default_rng(5)
    for number in itertools.count():
        samples = rng.uniform(-level, level, (BLOCK, 1)).astype(np.float32)
        yield SoundBlock(samples, 48000.0, number * BLOCK / 48000.0)


class Bench:
    """A window with the Catch page, its session and its recorder."""

    def __init__(
        self,
        app: QApplication,
        folder: Path,
        level: float | None,
        *,
        whole: bool = False,
        simulated: bool = False,
        **catch: object,
    ) -> None:
        settings = (
            Settings()
            .replaced("store", folder=str(folder), ring_mb=40, reserve_mb=1)
            .replaced("catch", learn_s=2.0, pre_trigger_s=0.5, post_trigger_s=1.0, **catch)
        )
        self.folder = folder
        self.recorder = Recorder(settings.store)

        def build(address: str, wanted: Settings) -> Session:
            clock = SessionClock()
            says = info(WIDTH, HEIGHT, rate_hz=RATE, kind=SourceKind.CAMERA, transfer="linear")

            def frames() -> FrameSource:
                return ScriptedSource(says, flashing_frames(150), clock)

            sound = None
            if level is not None:
                sound = lambda: ScriptedSound(hiss(level), clock=clock)  # noqa: E731
            return Session(
                wanted,
                frames,
                sound=sound,
                sink=self.recorder,
                store_status=self.recorder.status,
                clock=clock,
            )

        def build_simulated(address: str, wanted: Settings) -> Session:
            clock = SessionClock()
            small = wanted.replaced("camera", width=WIDTH, height=HEIGHT, rate_hz=30.0)
            source = Input("simulated", small, clock=clock, live=True)
            return Session(
                small,
                source.frames,
                sound=source.sound,
                sink=self.recorder,
                store_status=self.recorder.status,
                rig=source.rig,
                clock=clock,
            )

        self.rig = WindowRig(
            app,
            build_simulated if simulated else build,
            settings=settings,
            keep_events_in=self.recorder.save_pending,
        )
        self.rig.first_picture()
        if whole:
            add_other_pages(self.rig.window, self.rig.bridge)
            (self.page,) = self.rig.window.findChildren(CatchPage)
        else:
            self.page = join_catch(self.rig.window, self.rig.bridge)
        self.rig.press("F5")
        assert self.page.isVisible()

    def words(self) -> str:
        """Everything written on the page."""
        page = self.page
        parts = (page.badge, page.rows, page.path, page.meter, page.events, page.store)
        answer = self.rig.window.answer.words()
        return "\n".join([*(part.words() for part in parts), page.caution.words(), answer])

    def wait(self, what: Callable[[], bool]) -> None:
        self.rig.wait(what, 40.0)

    def caught(self, number: int = 1) -> None:
        """Wait until so many events are finished and listed."""
        self.wait(lambda: sum(card.converted for card in self.page.events.cards) >= number)

    def close(self) -> None:
        self.rig.close()
        self.recorder.close(10.0)


Make = Callable[..., Bench]


@pytest.fixture
def make(app: QApplication, tmp_path: Path) -> Iterator[Make]:
    """Opens benches that are closed, and their threads ended, after the test."""
    made: list[Bench] = []

    def build(level: float | None = None, **catch: object) -> Bench:
        made.append(Bench(app, tmp_path / "events", level, **catch))
        return made[-1]

    yield build
    for bench in made:
        bench.close()


def drag(widget: QWidget, start: QPointF, end: QPointF) -> None:
    """Draw with the mouse, as a hand does."""
    QTest.mousePress(widget, Qt.MouseButton.LeftButton, pos=start.toPoint())
    for k in range(1, 9):
        at = start + (end - start) * (k / 8)
        QTest.mouseMove(widget, at.toPoint())
        QTest.qWait(5)
    QTest.mouseRelease(widget, Qt.MouseButton.LeftButton, pos=end.toPoint())


def choose_folder(bench: Bench, folder: Path) -> None:
    """The sheet for another folder, opened by its key."""
    bench.rig.press("O")
    dialog = bench.rig.window.findChild(QFileDialog)
    assert dialog is not None
    dialog.fileSelected.emit(str(folder))
    dialog.reject()


@pytest.mark.slow
def test_what_the_disk_refuses_stays_is_saved_elsewhere_and_holds_the_window_open(
    make: Make, tmp_path: Path
) -> None:
    bench = make(on="off")
    shutil.rmtree(bench.folder, ignore_errors=True)
    bench.folder.write_text("a file where the folder was")
    bench.rig.press("T")
    bench.wait(lambda: "stay in memory" in bench.words())
    bench.wait(lambda: bench.rig.bridge.status.arm is not ArmState.CATCHING)
    choose_folder(bench, bench.folder / "inside")
    bench.wait(lambda: "choose another folder" in bench.words())
    bench.rig.press("Ctrl+Q")
    bench.wait(lambda: "wait for the disk" in bench.words())
    assert bench.rig.window.isVisible()
    other = tmp_path / "another disk"
    choose_folder(bench, other)
    assert bench.rig.bridge.settings.store.folder == str(other)
    bench.wait(lambda: not bench.rig.window.isVisible())
    assert bench.recorder.drain(30.0)
    (path,) = other.iterdir()
    with StoredEvent.open(path) as event:
        assert event.complete
        assert len(event) > RATE


def test_what_waits_can_be_given_up(make: Make) -> None:
    bench = make(on="off")
    shutil.rmtree(bench.folder, ignore_errors=True)
    bench.folder.write_text("a file where the folder was")
    bench.rig.press("T")
    bench.wait(lambda: "stay in memory" in bench.words())
    bench.rig.press("Ctrl+Q")
    assert bench.rig.window.isVisible()
    bench.rig.press("Ctrl+Q")
    assert not bench.rig.window.isVisible()


@pytest.mark.slow
def test_a_flash_is_learnt_for_caught_listed_binned_and_put_back(make: Make) -> None:
    bench = make(on="flash")
    page = bench.page
    assert "Off" in bench.words()
    assert "Nothing caught yet" in bench.words()
    bench.rig.press("A")
    bench.wait(lambda: "Learning" in bench.words())
    bench.wait(lambda: "Armed" in bench.words())
    bench.wait(lambda: "Catching" in bench.words())
    bench.wait(lambda: page.dial.values.event is not None)
    bench.caught()
    bench.rig.press("A")
    bench.wait(lambda: "Off" in bench.words())
    bench.wait(lambda: all(card.converted for card in page.events.cards))
    card = page.events.cards[-1]
    assert card.cause is Cause.FLASH
    assert card.strength > 6
    bench.wait(lambda: bool(page.events._posters))
    before = len(page.events.cards)
    name = page.events.chosen.name
    bench.rig.press("Del")
    assert len(page.events.cards) == before - 1
    assert (bench.folder / ".bin" / name).is_dir()
    assert f"{name} is in the bin" in bench.words()
    assert page.pads["put back"].isVisible()
    bench.rig.press("Ctrl+Z")
    assert (bench.folder / name / "event.json").is_file()
    assert page.events.chosen.name == name
    bench.rig.press("U")
    assert "Nothing to put back" in bench.words()


@pytest.mark.slow
def test_by_hand_with_the_mouse_and_on_to_review(make: Make) -> None:
    bench = make(whole=True, on="off")
    asked: list[str] = []
    bench.page.review_asked.connect(asked.append)
    QTest.mouseClick(bench.page.pads["trigger"], Qt.MouseButton.LeftButton)
    bench.caught()
    box = bench.page.events.row_box(0).center().toPoint()
    QTest.mouseDClick(bench.page.events, Qt.MouseButton.LeftButton, pos=box)
    assert asked[-1] == str(bench.page.events.chosen.path)
    assert "By hand" in bench.words()
    assert not bench.page.isVisible()
    bench.rig.window.turn_to("Catch")
    bench.rig.press("L")
    assert len(asked) == 2
    review = bench.rig.window.findChild(ReviewPage)
    bench.wait(lambda: review.isVisible() and review.dial.picture.reading is not None)


@pytest.mark.slow
def test_while_the_newest_is_written_the_one_before_opens_by_key(make: Make) -> None:
    bench = make(on="off")
    asked: list[str] = []
    bench.page.review_asked.connect(asked.append)
    QTest.mouseClick(bench.page.pads["trigger"], Qt.MouseButton.LeftButton)
    bench.caught()
    ready = bench.page.events.chosen
    assert ready is not None
    newer = replace(ready, path=bench.folder / "newer", name="newer", converted=False)
    bench.page.events.show_cards((newer, ready))
    bench.page.review_ready()
    assert asked == [str(newer.path)]  # on the disk, though not compressed yet
    asked.clear()
    store = replace(bench.page._status.store, writing=True)
    bench.page._status = replace(bench.page._status, store=store)
    bench.page.review_ready()
    assert asked == [str(ready.path)]
    assert "one before it" in bench.words()
    # Pressed itself, it is not mistaken for another.
    bench.page.open_in_review()
    assert len(asked) == 1
    assert "still being written" in bench.words()


def test_the_badge_arms_by_mouse_and_by_keyboard(make: Make) -> None:
    bench = make(on="flash")
    QTest.mouseClick(bench.page.badge, Qt.MouseButton.LeftButton)
    bench.wait(lambda: bench.rig.session.status().arm is not ArmState.OFF)
    bench.wait(lambda: bench.rig.bridge.status.arm is not ArmState.OFF)
    bench.page.badge.setFocus()
    QTest.keyClick(bench.page.badge, Qt.Key.Key_Return)
    bench.wait(lambda: bench.rig.session.status().arm is ArmState.OFF)


@pytest.mark.slow
def test_handles_set_the_seconds_and_stop_where_the_memory_ends(make: Make) -> None:
    bench = make(on="flash")
    dial, bridge = bench.page.dial, bench.rig.bridge
    bench.wait(lambda: bench.rig.bridge.status.ring_capacity_seconds is not None)
    centre = QPointF(dial.width() / 2, dial.height() / 2)
    start = dial.handle("after")
    end = QPointF(start.x(), 2 * centre.y() - start.y())
    drag(dial, start, end)
    assert bridge.settings.catch.post_trigger_s > 0.8
    assert bench.rig.session.settings.catch.post_trigger_s == bridge.settings.catch.post_trigger_s
    bridge.apply(bridge.settings.replaced("catch", pre_trigger_s=4.0, post_trigger_s=8.0))
    bench.rig.window.use_settings(bridge.settings)
    bench.wait(lambda: dial.values.pre == 4.0)
    drag(dial, dial.handle("before"), centre + QPointF(-40.0, centre.y() * 0.9))
    most = longest_pre_s(bench.rig.bridge.status.ring_capacity_seconds)
    assert angle_to_time(-160.0, dial.values.span) < -most
    assert most - 0.2 <= bridge.settings.catch.pre_trigger_s <= most + 0.2
    assert "memory reaches back" in bench.words()


@pytest.mark.slow
def test_handles_that_lie_together_are_taken_each_from_its_side(make: Make) -> None:
    bench = make(on="flash")
    dial, bridge = bench.page.dial, bench.rig.bridge
    bench.rig.window.use_settings(
        bridge.settings.replaced("catch", pre_trigger_s=0.0, post_trigger_s=0.0)
    )
    bench.wait(lambda: dial.values.post == 0.0)
    top = dial.handle("after")
    drag(dial, top + QPointF(-3, 0), top + QPointF(-150, 40))
    assert bridge.settings.catch.pre_trigger_s > 0.1
    assert bridge.settings.catch.post_trigger_s == 0.0
    top = dial.handle("after")
    drag(dial, top + QPointF(3, 0), top + QPointF(150, 40))
    assert bridge.settings.catch.post_trigger_s > 0.1


@pytest.mark.slow
def test_rows_by_keys_and_the_memory_limit(make: Make) -> None:
    bench = make(on="flash")
    bridge = bench.rig.bridge
    bench.wait(lambda: bridge.status.ring_capacity_seconds is not None)
    bench.rig.press("Right")
    assert bridge.settings.catch.on == "sound"
    assert "nothing will start it" not in bench.words()
    bench.rig.press("Down")
    for _ in range(12):
        bench.rig.press("Right")
    most = longest_pre_s(bridge.status.ring_capacity_seconds)
    assert bridge.settings.catch.pre_trigger_s == pytest.approx(most, abs=0.2)
    assert "memory reaches back" in bench.words()
    bench.rig.press("A")
    bench.wait(lambda: "nothing will start it" in bench.words())


@pytest.mark.slow
def test_the_threshold_is_drawn_on_the_strip_that_shows_the_signal(make: Make) -> None:
    bench = make(level=0.02, on="either")
    strip, bridge = bench.page.strip, bench.rig.bridge
    bench.wait(lambda: bool(bridge.status.trigger.flash) and bool(bridge.status.trigger.crack))
    bench.wait(lambda: max(value for _, value in bridge.status.trigger.flash) > 6.0)
    at = QPointF(strip.width() / 2, strip.threshold_y())
    drag(strip, at, at - QPointF(0, 12))
    assert bridge.settings.catch.sensitivity_sigma > 7
    assert bridge.settings.catch.sensitivity_sigma == strip.sigma
    assert "scripted" in bench.words()
    assert "dB" in bench.words()


@pytest.mark.slow
@pytest.mark.parametrize(("level", "said"), [(0.0, "zeros"), (1.0, "overdriven"), (None, "no mic")])
def test_bad_sound_is_told(make: Make, level: float | None, said: str) -> None:
    bench = make(level=level)
    bench.wait(lambda: said in bench.words().lower())


def test_cautions_are_always_there_and_more_on_a_key(make: Make) -> None:
    bench = make()
    assert "Local codes" in bench.words()
    bench.rig.press("K")
    assert bench.page.sheet.isVisible()
    assert "licensed" in bench.page.sheet.words()
    bench.rig.press("Escape")
    assert not bench.page.sheet.isVisible()
    bench.rig.press("K")
    QTest.mouseClick(bench.page.sheet, Qt.MouseButton.LeftButton, pos=QPoint(4, 4))
    assert not bench.page.sheet.isVisible()


@pytest.mark.slow
def test_a_spark_of_the_simulated_rig_is_caught_with_its_sound(make: Make) -> None:
    bench = make(simulated=True, on="either")
    bench.wait(lambda: bool(bench.rig.bridge.status.trigger.crack))
    bench.rig.press("A")
    bench.wait(lambda: "Armed" in bench.words())
    assert bench.page.pads["spark"].isVisible()
    bench.rig.press("Y")
    bench.wait(lambda: bench.page.dial.values.sparks != ())
    bench.caught()
    card = bench.page.events.cards[0]
    assert card.cause in (Cause.SOUND, Cause.BOTH)
    assert card.strength > 6


def test_a_real_camera_has_no_spark_key(make: Make) -> None:
    bench = make()
    assert not bench.page.pads["spark"].isVisible()
    bench.rig.press("Y")
    assert "not the simulated rig" in bench.words()


def test_the_list_follows_a_folder_that_is_not_there_and_one_with_strange_things(
    tmp_path: Path,
) -> None:
    cards = CaughtCards(tmp_path / "none")
    cards.refresh()
    assert not cards.step()
    assert cards.cards == ()
    (tmp_path / "holiday").mkdir()
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "event.json").write_text("{")
    cards = CaughtCards(tmp_path)
    cards.refresh()
    assert cards.step()
    assert [card.name for card in cards.cards] == ["broken"]
    assert "cannot be read" in cards.cards[0].words
    assert "broken" in cards.bin(cards.cards[0])
    assert cards.cards == ()
    assert cards.put_back()[1] == "broken"
    assert (tmp_path / "broken" / "event.json").read_text() == "{"


@pytest.mark.slow
def test_the_microphone_is_chosen_on_a_sheet_with_the_keyboard(make: Make) -> None:
    bench = make(0.01)
    page = bench.page
    # Pictures may be watched before the first sound has come.
    bench.wait(lambda: re.search(r"Times: frames .*sound ", bench.words()) is not None)
    bench.rig.press("M")
    assert "Flash and crack are one up to" in page.microphone.facts.words()
    assert page.microphone.isVisible()
    bench.wait(lambda: "No microphone is there" in page.microphone.facts.words())
    assert "Now: scripted, 48" in page.microphone.facts.words()
    for key in ("Down", "Down", "Down", "Right"):
        bench.rig.press(key)
    assert bench.rig.bridge.settings.sound.channel == 1
    bench.rig.press("Down")
    bench.rig.press("Right")
    assert bench.rig.bridge.settings.sound.delay_s == 0.001
    bench.rig.press("Down")
    bench.rig.press("Left")
    assert bench.rig.bridge.settings.sound.error_s == 0.005
    assert bench.rig.bridge.settings.catch == bench.page.rows._settings.catch
    bench.rig.press("Esc")
    assert not page.microphone.isVisible()
    bench.rig.press("M")
    bench.rig.press("Up")
    bench.rig.press("M")
    assert not page.microphone.isVisible()


@pytest.mark.slow
def test_the_quiet_is_learnt_again_and_the_rate_of_false_alarms_is_stated(make: Make) -> None:
    bench = make(0.01, on="flash", sensitivity_sigma=9.0)
    bench.rig.press("Q")
    bench.wait(lambda: "Learning" in bench.words())
    bench.wait(lambda: "Armed" in bench.words())
    bench.wait(lambda: "Noise alone starts it about once in" in bench.words())
    bench.rig.press("Q")
    bench.wait(lambda: "Learning" in bench.words())
