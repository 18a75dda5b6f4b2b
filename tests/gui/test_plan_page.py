"""The Plan page as a person uses it: a real widget on a real display."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from PyQt6.QtCore import QEvent, QPointF, Qt
from PyQt6.QtGui import QFontMetricsF, QMouseEvent
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QFileDialog, QWidget
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.keys import Action
from liveview.gui.other_pages import add_other_pages
from liveview.gui.paint import text_width
from liveview.gui.plan_page import PlanPage
from liveview.gui.plan_setups import file_name, handed_over, shipped_setups
from liveview.gui.plan_values import SPOTS
from liveview.gui.theme import Look, Type, Weight, dress
from liveview.model import Side
from liveview.optics.visibility import flow_names
from liveview.settings import Settings, load_settings


@pytest.fixture(scope="module")
def app() -> Iterator[QApplication]:
    there = QApplication.instance()
    made = there if isinstance(there, QApplication) else QApplication([])
    dress(made)
    yield made


@pytest.fixture
def page(app: QApplication) -> Iterator[PlanPage]:
    page = PlanPage()
    page.resize(1280, 800)
    page.set_look(Look.for_window(1280, 800))
    page.show()
    QTest.qWaitForWindowExposed(page)
    yield page
    page.close()
    page.deleteLater()
    app.processEvents()


def write(page: PlanPage, key: str, text: str) -> None:
    field = page.field(key)
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Return)


def setup(name: str) -> Path:
    return next(path for path in shipped_setups() if path.stem == name)


def test_a_number_is_changed_on_the_drawing(page: PlanPage) -> None:
    write(page, "rig.focal_length_m", "900 mm")
    assert page.settings.rig.focal_length_m == pytest.approx(0.9)
    assert page.plan is not None
    assert page.plan.rig.lamp_distance_m == pytest.approx(1.8)
    assert page.field("rig.lamp_distance_m").placeholderText() == "1800 mm"
    assert page.field("rig.focal_length_m").text() == "900 mm"


def test_inches_and_bare_numbers(page: PlanPage) -> None:
    write(page, "rig.mirror_diameter_m", "6 in")
    assert page.settings.rig.mirror_diameter_m == pytest.approx(0.1524)
    write(page, "rig.mirror_diameter_m", "114")
    assert page.settings.rig.mirror_diameter_m == pytest.approx(0.114)


def test_refused_numbers_stay_to_be_mended(page: PlanPage) -> None:
    said: list[str] = []
    page.said.connect(said.append)
    write(page, "rig.mirror_diameter_m", "3 kg")
    assert page.settings.rig.mirror_diameter_m == 0.15
    assert page.field("rig.mirror_diameter_m").wrong
    assert page.field("rig.mirror_diameter_m").text() == "3 kg"
    assert len(said) == 1
    assert "3 kg" in said[0]
    QTest.keyClick(page.field("rig.mirror_diameter_m"), Qt.Key.Key_Escape)
    assert page.field("rig.mirror_diameter_m").text() == "150 mm"
    assert not page.field("rig.mirror_diameter_m").wrong


def test_an_impossible_rig_is_said_and_mended(page: PlanPage) -> None:
    write(page, "rig.lamp_distance_m", "700 mm")
    assert "behind the mirror" in page.impossible
    assert "Cannot be built" in page.cautions.words()
    used: list[Settings] = []
    page.used.connect(used.append)
    page.use_pad.click()
    assert used == []
    write(page, "rig.lamp_distance_m", "2500 mm")
    assert page.impossible == ""


def test_emptying_gives_the_choice_back(page: PlanPage) -> None:
    write(page, "blade.distance_m", "2410 mm")
    assert page.settings.blade.distance_m == pytest.approx(2.41)
    assert "too far from the mirror" in page.cautions.words()
    field = page.field("blade.distance_m")
    field.setFocus()
    field.selectAll()
    QTest.keyClick(field, Qt.Key.Key_Delete)
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert page.settings.blade.distance_m is None
    assert page.cautions.words() == "Nothing speaks against it."


def test_up_and_down_turn_a_number(page: PlanPage) -> None:
    field = page.field("rig.focal_length_m")
    field.setFocus()
    QTest.keyClick(field, Qt.Key.Key_Up)
    assert page.settings.rig.focal_length_m == pytest.approx(1.22)
    QTest.keyClick(field, Qt.Key.Key_Down)
    assert page.settings.rig.focal_length_m == pytest.approx(1.2)


def test_take_back(page: PlanPage) -> None:
    page.choose_kind("lenses")
    page.choose_shape("round")
    page.back_pad.click()
    assert page.settings.lamp.shape == "slit"
    page.back_pad.click()
    assert page.settings.rig.kind == "one mirror"
    said: list[str] = []
    page.said.connect(said.append)
    page.back_pad.click()
    assert said == ["Nothing to take back."]


@pytest.mark.parametrize("name", [path.stem for path in shipped_setups()])
def test_shipped_setups_open_and_draw(page: PlanPage, name: str) -> None:
    page.open_setup(setup(name))
    assert page.settings.rig == load_settings(setup(name)).rig
    assert page.cautions.words() == "Nothing speaks against it."
    picture = page.grab().toImage()
    assert picture.width() == 1280
    s = page.drawing.sketched
    assert s is not None
    assert page.plan is not None
    length = page.plan.rig.blade_distance_m * page.drawing.scale
    assert 200 < length < 1280


@pytest.mark.parametrize("size", [(960, 600), (1280, 800), (1920, 1080)])
@pytest.mark.parametrize("name", [path.stem for path in shipped_setups()])
def test_no_field_is_cut_off_or_covers_another(
    page: PlanPage, name: str, size: tuple[int, int]
) -> None:
    page.resize(*size)
    page.set_look(Look.for_window(*size))
    page.open_setup(setup(name))
    boxes = []
    for spot in SPOTS:
        field = page.field(spot.key)
        if field.isVisible():
            parent = field.parentWidget()
            assert parent is not None
            assert parent.rect().contains(field.geometry()), spot.key
            boxes.append(
                (spot.key, field.rect().translated(field.mapTo(page, field.rect().topLeft())))
            )
    for k, (key, box) in enumerate(boxes):
        for other, there in boxes[k + 1 :]:
            assert not box.intersects(there), (key, other)


def test_saved_and_opened_again(page: PlanPage, tmp_path: Path) -> None:
    write(page, "rig.name", "Attic")
    write(page, "lamp.width_m", "0.4 mm")
    page.save_setup(tmp_path / "attic")
    assert load_settings(tmp_path / "attic.toml").lamp.width_m == pytest.approx(0.4e-3)
    page.open_setup(setup("big-mirror"))
    page.open_setup(tmp_path / "attic.toml")
    assert page.name.text() == "Attic"


@pytest.mark.parametrize("name", [path.stem for path in shipped_setups()])
def test_an_opened_set_up_is_saved_as_it_was(page: PlanPage, name: str, tmp_path: Path) -> None:
    """Whatever the session's camera and show are."""
    mine = Settings().replaced("camera", transfer="bt709", rate_hz=50.0, source="camera:3")
    page.set_settings(mine.replaced("show", title="Evening"))
    page.open_setup(setup(name))
    page.save_setup(tmp_path / "again")
    assert load_settings(tmp_path / "again.toml") == load_settings(setup(name))
    page.use()
    page.save_setup(tmp_path / "used")
    assert load_settings(tmp_path / "used.toml") == load_settings(setup(name))


