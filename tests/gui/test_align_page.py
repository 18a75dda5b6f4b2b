"""The Align page, driven by real keys and mouse, on the simulated rig and on scripted frames."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, disc_frames, scripted, simulated

from liveview.errors import InputUnreadable
from liveview.gui.align_page import AlignPage
from liveview.gui.around import chord
from liveview.gui.other_pages import add_other_pages
from liveview.model import CalibrationKind, Reading
from liveview.settings import Settings

Open = Callable[..., tuple[WindowRig, AlignPage]]


@pytest.fixture
def open_align(app: QApplication) -> Iterator[Open]:
    rigs: list[WindowRig] = []

    def make(
        build: object, address: str = "camera:0", **more: object
    ) -> tuple[WindowRig, AlignPage]:
        rig = WindowRig(app, build, addresses=(address,), **more)  # type: ignore[arg-type]
        rigs.append(rig)
        rig.first_picture()
        add_other_pages(rig.window, rig.bridge)
        rig.window.turn_to("Align")
        (page,) = rig.window.findChildren(AlignPage)
        rig.wait(lambda: page.dial.picture.reading is not None)
        return rig, page

    yield make
    for rig in rigs:
        rig.close()


def press(rig: WindowRig, key: Qt.Key, times: int = 1, shift: bool = False) -> None:
    how = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
    for _ in range(times):
        QTest.keyClick(rig.app.focusWidget() or rig.window, key, how)


def newest(rig: WindowRig) -> Reading:
    assert rig.bridge.session is not None
    reading = rig.bridge.session.newest()
    assert reading is not None
    return reading


def fresh(rig: WindowRig, seconds: float = 0.6) -> None:
    """Let everything on the page come from frames taken from now on."""
    then = newest(rig).stamp.time_s + seconds
    rig.wait(lambda: newest(rig).stamp.time_s > then)
    QTest.qWait(100)


@pytest.mark.slow
def test_the_view_chosen_elsewhere_comes_back_and_the_aids_run_only_here(open_align: Open) -> None:
    rig, page = open_align(scripted(disc_frames))
    rig.wait(lambda: newest(rig).view == "plain")
    assert rig.bridge.session is not None
    rig.wait(lambda: "Sharpness" in page.focus_lines.words())
    rig.wait(lambda: "Mirror in the picture" in page.steps.words())
    rig.window.turn_to("Watch")
    rig.wait(lambda: newest(rig).view == "lifted")
    last = rig.bridge.session.aids.newest()
    QTest.qWait(200)
    assert rig.bridge.session.aids.newest() is last


def test_without_calibration_it_is_relative(open_align: Open) -> None:
    rig, page = open_align(scripted(disc_frames))
    rig.wait(lambda: "Relative brightness" in page.blade.words())
    assert "Take dark and open" in page.blade.words()
    press(rig, Qt.Key.Key_D)
    assert rig.bridge.session is not None
    rig.wait(
        lambda: rig.bridge.session.status().taking is not None or rig.bridge.session.status().has
    )


@pytest.mark.slow
def test_far_view_opens_with_its_key_and_goes_with_escape(open_align: Open) -> None:
    rig, page = open_align(scripted(disc_frames))
    press(rig, Qt.Key.Key_V)
    assert page.far.isVisible()
    rig.wait(lambda: page.far.words == "Take dark and open")
    press(rig, Qt.Key.Key_Escape)
    assert not page.far.isVisible()


@pytest.mark.slow
def test_a_press_in_the_picture_judges_the_focus_there(open_align: Open) -> None:
    rig, page = open_align(scripted(disc_frames))
    assert rig.bridge.session is not None
    aids = rig.bridge.session.aids
    rig.wait(lambda: aids.newest() is not None and aids.newest().focus_patch is not None)
    before = aids.newest().focus_patch
    centre = page.marks.rect().center()
    QTest.mouseClick(page.marks, Qt.MouseButton.LeftButton, pos=centre + QPoint(10, 10))
    rig.wait(lambda: aids.newest().focus_patch != before)
    rows, columns = aids.newest().focus_patch
    disc = newest(rig).disc
    assert disc is not None
    assert rows.start < disc.cy + 5 < rows.stop
    assert columns.start < disc.cx + 5 < columns.stop
    press(rig, Qt.Key.Key_M)
    rig.wait(lambda: aids.newest().focus_patch == before)


@pytest.mark.slow
def test_card_and_smoothing(open_align: Open) -> None:
    rig, page = open_align(scripted(disc_frames))
    press(rig, Qt.Key.Key_K)
    rig.wait(lambda: "card" in page.blade.words())
    press(rig, Qt.Key.Key_K)
    rig.wait(lambda: "card" not in page.blade.words())
    note = page.pads["smooth"].note
    press(rig, Qt.Key.Key_J)
    assert page.pads["smooth"].note != note


@pytest.mark.slow
def test_the_simulated_rig_has_no_card_and_no_lens_and_no_step_for_them(open_align: Open) -> None:
    rig, page = open_align(simulated, "simulated")
    rig.wait(lambda: "Mirror in the picture" in page.steps.words())
    assert "Lamp's image found" not in page.steps.words()
    assert "Focused on the mirror" not in page.steps.words()
    press(rig, Qt.Key.Key_K)
    rig.wait(lambda: "has no card" in page.blade.words())
    press(rig, Qt.Key.Key_K)
    press(rig, Qt.Key.Key_H)
    turn_knob(rig, "lens_capped", 1)
    rig.wait(lambda: "No light" in page.exposure.words())
    take(rig, Qt.Key.Key_D, CalibrationKind.DARK)
    rig.wait(lambda: "Uncap the lens; take open" in page.blade.words())
    rig.wait(lambda: "uncap the lens" in page.steps.words())


@pytest.mark.slow
def test_no_mistakes_in_a_real_rig(open_align: Open) -> None:
    rig, _ = open_align(scripted(disc_frames))
    press(rig, Qt.Key.Key_Y)
    rig.wait(lambda: "simulated rig" in rig.window.answer.words())


def take(rig: WindowRig, key: Qt.Key, kind: CalibrationKind) -> None:
    fresh(rig)
    press(rig, key)
    assert rig.bridge.session is not None
    rig.wait(lambda: kind in rig.bridge.session.status().has, 30.0)


def turn_knob(rig: WindowRig, name: str, fine_steps: int) -> None:
    """With the keys a person has: up and down choose, left and right turn, shift turns faster."""
    hand = rig.window.panels.hand
    for _ in range(40):
        if hand.knob is not None and hand.knob.name == name:
            break
        press(rig, Qt.Key.Key_Down)
    key = Qt.Key.Key_Right if fine_steps > 0 else Qt.Key.Key_Left
    press(rig, key, abs(fine_steps) // 10, shift=True)
    press(rig, key, abs(fine_steps) % 10)


def obey(rig: WindowRig, words: str) -> bool:
    """Do what the page says; True when there is nothing left to do."""
    number = re.search(r"([\d.]+)\u2009mm (further in|back out)", words)
    axial = re.search(r"Move it(?: ([\d.]+)\u2009mm)? (away|nearer)", words)
    if "Hold it there" in words:
        return True
    if axial is not None:
        steps = max(1, round(float(axial[1] or 1.0) / 0.5))
        turn_knob(rig, "blade_z_m", -steps if axial[2] == "away" else steps)
    elif "Bring the blade in" in words or "Draw the blade back" in words:
        turn_knob(rig, "blade_x_m", 10 if "Bring" in words else -10)
    elif number is not None:
        steps = max(1, round(float(number[1]) / 0.01))
        turn_knob(rig, "blade_x_m", steps if number[2] == "further in" else -steps)
    else:
        raise AssertionError(f"the page does not say what to do: {words!r}")
    return False


@pytest.mark.slow
@pytest.mark.timeout(240)
@pytest.mark.parametrize(("cut_mm", "axial_mm"), [(-0.35, 6.0), (0.3, -5.0)])
def test_a_learner_brings_a_misaligned_rig_to_half_cut_by_what_the_page_says(
    open_align: Open, cut_mm: float, axial_mm: float
) -> None:
    rig, page = open_align(simulated, "simulated")
    assert rig.bridge.session is not None
    hand = rig.bridge.session.rig
    assert hand is not None
    for name in hand.values():
        if name.startswith("flow_"):
            hand.set(name, 0.0)
    right = hand.values()["blade_x_m"]
    hand.set("blade_x_m", right + cut_mm * 1e-3)
    hand.set("blade_z_m", axial_mm * 1e-3)
    press(rig, Qt.Key.Key_H)
    turn_knob(rig, "lens_capped", 1)
    take(rig, Qt.Key.Key_D, CalibrationKind.DARK)
    turn_knob(rig, "lens_capped", -1)
    turn_knob(rig, "blade_out", 1)
    take(rig, Qt.Key.Key_O, CalibrationKind.OPEN)
    turn_knob(rig, "blade_out", -1)
    for _ in range(30):
        fresh(rig)
        if obey(rig, page.blade.words()):
            break
    values = hand.values()
    # Half cut means within the band of 5 % of a 1 mm image; in focus means the tilt of the disc
    # is below 2 %, which is 0.3 mm here: the hand's step along the beam is 0.5 mm.
    assert values["blade_x_m"] == pytest.approx(right, abs=0.05e-3)
    assert values["blade_z_m"] == pytest.approx(0.0, abs=0.6e-3)
    assert "Hold it there" in page.blade.words()
    press(rig, Qt.Key.Key_V)
    rig.wait(lambda: page.far.reached)


@pytest.mark.slow
@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080), (960, 600)])
def test_larger_words_are_neither_cut_nor_under_the_pads(
    open_align: Open, size: tuple[int, int]
) -> None:
    settings = Settings().replaced("screen", text_scale=1.25)
    rig, page = open_align(scripted(disc_frames), settings=settings, size=size)
    rig.wait(lambda: "Set-up" in page.steps.words() and bool(page.focus_lines.words()))
    for block in (page.blade, page.steps, page.focus_lines, page.exposure):
        assert block.fits, block.words()
        for pad in page.pads.values():
            assert not block.geometry().intersects(pad.geometry()), pad.text()
    bar = rig.window.pages.geometry()
    edge = page.width() / 2 - chord(page, page.dial.width(), bar.center().y())
    assert bar.right() <= edge


@pytest.mark.slow
@pytest.mark.parametrize("size", [(1280, 800), (1280, 720), (1920, 1080)])
@pytest.mark.parametrize("text_scale", [1.0, 1.25])
def test_the_rigs_panel_covers_no_words(
    open_align: Open, size: tuple[int, int], text_scale: float
) -> None:
    settings = Settings().replaced("screen", text_scale=text_scale)
    rig, page = open_align(simulated, "simulated", settings=settings, size=size)
    rig.wait(lambda: bool(page.focus_lines.words()))
    press(rig, Qt.Key.Key_H)
    panel = rig.window.panels.hand.geometry()
    kinds = [page.pads[f"take {kind.value}"] for kind in CalibrationKind]
    for part in (page.blade, page.focus_lines, page.inset, *kinds):
        assert not panel.intersects(part.geometry()), part.accessibleName()
    assert page.focus_lines.fits


def test_without_a_source_it_says_why_and_what_to_press(app: QApplication) -> None:
    def build(address: str, settings: object) -> object:
        raise InputUnreadable("there is no such file", "gone.mkv", "check the path")

    rig = WindowRig(app, build, addresses=("gone.mkv",))  # type: ignore[arg-type]
    try:
        add_other_pages(rig.window, rig.bridge)
        rig.window.turn_to("Align")
        (page,) = rig.window.findChildren(AlignPage)
        rig.wait(lambda: "there is no such file; check the path" in page.steps.words())
        assert page.dial.picture.chip == "No picture: S chooses a source"
    finally:
        rig.close()
