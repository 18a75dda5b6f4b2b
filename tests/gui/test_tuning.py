"""The small panels of settings: their rows at the size of the text."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PyQt6.QtWidgets import QApplication, QWidget
from support.readings import reading

from liveview.gui.paint import text_width
from liveview.gui.panels import BELOW_MIDDLE, Panels
from liveview.gui.theme import Look, Type, Weight
from liveview.gui.tuning import CATCH, ENHANCE, Row, TuningPanel
from liveview.settings import Settings


@pytest.mark.parametrize("rows", [ENHANCE, CATCH])
@pytest.mark.parametrize("scale", [1.0, 1.25])
def test_titles_stay_off_values_and_rows_apart(
    app: QApplication, rows: tuple[Row, ...], scale: float
) -> None:
    look = Look.for_window(1280, 800, scale)
    panel = TuningPanel("Enhance", rows)
    panel.set_look(look)
    panel.set_settings(Settings())
    panel.resize(217, round(look.px(panel.steps_high)))
    font = look.smaller(panel.fitting).font(Type.BODY, Weight.FIRM)
    for words in panel.words().splitlines():
        title, value = words.split(": ", 1)
        assert text_width(font, title) + text_width(font, value) < panel.width() - look.px(5)
    assert panel.steps_high == pytest.approx(TuningPanel("", rows).steps_high, rel=0.11)


def test_with_room_enough_rows_have_the_usual_size(app: QApplication) -> None:
    panel = TuningPanel("Enhance", ENHANCE)
    panel.set_look(Look.for_window(1280, 800, 1.25))
    panel.resize(400, 300)
    assert panel.fitting == 1.0


@pytest.mark.parametrize("height", [720, 800, 1080])
@pytest.mark.parametrize("scale", [1.0, 1.25])
def test_a_panel_lies_below_the_pads_and_grows_with_its_rows(
    app: QApplication, height: int, scale: float
) -> None:
    page = QWidget()
    page.resize(1280, height)
    panels = Panels(page, lambda *wanted: None)
    look = Look.for_window(1280, height, scale)
    panels.lay_out(look, height, lambda top, bottom: 260.0)
    page.show()
    panels.toggle(panels.steps)
    few = panels.steps.height()
    ten = tuple((f"step {k}", 1.0) for k in range(10))
    panels.show_reading(replace(reading(), steps_ms=ten))
    assert panels.steps.height() > few
    assert panels.steps.height() == pytest.approx(look.px(panels.steps.steps_high), abs=1)
    for panel in (panels.enhance, panels.catch, panels.steps, panels.hand):
        panels.toggle(panel)
        assert panel.y() >= height / 2 + look.px(BELOW_MIDDLE) - 1
        assert panel.geometry().bottom() < height
    page.close()
