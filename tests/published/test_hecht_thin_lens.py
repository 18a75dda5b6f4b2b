"""E. Hecht, Optics, geometrical optics: mirror equation, magnification, depth of a sphere.

The equations are from memory of the book, the examples worked out by hand.
"""

from __future__ import annotations

import math

import pytest

from liveview.optics.rig import image_distance, magnification, sagitta


@pytest.mark.parametrize(
    ("source", "image", "size"),
    [
        (2.4, 2.4, 1.0),
        (3.0, 2.0, 0.666667),
        (1.8, 3.6, 2.0),
        (2.41, 2.390083, 0.991736),
    ],
)
def test_mirror_of_focal_length_1_2_m(source: float, image: float, size: float) -> None:
    found = image_distance(source, 1.2)
    assert found == pytest.approx(image, abs=1e-6)
    assert magnification(source, found) == pytest.approx(size, abs=1e-6)


def test_source_in_the_focus_is_imaged_at_infinity() -> None:
    assert math.isinf(image_distance(1.2, 1.2))


@pytest.mark.parametrize(
    ("diameter", "radius", "mm"), [(0.2, 2.0, 2.501564), (0.114, 3.0, 0.541549)]
)
def test_depth_of_a_sphere(diameter: float, radius: float, mm: float) -> None:
    assert sagitta(diameter, radius) * 1e3 == pytest.approx(mm, abs=1e-6)
