"""The small panels of settings: their rows at the size of the text."""

from __future__ import annotations

import pytest
from PyQt6.QtWidgets import QApplication

from liveview.gui.paint import text_width
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
