from __future__ import annotations

import math

import numpy as np
import pytest

from liveview.bench.cut import CutCurve
from liveview.optics.blade import uncut_from_position

EDGES = np.linspace(-0.3, 1.3, 641)


@pytest.mark.parametrize("shape", ["slit", "round"])
def test_agrees_with_the_closed_form(shape: str) -> None:
    curve = CutCurve(shape)  # type: ignore[arg-type]
    wanted = uncut_from_position(EDGES, 1.0, shape)  # type: ignore[arg-type]
    # 8192 samples of the profile: about (1/8192)^1.5 at a round lamp's steep ends.
    np.testing.assert_allclose(curve.uncut(EDGES), wanted, atol=2e-5)


@pytest.mark.parametrize("shape", ["slit", "round"])
def test_the_picture_uses_the_same_curve(shape: str) -> None:
    curve = CutCurve(shape, unevenness=0.0 if shape == "slit" else 0.2)  # type: ignore[arg-type]
    q = EDGES.astype(np.float32)
    out = curve.apply(q.copy(), np.empty_like(q))
    # One of 65536 table entries.
    np.testing.assert_allclose(out, curve.uncut(EDGES), atol=3e-5)


def test_a_turned_slit_softens_the_ends_and_keeps_the_middle() -> None:
    turned = CutCurve("slit", length_over_width=3.0, angle_rad=0.1)
    assert turned.uncut(0.5) == pytest.approx(0.5, abs=1e-4)
    # Corner of the rotated rectangle: half the width and half the length as seen across.
    reach = 0.5 * (math.cos(0.1) + 3.0 * math.sin(0.1))
    assert turned.uncut(0.5 - reach) == pytest.approx(1.0, abs=1e-6)
    assert turned.uncut(0.5 - reach + 0.02) < 1.0
    assert turned.uncut(0.0) < 1.0
    # A rotated rectangle's area beyond a line through its middle part: slope length/(w l cos).
    slope = (turned.uncut(0.45) - turned.uncut(0.55)) / 0.1
    assert slope == pytest.approx(1.0 / math.cos(0.1), rel=1e-3)


def test_uneven_light_shifts_the_half_cut() -> None:
    brighter_late = CutCurve("slit", unevenness=0.5)
    assert brighter_late.uncut(0.5) > 0.5
    assert CutCurve("slit", unevenness=-0.5).uncut(0.5) == pytest.approx(
        1.0 - float(brighter_late.uncut(0.5)), abs=1e-4
    )