def test_the_session_s_rig_is_saved_without_its_show(page: PlanPage, tmp_path: Path) -> None:
    page.set_settings(Settings().replaced("show", title="Evening").replaced("camera", white=4095))
    page.save_setup(tmp_path / "mine")
    assert load_settings(tmp_path / "mine.toml") == Settings().replaced("camera", white=4095)


def test_the_dialog_proposes_a_name(page: PlanPage) -> None:
    page.open_setup(setup("big-mirror"))
    page.save_pad.click()
    dialog = page.window().findChild(QFileDialog)
    assert dialog is not None
    assert [Path(name).name for name in dialog.selectedFiles()] == ["barn.toml"]
    dialog.close()
    assert file_name("..., /x") == "set-up.toml"


def test_paper_in_use_follows_the_session(page: PlanPage) -> None:
    page.open_setup(setup("big-mirror"))
    page.used.connect(page.set_settings)
    page.use_pad.click()
    session = handed_over(Settings(), page.settings).replaced("blade", side="top")
    page.set_settings(session)
    assert page.settings.blade.side is Side.TOP
    assert page.settings.camera.transfer == "linear"
    assert page.use_pad.text() == "In use"


def test_files_that_cannot_be_used_are_said(page: PlanPage, tmp_path: Path) -> None:
    said: list[str] = []
    page.said.connect(said.append)
    page.open_setup(tmp_path / "none.toml")
    (tmp_path / "file").write_text("", encoding="utf-8")
    page.save_setup(tmp_path / "file" / "x.toml")
    assert len(said) == 2
    assert all("\n" not in words for words in said)


