from __future__ import annotations

import pytest
from PyQt6.QtGui import QColor, QFontInfo

from liveview.gui.theme import COLOURS, FAMILY, Look, Type, contrast_ratio


def test_contrast_of_black_and_white_is_21() -> None:
    assert contrast_ratio(QColor("black"), QColor("white")) == pytest.approx(21.0)
    assert contrast_ratio(QColor("#777"), QColor("#777")) == 1.0


@pytest.mark.parametrize("name", ["text", "quiet", "brass", "ember", "shade"])
@pytest.mark.parametrize("on", ["ground", "raised"])
def test_words_can_be_read(name: str, on: str) -> None:
    # WCAG 2.2, 1.4.6: 7:1 for small text; on raised sheets at least 4.5:1 (1.4.3).
    least = 6.9 if on == "ground" else 4.5
    assert contrast_ratio(getattr(COLOURS, name), getattr(COLOURS, on)) >= least


def test_type_grows_with_the_window() -> None:
    small, large = Look.for_window(1280, 800), Look.for_window(2560, 1600)
    assert small.font(Type.BODY).pixelSize() == 15
    assert large.font(Type.BODY).pixelSize() == 30
    # A wide, low window is ruled by its height.
    assert Look.for_window(4000, 800).text_px == small.text_px


def test_the_shipped_typeface_is_used(app: object) -> None:
    assert QFontInfo(Look().font()).family() == FAMILY


def test_larger_words_stand_in_the_same_places() -> None:
    plain, larger = Look.for_window(1280, 800), Look.for_window(1280, 800, 1.2)
    assert larger.font().pixelSize() == 18
    assert larger.px(10) == pytest.approx(plain.px(10))
    smaller = larger.smaller(0.8)
    assert smaller.font().pixelSize() == round(18 * 0.8)
    assert smaller.px(10) == pytest.approx(plain.px(10))
    spread = larger.spread(1.1)
    assert spread.font().pixelSize() == 18
    assert spread.px(10) == pytest.approx(11 * plain.step_px)
