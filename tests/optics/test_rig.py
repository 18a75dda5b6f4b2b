"""Rig geometry: distances, arms, and rigs that cannot exist."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import BadRequest
from liveview.optics.rig import image_distance, paraboloid_blur, resolve, sagitta


@given(focal=st.floats(0.1, 10.0), ratio=st.floats(1.05, 20.0))
def test_image_of_the_image_is_the_source(focal: float, ratio: float) -> None:
    image = image_distance(ratio * focal, focal)
    # 1/(ratio - 1) magnifies rounding: 20 at the worst end
    assert image_distance(image, focal) == pytest.approx(ratio * focal, rel=1e-10)


def test_source_in_or_inside_the_focus() -> None:
    assert math.isinf(image_distance(1.2, 1.2))
    assert image_distance(0.8, 1.2) < 0.0


def test_one_mirror_with_nothing_given() -> None:
    rig = resolve("one mirror", 0.15, 1.2)
    assert rig.lamp_distance_m == rig.image_distance_m == rig.blade_distance_m == 2.4
    assert rig.passes == 2
    assert rig.arm_sum_m == pytest.approx(4.8)
    assert rig.magnification == 1.0
    assert set(rig.assumed) == {"lamp distance", "blade distance", "object distance"}


@given(share=st.floats(0.0, 0.95), focal=st.floats(0.3, 5.0))
def test_at_the_centre_of_curvature_both_arms_are_equal(share: float, focal: float) -> None:
    rig = resolve("one mirror", 0.1, focal, object_distance_m=2 * focal * share)
    assert rig.arms_m[0] == pytest.approx(rig.arms_m[1], abs=1e-12)
    assert rig.arm_sum_m == pytest.approx(4 * focal * (1 - share))
    assert rig.object_field_m == pytest.approx(0.1 * (1 - share))


def test_two_mirrors_arm_is_the_second_focal_length_wherever_the_object_stands() -> None:
    for place in (0.1, 1.0, 3.0):
        rig = resolve("two mirrors", 0.15, 1.6, first_focal_length_m=1.0, object_distance_m=place)
        assert rig.arms_m == pytest.approx((1.6,))
    assert rig.image_width_m == pytest.approx(1.6e-3)
    assert rig.object_field_m == 0.15


def test_measured_image_width_wins() -> None:
    rig = resolve("one mirror", 0.1, 1.0, lamp_width_m=1e-3, image_width_m=1.3e-3)
    assert rig.image_width_m == 1.3e-3


def test_blade_offset_is_positive_towards_the_mirror() -> None:
    assert resolve("one mirror", 0.1, 1.0, blade_distance_m=1.99).blade_offset_m == pytest.approx(
        0.01
    )


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"lamp_distance_m": 0.9}, "behind the mirror"),
        ({"lamp_distance_m": 1.2}, "in the focus"),
        ({"object_distance_m": 2.4}, "does not stand between"),
        ({"object_distance_m": -0.1}, "does not stand between"),
        ({"lamp_distance_m": -1.0}, "not a length above zero"),
        ({"lamp_width_m": 0.0}, "not a length above zero"),
        ({"blade_distance_m": math.nan}, "not a length above zero"),
        ({"mirror_diameter_m": 4.8}, "cannot have a focal length"),
    ],
)
def test_impossible_rigs_say_why_in_one_line(wrong: dict[str, float], words: str) -> None:
    values = {"mirror_diameter_m": 0.15, **wrong}
    with pytest.raises(BadRequest, match=words) as caught:
        resolve("one mirror", focal_length_m=1.2, **values)
    assert "\n" not in str(caught.value)
    assert caught.value.where


def test_object_behind_the_second_mirror() -> None:
    with pytest.raises(BadRequest, match="negative"):
        resolve("two mirrors", 0.15, 1.2, object_distance_m=-1.0)


def test_passes_that_cancel() -> None:
    # beyond 2 f from the mirror the light of the outward pass has crossed over
    with pytest.raises(BadRequest, match="cancel or reverse"):
        resolve(
            "one mirror",
            0.1,
            1.0,
            lamp_distance_m=2.5,
            blade_distance_m=2.5,
            object_distance_m=2.2,
        )


def test_sagitta_is_the_circle() -> None:
    depth = sagitta(0.2, 2.0)
    assert (2.0 - depth) ** 2 + 0.1**2 == pytest.approx(4.0, rel=1e-14)
    assert sagitta(0.0, 2.0) == 0.0


def test_paraboloid_blur_by_rays() -> None:
    """Rays from the centre of curvature meet a paraboloid; their least spread is the blur."""
    import numpy as np

    radius, curvature = 0.1, 3.0
    r = np.linspace(1e-4, radius, 2000)
    z = r**2 / (2 * curvature)
    normal = np.arctan(r / curvature)  # slope of the paraboloid's normal
    incoming = np.arctan2(r, curvature - z)
    outgoing = 2 * normal - incoming
    planes = curvature + np.linspace(-0.002, 0.006, 4001)
    spread = np.abs(r[:, None] - np.tan(outgoing)[:, None] * (planes - z[:, None])).max(axis=0)
    # third order only: the next term is (r/R)^2, about 1e-3
    assert paraboloid_blur(0.2, curvature) == pytest.approx(2 * spread.min(), rel=0.01)