def test_use_hands_over_the_rig_and_leaves_the_camera_alone(page: PlanPage) -> None:
    mine = (
        Settings()
        .replaced("camera", source="camera:3", exposure_s=0.01, transfer="linear")
        .replaced("enhance", view="signed")
    )
    page.set_settings(mine)
    page.open_setup(setup("two-mirrors"))
    used: list[Settings] = []
    page.used.connect(used.append)
    page.use_pad.click()
    (settings,) = used
    assert settings.rig.kind == "two mirrors"
    assert settings.lamp.width_m == pytest.approx(2e-3)
    assert settings.camera.lens_focal_length_m == pytest.approx(0.035)
    assert settings.camera.source == "camera:3"
    assert settings.camera.exposure_s == 0.01
    assert settings.camera.transfer == "linear"
    assert settings.enhance == mine.enhance
    assert settings == handed_over(mine, page.settings)
    assert page.use_pad.text() == "In use"


def test_the_session_does_not_wipe_what_is_on_the_paper(page: PlanPage) -> None:
    write(page, "rig.focal_length_m", "900 mm")
    page.set_settings(Settings().replaced("enhance", view="plain"))
    assert page.settings.rig.focal_length_m == pytest.approx(0.9)


def test_untouched_paper_follows_the_session(page: PlanPage) -> None:
    page.set_settings(Settings().replaced("rig", focal_length_m=2.0))
    assert page.field("rig.focal_length_m").text() == "2000 mm"


def test_flow_is_chosen_on_the_ruler(page: PlanPage) -> None:
    names = flow_names()
    ruler = page.ruler
    lane = ruler._lane()
    row = lane.height() / len(names)
    at = QPointF(20.0, lane.top() + row * 5.5).toPoint()
    QTest.mouseClick(ruler, Qt.MouseButton.LeftButton, pos=at)
    assert page.settings.expect.flow == names[5]


def test_ruler_is_logarithmic(page: PlanPage) -> None:
    x = page.ruler.x_of
    assert x(10.0) - x(1.0) == pytest.approx(x(100.0) - x(10.0))


@pytest.mark.parametrize("side", list(Side))
def test_side_is_chosen_where_the_blade_comes_from(page: PlanPage, side: Side) -> None:
    centre, (x, y) = page.blade.centre(), side.normal
    reach = page.blade.look.px(11.0)
    at = (centre + QPointF(x * reach, y * reach)).toPoint()
    QTest.mouseClick(page.blade, Qt.MouseButton.LeftButton, pos=at)
    assert page.settings.blade.side is side


