"""The card of all keys, read back from the PDF by another program."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QFileDialog, QLineEdit
from support.program import PROGRAM, environment
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.errors import OutputFailed
from liveview.gui.key_card import PAPERS, KeyGroup, ask_and_write, key_groups, write_key_card
from liveview.gui.keys import Action, shown_key
from liveview.gui.other_pages import add_other_pages

INCH_PT = 72.0
SIZES_PT = {"A4": (210 / 25.4 * INCH_PT, 297 / 25.4 * INCH_PT), "Letter": (612.0, 792.0)}


def nothing() -> None:
    pass


def an_action(name: str, *keys: str, title: str = "", group: str = "Look") -> Action:
    return Action(name, keys, title or f"does {name}", group, nothing)


def words_of(path: Path) -> list[str]:
    """Words of the only page."""
    pages = pypdf.PdfReader(path).pages
    assert len(pages) == 1
    return pages[0].extract_text().split()


@pytest.fixture
def window(app: QApplication) -> Iterator[WindowRig]:
    """The whole window with all its pages."""
    rig = WindowRig(app, scripted(disc_frames))
    add_other_pages(rig.window, rig.bridge)
    yield rig
    rig.close()


def card_of(rig: WindowRig) -> tuple[KeyGroup, ...]:
    return key_groups(rig.window.keys.groups(), rig.window.key_pages())


@pytest.mark.slow
def test_one_page_holds_every_key_of_the_window(window: WindowRig, tmp_path: Path) -> None:
    groups = card_of(window)
    for paper in PAPERS:
        path = tmp_path / f"{paper}.pdf"
        write_key_card(groups, path, paper)
        page = pypdf.PdfReader(path).pages[0]
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
            SIZES_PT[paper],
            abs=1.0,  # whole points
        )
        text = " ".join(words_of(path))
        for group in groups:
            assert group.heading in text
            for action in group.actions:
                assert f"{shown_key(action.keys[-1])} {action.title}" in text
    # The presenter's, too.
    assert all(action.title in text for action in window.window.keys.groups()["Show"])


def test_it_says_where_keys_work_in_the_order_of_the_work(app: object) -> None:
    pages = {
        "Align": ("Pages", "Window", "Set"),
        "Watch": ("Window", "Look", "Pages", "Set"),
        "Show": ("Show", "Pages", "Window"),
    }
    turns = [an_action(f"page {key}", key, group="Pages") for key in ("F4", "F3", "F7")]
    groups = {
        "Show": [an_action("next", "N")],
        "Look": [an_action("gain", "G")],
        "Set": [an_action("open", "O")],
        "Pages": turns,
        "Window": [an_action("quit", "Q")],
    }
    found = key_groups(groups, pages)
    assert [group.heading for group in found] == ["Pages", "Window", "Set", "Look", "Show"]
    where = {group.heading: group.where for group in found}
    assert where["Window"] == where["Pages"] == "on every page"
    assert (where["Set"], where["Look"]) == ("on Align and Watch", "on Watch")
    assert [action.key for action in found[0].actions] == ["F3", "F4", "F7"]


def test_a_show_files_own_keys_are_on_it(tmp_path: Path, app: object) -> None:
    path = tmp_path / "keys.pdf"
    action = an_action("next", "F13", "PgDown", "Right", title="Next caption", group="Show")
    write_key_card([KeyGroup("Show", "on Show", [action])], path)
    assert " ".join(words_of(path)).count("F13 PgDown \u2192 Next caption") == 1


def test_a_group_that_is_longer_than_its_column_goes_on_under_its_heading(
    tmp_path: Path, app: object
) -> None:
    path = tmp_path / "keys.pdf"
    first = [an_action(f"thing {k}", f"Ctrl+F{k + 1}") for k in range(20)]
    long = [an_action(f"other {k}", f"Shift+F{k + 1}") for k in range(35)]
    write_key_card([KeyGroup("One", "here", first), KeyGroup("Two", "there", long)], path)
    text = " ".join(words_of(path))
    again = text.index("Two, continued there")
    assert text.index("Two there") < text.index("does other 1") < again
    assert again < text.index("does other 34")
    assert "One, continued" not in text


@pytest.mark.slow
def test_more_keys_make_smaller_text_and_still_one_page(tmp_path: Path, app: object) -> None:
    path = tmp_path / "keys.pdf"
    few = [an_action(f"thing {k}", f"Ctrl+F{k + 1}") for k in range(12)]
    many = [an_action(f"thing {k}", f"Ctrl+F{k % 35 + 1}") for k in range(240)]
    for actions in (few, many):
        write_key_card([KeyGroup("All", "on every page", actions)], path)
        text = " ".join(words_of(path))
        assert all(action.title in text for action in actions)


def test_two_names_of_one_key_are_one_keycap(tmp_path: Path, app: object) -> None:
    path = tmp_path / "keys.pdf"
    keep = an_action("keep", "Return", "Enter", title="Keep it")
    write_key_card([KeyGroup("All", "", [keep])], path)
    assert words_of(path).count("Enter") == 1


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, app: object) -> None:
    with pytest.raises(OutputFailed, match="choose another place"):
        write_key_card([], tmp_path / "no such folder" / "keys.pdf")


@pytest.mark.slow
def test_the_window_asks_where_and_writes_it(window: WindowRig, tmp_path: Path) -> None:
    path = tmp_path / "card.pdf"
    window.window.helps.print_card()
    dialog = window.window.findChild(QFileDialog)
    assert dialog is not None
    field = dialog.findChild(QLineEdit)
    assert field is not None
    field.setText(str(path))
    QTest.keyClick(field, Qt.Key.Key_Return)
    window.wait(path.is_file)
    assert "The card of keys is in card.pdf" in window.window.answer.words()
    assert "Next caption" in " ".join(words_of(path))


def test_a_refusal_is_said(window: WindowRig, tmp_path: Path) -> None:
    said: list[str] = []
    dialog = ask_and_write(window.window, (), said.append)
    dialog.fileSelected.emit(str(tmp_path / "none" / "keys.pdf"))
    dialog.close()
    assert len(said) == 1
    assert "cannot be written" in said[0]


@pytest.mark.slow
def test_the_command_writes_it_without_a_display(tmp_path: Path) -> None:
    """With the keys of a show file on it."""
    show = tmp_path / "mine.toml"
    show.write_text('[show]\ncaptions = ["One"]\n[show.keys]\nblank = ["F13"]\n', "utf-8")
    path = tmp_path / "keys.pdf"
    arguments = ["--key-card", str(path), "--show", str(show)]
    env = environment(DISPLAY=None, WAYLAND_DISPLAY=None, QT_QPA_PLATFORM=None)
    done = subprocess.run(
        [*PROGRAM, *arguments], env=env, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "F13 Blank screen, and back" in " ".join(words_of(path))
