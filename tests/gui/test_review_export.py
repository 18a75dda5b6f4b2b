"""The export sheet of the Review page writes what it says."""

from __future__ import annotations

import av
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from support.review_window import LEFT, Review

from liveview.gui.words import seconds


def open_sheet(r: Review) -> object:
    r.press("E")
    sheet = r.page.sheet
    assert sheet.isVisible()
    return sheet


@pytest.mark.slow
def test_enter_writes_as_the_sheet_says_and_space_chooses(review) -> None:
    r = review()
    sheet = open_sheet(r)
    sheet.products["raw"].setFocus()
    QTest.keyClick(sheet.products["raw"], Qt.Key.Key_Space)
    assert sheet.order.product == "raw"
    QTest.keyClick(sheet.products["raw"], Qt.Key.Key_Return)
    r.rig.wait(lambda: not sheet.working and "Written" in sheet.words)
    assert (r.page.export_folder / f"{r.page.replay.facts.name}_raw.png").is_file()


@pytest.mark.slow
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
    clip = r.page.export_folder / f"{r.page.replay.facts.name}.mp4"
    with av.open(str(clip)) as written:
        long_s = written.duration / av.time_base
    # A picture of the clip more or less, and the words' figures.
    assert sheet._held.seconds == pytest.approx(long_s, abs=0.04)
    assert f"{seconds(sheet._held.seconds)} long" in sheet.summary()
    assert "Written" in sheet.words
    QTest.keyClick(sheet, Qt.Key.Key_Escape)
    assert not sheet.isVisible()
    r.press("Left")
    assert r.page.replay.index == 17


@pytest.mark.slow
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


@pytest.mark.slow
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