def test_blade_is_dragged_along_the_axis(page: PlanPage) -> None:
    handle = next(h for h in page.drawing.handles() if h.key == "blade.distance_m")
    start = handle.at.toPoint()
    QTest.mousePress(page.drawing, Qt.MouseButton.LeftButton, pos=start)
    moved = QPointF(handle.at.x() + 20.0, handle.at.y()).toPoint()
    QTest.mouseMove(page.drawing, moved)
    QTest.mouseRelease(page.drawing, Qt.MouseButton.LeftButton, pos=moved)
    distance = page.settings.blade.distance_m
    assert distance is not None
    assert distance < 2.4
    assert "too near to the mirror" in page.cautions.words()


def test_one_drag_is_one_change(page: PlanPage) -> None:
    before = page.settings
    for goal in (60.0, -30.0):
        handle = next(h for h in page.drawing.handles() if h.key == "blade.distance_m")
        QTest.mousePress(page.drawing, Qt.MouseButton.LeftButton, pos=handle.at.toPoint())
        for part in range(1, 6):
            moved = QPointF(handle.at.x() + goal * part / 5, handle.at.y()).toPoint()
            QTest.mouseMove(page.drawing, moved)
        QTest.mouseRelease(page.drawing, Qt.MouseButton.LeftButton, pos=moved)
        if goal > 0:
            once = page.settings
    assert page.settings != once
    page.take_back()
    assert page.settings == once != before
    page.take_back()
    assert page.settings == before


def test_every_field_has_a_name_for_readers(page: PlanPage) -> None:
    for spot in SPOTS:
        assert page.field(spot.key).accessibleName() == spot.name


def test_blade_and_flow_from_the_keyboard(page: PlanPage) -> None:
    page.blade.setFocus()
    QTest.keyClick(page.blade, Qt.Key.Key_Down)
    assert page.settings.blade.side is Side.BOTTOM
    QTest.keyClick(page.blade, Qt.Key.Key_Return)
    assert page.settings.lamp.shape == "round"
    names = flow_names()
    before = names.index(page.settings.expect.flow)
    page.ruler.setFocus()
    QTest.keyClick(page.ruler, Qt.Key.Key_Down)
    assert page.settings.expect.flow == names[before + 1]
    for _ in names:
        QTest.keyClick(page.ruler, Qt.Key.Key_Up)
    assert page.settings.expect.flow == names[0]


def test_everything_is_reached_by_the_tab_key(page: PlanPage) -> None:
    page.field("rig.name").setFocus()
    reached = set()
    for _ in range(80):
        QTest.keyClick(page.focusWidget() or page, Qt.Key.Key_Tab)
        reached.add(page.focusWidget())
    wanted = [page.field(spot.key) for spot in SPOTS if page.field(spot.key).isVisible()]
    wanted += [page.blade, page.ruler, page.use_pad, *page.kind_pads.values()]
    assert [one.accessibleName() for one in wanted if one not in reached] == []


@pytest.fixture
def rig(app: QApplication) -> Iterator[WindowRig]:
    """The Plan page in the whole window."""
    made = WindowRig(app, scripted(disc_frames))
    made.first_picture()
    add_other_pages(made.window, made.bridge)
    made.press("F2")
    yield made
    made.close()


def plan_of(rig: WindowRig) -> PlanPage:
    page = rig.window.findChild(PlanPage)
    assert page is not None
    return page


def test_everything_is_done_by_keys_that_the_key_sheet_names(rig: WindowRig) -> None:
    page = plan_of(rig)
    names = [row.name for row, _ in rig.window.key_sheet.places() if isinstance(row, Action)]
    assert set(names) >= {action.name for action in page.own_actions()}
    rig.press("Up")
    assert "Take a number" in rig.window.answer.words()
    page.field("rig.focal_length_m").setFocus()
    rig.press("Up")
    assert page.settings.rig.focal_length_m == pytest.approx(1.22)
    rig.press("Tab")
    assert not page.field("rig.focal_length_m").hasFocus()
    page.field("rig.focal_length_m").setFocus()
    rig.press("Ctrl+Z")
    assert page.settings.rig.focal_length_m == pytest.approx(1.2)
    page.blade.setFocus()
    rig.press("Down")
    assert page.settings.blade.side is Side.BOTTOM, "the panel's own arrows"
    page.setFocus()
    rig.press("U")
    assert rig.bridge.settings.blade.side is Side.BOTTOM


