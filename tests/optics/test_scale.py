"""From settings to angles."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.optics.scale import angle_scale, geometry
from liveview.settings import Settings

SETTINGS = Settings().replaced("rig", object_distance_m=0.2)


def test_slit_is_linear_and_its_ends_are_the_range() -> None:
    scale = angle_scale(SETTINGS, 0.4)
    assert scale is not None
    assert scale.linear
    assert scale.arm_sum_m == pytest.approx(4.4)
    assert scale.rad_per_contrast == pytest.approx(1e-3 * 0.4 / 4.4)
    assert scale.low_rad == pytest.approx(-scale.rad_per_contrast)
    assert scale.high_rad == pytest.approx(scale.contrast_high * scale.rad_per_contrast)
    contrast = np.linspace(scale.contrast_low, scale.contrast_high, 7)
    assert scale.angle(contrast) == pytest.approx(contrast * scale.rad_per_contrast)


def test_round_lamp_round_trips_but_is_not_linear() -> None:
    scale = angle_scale(SETTINGS.replaced("lamp", shape="round"), 0.5)
    assert scale is not None
    assert not scale.linear
    eps = np.linspace(0.9 * scale.low_rad, 0.9 * scale.high_rad, 9)
    assert scale.angle(scale.contrast(eps)) == pytest.approx(eps, abs=1e-13)
    small = 1e-4
    assert scale.angle(small) == pytest.approx(small * scale.rad_per_contrast, rel=1e-6)


@pytest.mark.parametrize("uncut", [None, 0.0, 1.0, -0.2, 0.001, 0.999, float("nan")])
def test_no_scale_without_a_cutoff(uncut: float | None) -> None:
    assert angle_scale(SETTINGS, uncut) is None


def test_no_scale_for_a_rig_that_cannot_be() -> None:
    assert angle_scale(SETTINGS.replaced("rig", lamp_distance_m=0.5), 0.5) is None


def test_assumptions_go_away_when_known() -> None:
    bare = angle_scale(Settings(), 0.5)
    assert bare is not None
    assert any("object" in words for words in bare.assumptions)
    known = SETTINGS.replaced("blade", distance_m=2.4).replaced("lamp", image_width_m=1.1e-3)
    told = angle_scale(known, 0.5)
    assert told is not None
    assert told.image_width_m == 1.1e-3
    assert not any("taken" in words or "computed" in words for words in told.assumptions)


def test_geometry_follows_the_settings() -> None:
    two = SETTINGS.replaced("rig", kind="two mirrors", first_focal_length_m=0.6)
    assert geometry(two).magnification == pytest.approx(2.0)
    assert geometry(two).arms_m == (1.2,)
