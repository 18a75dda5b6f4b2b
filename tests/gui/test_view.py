from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.gui.view import RIM_PX, View, disc_view, whole_view
from liveview.model import Disc

coordinate = st.floats(-2000, 4000)


@given(coordinate, coordinate, st.floats(0.05, 20), coordinate, coordinate)
def test_there_and_back(x: float, y: float, scale: float, px: float, py: float) -> None:
    view = View(x, y, scale, 300.0)
    back = view.to_picture(*view.to_widget(px, py))
    assert back == pytest.approx((px, py), abs=1e-6)


def test_the_disc_fills_the_circle_less_its_rim() -> None:
    disc = Disc(640.0, 350.0, 300.0)
    view = disc_view(disc, 320.0)
    assert view.to_widget(disc.cx, disc.cy) == pytest.approx((320.0, 320.0))
    x, _ = view.to_widget(disc.cx + disc.radius - RIM_PX, disc.cy)
    assert x == pytest.approx(640.0)


def test_the_whole_picture_has_its_corners_on_the_circle() -> None:
    view = whole_view(1280, 720, 320.0)
    # Corners of the picture are half a pixel outside the centres of its corner pixels.
    for corner in ((-0.5, -0.5), (1279.5, 719.5), (-0.5, 719.5)):
        x, y = view.to_widget(*corner)
        assert math.hypot(x - 320.0, y - 320.0) == pytest.approx(320.0)


def test_gliding_arrives() -> None:
    start, end = whole_view(1280, 720, 320.0), disc_view(Disc(600, 300, 250), 320.0)
    view, steps = start, 0
    while view != end:
        view = view.towards(end, 0.4)
        steps += 1
        assert steps < 40