def test_letters_are_undone_before_changes(rig: WindowRig) -> None:
    page = plan_of(rig)
    page.choose_shape("round")
    field = page.field("rig.name")
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "xu")
    rig.press("Ctrl+Z")
    assert page.settings.lamp.shape == "round"
    assert field.text() != "xu"


@pytest.mark.parametrize("size", [(1280, 720), (1280, 800), (1920, 1080)])
@pytest.mark.parametrize("scale", [1.0, 1.25])
def test_a_refusal_does_not_lie_over_the_name(
    rig: WindowRig, size: tuple[int, int], scale: float
) -> None:
    page = plan_of(rig)
    rig.window.use_settings(rig.bridge.settings.replaced("screen", text_scale=scale))
    rig.window.resize(*size)
    write(page, "rig.focal_length_m", "banana")
    answer = rig.window.answer
    low = answer.y() + answer.needed_height(answer.width())
    assert "banana" in answer.words()
    letters = QFontMetricsF(page.name.font()).tightBoundingRect(page.name.text()).height()
    assert low <= page.name.geometry().center().y() - letters / 2
    assert not answer.geometry().intersects(rig.window.source.geometry())


@pytest.mark.parametrize("size", [(1280, 720), (1280, 800), (1920, 1080)])
def test_large_words_have_room_beside_and_below_each_other(
    page: PlanPage, size: tuple[int, int]
) -> None:
    look = Look.for_window(*size, 1.25)
    page.resize(*size)
    page.set_look(look)
    ruler = page.ruler
    strong = look.font(Type.SMALL, Weight.STRONG)
    assert page.plan is not None
    for seen in page.plan.flows:
        assert look.px(0.8) + text_width(strong, seen.flow.name) < ruler._lane().left()
    rows = page.blade.note_rows()
    tall = QFontMetricsF(look.font(Type.BODY)).height() * 0.95  # what letters take of their line
    heights = [y for pair in rows for y in pair]
    assert min(below - above for above, below in pairwise(heights)) >= 0.8 * tall
    assert heights[-1] + tall / 2 <= page.blade.height()


def point_at(widget: QWidget, at: QPointF) -> None:
    """Move the pointer there, whatever the real one does."""
    kind, none = QEvent.Type.MouseMove, Qt.MouseButton.NoButton
    there = QPointF(widget.mapToGlobal(at.toPoint()))
    QApplication.sendEvent(
        widget, QMouseEvent(kind, at, there, none, none, Qt.KeyboardModifier.NoModifier)
    )


def test_why_a_flow_is_only_perhaps_seen_is_said(page: PlanPage) -> None:
    """Breath bends light by more than an eye accepts, but less than diffraction."""
    ruler, plan = page.ruler, page.plan
    assert plan is not None
    row = next(k for k, seen in enumerate(plan.flows) if seen.flow.name == "breath")
    lane = ruler._lane()
    at = QPointF(lane.center().x(), lane.top() + lane.height() * (row + 0.5) / len(plan.flows))
    point_at(ruler, at)
    assert "less than diffraction spreads" in ruler.toolTip()
    point_at(ruler, QPointF(5.0, 5.0))
    assert "diffraction" not in ruler.toolTip()


def test_pixels_that_are_not_square_are_cautioned(page: PlanPage) -> None:
    page.open_setup(setup("small-telescope-mirror"))
    write(page, "camera.sensor_height_m", "3.6 mm")
    assert "3.75 um wide and 5 um high" in page.cautions.words()
    write(page, "camera.sensor_height_m", "2.72 mm")
    assert "square" not in page.cautions.words()
