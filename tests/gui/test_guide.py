"""The user guide: every page is there, every link and picture resolves, it opens and turns."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt, QUrl
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QWidget

from liveview.gui.actions import VIEW_WORDS, actions_for
from liveview.gui.align_page import AlignPage
from liveview.gui.book import PAGE_KEYS, PAGE_ORDER
from liveview.gui.guide import CONTENTS, PAGE_GUIDES, GuidePage, GuideSheet, guide_file
from liveview.gui.keys import KeyMap
from liveview.gui.theme import Look

FOLDER = guide_file("index").parent
LINK = re.compile(r"(!?)\[([^\]]+)\]\(([^)]+)\)")
MOST_BYTES = 150_000


def text_of(name: str) -> str:
    return guide_file(name).read_text(encoding="utf-8")


@pytest.fixture
def sheet(app: QApplication) -> Iterator[GuideSheet]:
    parent = QWidget()
    parent.resize(1280, 800)
    made = GuideSheet(parent)
    parent.show()
    made.resize(1280, 800)
    made.set_look(Look.for_window(1280, 800))
    yield made
    parent.close()


def test_the_contents_are_the_files() -> None:
    assert sorted(CONTENTS) == sorted(path.stem for path in FOLDER.glob("*.md"))
    assert set(PAGE_GUIDES) == set(PAGE_ORDER)
    assert set(PAGE_GUIDES.values()) <= set(CONTENTS)


@pytest.mark.parametrize("name", CONTENTS)
def test_links_and_pictures_resolve(name: str) -> None:
    text = text_of(name)
    assert text.startswith("# ")
    for picture, words, target in LINK.findall(text):
        path = FOLDER / target
        assert path.is_file(), f"{name}: {target}"
        if picture:
            assert len(words) > 10, "a picture needs words for those who cannot see it"
        else:
            assert path.suffix == ".md"


def test_every_page_can_be_reached_and_every_picture_is_used() -> None:
    whole = "".join(text_of(name) for name in CONTENTS)
    targets = {target for _, _, target in LINK.findall(whole)}
    assert {f"{name}.md" for name in CONTENTS} - {"index.md"} <= targets
    pictures = {f"pictures/{path.name}" for path in (FOLDER / "pictures").iterdir()}
    assert pictures == {target for target in targets if target.startswith("pictures/")}


def test_pictures_are_small() -> None:
    for path in (FOLDER / "pictures").iterdir():
        assert path.stat().st_size < MOST_BYTES, path.name


def test_the_keys_it_names_are_the_windows(app: QApplication) -> None:
    class Nothing:
        def __getattr__(self, name: str) -> object:
            return lambda *_: None

    nothing = Nothing()
    keys = KeyMap(actions_for(nothing, nothing, list(VIEW_WORDS)))  # type: ignore[arg-type]
    assert keys["guide"].key == "Shift F1"
    named = {
        "index": {"source": "S", "take dark": "D", "take open": "O", "take reference": "R"},
        "watching": {"gain": "G", "freeze": "Space", "whole": "W", "find": "F", "steps": "I"},
        "sparks": {"arm": "A", "trigger": "T"},
        "trouble": {"place": "P", "side": "B", "enhance": "E"},
    }
    for page, actions in named.items():
        for action, key in actions.items():
            assert keys[action].key == key
            assert f"**{key}**" in text_of(page)
    for key in ("F1", "F8"):
        assert f"**{key}**" in text_of("index")
    for page, key in PAGE_KEYS.items():
        assert f"| {page} ({key}) |" in text_of("index")


def test_the_align_keys_are_those_of_the_page() -> None:
    own = {action.key for action in AlignPage.own_actions(AlignPage.__new__(AlignPage))}
    named = set(re.findall(r"\*\*([A-Z])\*\*", text_of("aligning")))
    assert own <= named


@pytest.mark.parametrize("name", CONTENTS)
def test_every_page_is_set_inside_its_width(sheet: GuideSheet, name: str) -> None:
    sheet.open_for("Watch")
    sheet.turn_to(name)
    document = sheet.page.document()
    viewport = sheet.page.viewport()
    assert document is not None
    assert viewport is not None
    heading = text_of(name).splitlines()[0].removeprefix("# ")
    assert document.toPlainText().startswith(heading)
    assert document.idealWidth() <= viewport.width() + 1
    assert "**" not in document.toPlainText()


def test_it_opens_at_the_page_and_turns_by_keys(sheet: GuideSheet) -> None:
    sheet.open_for("Align")
    assert sheet.page.name == "aligning"
    QTest.keyClick(sheet.page, Qt.Key.Key_Right)
    assert sheet.page.name == "watching"
    QTest.keyClick(sheet.page, Qt.Key.Key_Left)
    assert sheet.page.name == "aligning"
    sheet.page.anchorClicked.emit(QUrl("trouble.md"))
    assert sheet.page.name == "trouble"
    bar = sheet.page.verticalScrollBar()
    assert bar is not None
    QTest.keyClick(sheet.page, Qt.Key.Key_PageDown)
    assert bar.value() > 0
    QTest.keyClick(sheet.page, Qt.Key.Key_Backspace)
    assert sheet.page.name == "aligning"
    assert bar.value() == 0
    QTest.mouseClick(sheet.entries["cautions"], Qt.MouseButton.LeftButton)
    assert sheet.page.name == "cautions"
    QTest.keyClick(sheet.page, Qt.Key.Key_Escape)
    assert not sheet.isVisible()


def test_the_first_and_last_page_are_the_ends(sheet: GuideSheet) -> None:
    sheet.open_for("nowhere")
    assert sheet.page.name == "index"
    sheet.turn(-1)
    assert sheet.page.name == "index"
    sheet.turn_to(list(CONTENTS)[-1])
    sheet.turn(1)
    assert sheet.page.name == list(CONTENTS)[-1]


def test_pictures_shrink_to_a_narrow_page(app: QApplication) -> None:
    page = GuidePage()
    page.resize(420, 500)
    page.show()
    page.set_look(Look())
    page.show_page("aligning")
    document = page.document()
    assert document is not None
    assert document.idealWidth() <= 420


def test_the_guide_is_shipped() -> None:
    """The wheel takes all of ``assets``; no page or picture is left out of version control."""
    import tomllib

    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))
    targets = project["tool"]["hatch"]["build"]["targets"]
    assert targets["wheel"]["force-include"]["assets"] == "liveview/_shipped/assets"
    assert "/assets" in targets["sdist"]["include"]
