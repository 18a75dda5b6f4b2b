"""Signed contrast: the quick way against the definition."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.contrast import contrast_plan, ratio_into, signed_contrast

RNG = np.random.default_rng(5)
REFERENCE = RNG.uniform(0.2, 0.6, (40, 50)).astype(np.float32)
DARK = RNG.uniform(0.01, 0.03, (40, 50)).astype(np.float32)
INSIDE = np.full((40, 50), 255, np.uint8)


def test_nothing_has_no_contrast() -> None:
    assert np.abs(signed_contrast(REFERENCE, REFERENCE, DARK)).max() == 0


@pytest.mark.parametrize("contrast", [-1.0, -0.2, 0.05, 1.0])
def test_known_contrast(contrast: float) -> None:
    light = DARK + (REFERENCE - DARK) * np.float32(1 + contrast)
    plan = contrast_plan(REFERENCE, DARK, INSIDE)
    ratio = ratio_into(light, plan, np.empty_like(light))
    # float32 throughout.
    assert ratio - 1 == pytest.approx(np.full(light.shape, contrast), abs=2e-6)
    assert signed_contrast(light, REFERENCE, DARK) == pytest.approx(ratio - 1, abs=2e-6)


def test_without_a_dark_picture_black_is_zero() -> None:
    plan = contrast_plan(REFERENCE, None, INSIDE)
    ratio = ratio_into(REFERENCE * np.float32(1.5), plan, np.empty_like(REFERENCE))
    assert ratio == pytest.approx(np.full(ratio.shape, 1.5), abs=2e-6)


def test_no_contrast_where_the_reference_has_no_light() -> None:
    reference = REFERENCE.copy()
    reference[5, 6] = 0
    inside = INSIDE.copy()
    inside[:3] = 0
    plan = contrast_plan(reference, DARK, inside)
    ratio = ratio_into(RNG.random((40, 50), np.float32), plan, np.empty_like(reference))
    assert plan.valid[5, 6] == 0
    assert ratio[5, 6] == 1
    assert (ratio[:3] == 1).all()
    assert plan.valid[10, 10] == 255
    assert np.isnan(signed_contrast(reference, reference, DARK)[5, 6])


def test_all_dark_gives_an_empty_plan() -> None:
    plan = contrast_plan(np.zeros((4, 4), np.float32), None, INSIDE[:4, :4])
    assert not plan.valid.any()
