"""Camera behind the blade: field, lens, pupil, depth, smear, exposure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.optics import camera as c
from liveview.optics.rig import image_distance, resolve
from liveview.optics.view import FILL, view_of


@given(distance=st.floats(0.5, 20.0), width=st.floats(0.02, 1.0), sensor=st.floats(1e-3, 0.04))
def test_lens_to_fill_fills(distance: float, width: float, sensor: float) -> None:
    lens = c.lens_to_fill(distance, width, sensor)
    assert c.field_of_view(distance, lens, (sensor, sensor))[0] == pytest.approx(width)


def test_scale_is_that_of_the_thin_lens() -> None:
    assert c.image_scale(2.43, 0.05) == pytest.approx(image_distance(2.43, 0.05) / 2.43)
    assert math.isinf(c.image_scale(0.05, 0.05))
    assert c.image_scale(0.04, 0.05) < 0.0


def test_pupil_by_rays() -> None:
    """The widest ray of any mirror point through any point of the lamp's image."""
    mirror = np.linspace(-0.1, 0.1, 41)[:, None]
    image = np.linspace(-5e-4, 5e-4, 41)
    at_lens = image + (image - mirror) * 0.05 / 3.0
    assert c.pupil_needed(0.2, 1e-3, 3.0, 0.05) == pytest.approx(2 * np.abs(at_lens).max())


@given(behind=st.floats(0.001, 0.5), diameter=st.floats(0.05, 0.5))
def test_the_pupil_needed_just_clears_the_disc(behind: float, diameter: float) -> None:
    pupil = c.pupil_needed(diameter, 1e-3, 3.0, behind)
    assert c.unvignetted_diameter(pupil, 1e-3, 3.0, behind) == pytest.approx(diameter)


def test_pupil_limits() -> None:
    assert math.isinf(c.unvignetted_diameter(0.01, 1e-3, 3.0, 0.0))
    assert c.unvignetted_diameter(0.9e-3, 1e-3, 3.0, 0.05) == 0.0


def test_depth_by_rays() -> None:
    """Rays of one point of the object through the ends of the lamp's image."""
    blur, depth = 2e-4, c.depth_of_object(2e-4, 1e-3, 3.0)
    assert depth * 1e-3 / 3.0 == pytest.approx(blur)


def test_motion() -> None:
    assert c.motion_blur(-2.0, 1e-3) == pytest.approx(2e-3)
    assert c.longest_exposure(2.0, 1e-3) == pytest.approx(5e-4)
    assert math.isinf(c.longest_exposure(0.0, 1e-3))


def test_exposure_brings_the_open_picture_to_the_target() -> None:
    advice = c.exposure_advice(0.2, 1e-3)
    assert advice.exposure_s == pytest.approx(4e-3)
    assert advice.light_factor == 1.0
    assert advice.measured
    # half cut and as bright: the open picture is twice as bright
    assert c.exposure_advice(0.2, 1e-3, uncut=0.5).exposure_s == pytest.approx(2e-3)


def test_exposure_obeys_the_smear_and_asks_for_light() -> None:
    advice = c.exposure_advice(0.2, 1e-3, longest_s=5e-4)
    assert advice.exposure_s == 5e-4
    assert advice.light_factor == pytest.approx(8.0)


def test_clipped_brightness_is_only_a_step() -> None:
    advice = c.exposure_advice(1.0, 1e-3)
    assert not advice.measured
    assert advice.exposure_s < 1e-3


@pytest.mark.parametrize("wrong", [(0.0, 1e-3, 1.0), (0.2, 0.0, 1.0), (0.2, 1e-3, 0.0)])
def test_no_light_no_advice(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        c.exposure_advice(wrong[0], wrong[1], uncut=wrong[2])


def test_view() -> None:
    rig = resolve("one mirror", 0.15, 1.2, object_distance_m=0.24)
    common = {"f_number": 4.0, "sensor_m": (0.0072, 0.00405), "pixels": (1280, 720)}
    view = view_of(rig, lens_m=0.05, behind_m=0.03, **common)
    assert view is not None
    assert view.disc_pixels == pytest.approx(0.15 * view.scale / 0.0072 * 1280)
    assert view.object_pixel_m == pytest.approx(0.9 * view.metres_per_pixel)
    wanted = view_of(rig, lens_m=view.wanted_lens_m, behind_m=0.03, **common)
    assert wanted is not None
    assert wanted.disc_pixels == pytest.approx(FILL * 720)
    assert view_of(rig, lens_m=2.5, behind_m=0.03, **common) is None
