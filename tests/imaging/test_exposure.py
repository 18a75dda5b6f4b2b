"""Raw levels and the exposure suggestion."""

from __future__ import annotations

import math

import numpy as np
import pytest

from liveview.imaging.exposure import (
    TARGET_TOP,
    clipped_pixels,
    exposure_advice,
    read_levels,
    stops_to_target,
)
from liveview.imaging.transfer import Transfer

LINEAR, SRGB = Transfer.named("linear"), Transfer.named("srgb")
ALL = np.full((60, 80), 255, np.uint8)


def even(code: int, dtype: type = np.uint8) -> np.ndarray:
    return np.full((60, 80), code, dtype)


@pytest.mark.parametrize(
    ("dtype", "white"), [(np.uint8, 255), (np.uint16, 4095), (np.uint16, 65535)]
)
def test_even_picture(dtype: type, white: int) -> None:
    levels = read_levels(even(white // 2, dtype), white, LINEAR, ALL)
    assert levels is not None
    assert levels.mean == pytest.approx(0.5, abs=0.003)
    assert levels.brightest == pytest.approx(levels.mean)
    assert levels.counts.sum() == ALL.size
    assert levels.counts[31] == ALL.size
    assert (levels.clipped_dark, levels.clipped_bright) == (0.0, 0.0)


def test_empty_mask_is_none() -> None:
    assert read_levels(even(9), 255, LINEAR, np.zeros_like(ALL)) is None


def test_only_the_mask_counts_and_codes_above_white_are_clipped() -> None:
    picture = even(1000, np.uint16)
    picture[:30] = 5000
    mask = ALL.copy()
    levels = read_levels(picture, 4095, LINEAR, mask)
    assert levels is not None
    assert levels.clipped_bright == pytest.approx(0.5)
    mask[:30] = 0
    levels = read_levels(picture, 4095, LINEAR, mask)
    assert levels is not None
    assert levels.clipped_bright == 0.0


def test_colour_is_judged_by_the_channel_that_clips_first() -> None:
    picture = np.zeros((60, 80, 3), np.uint8)
    picture[:, :, 2] = 255
    levels = read_levels(picture, 255, SRGB, ALL)
    assert levels is not None
    assert levels.clipped_bright == 1.0
    assert (clipped_pixels(picture, 255) == 255).all()


def test_marks() -> None:
    picture = even(100)
    picture[0, 0], picture[0, 1] = 255, 0
    marks = clipped_pixels(picture, 255)
    assert (marks[0, 0], marks[0, 1], marks[1, 1]) == (255, 1, 0)
    assert clipped_pixels(picture, 255, bottom=False)[0, 1] == 0


@pytest.mark.parametrize("stops", [-0.2, 0.7, 1.0, 3.0])
@pytest.mark.parametrize("uncut", [None, 0.5])
def test_suggestion_brings_the_open_picture_to_the_target(
    stops: float, uncut: float | None
) -> None:
    light = TARGET_TOP * 2.0**-stops * (uncut or 1.0)
    levels = read_levels(even(round(65535 * light), np.uint16), 65535, LINEAR, ALL)
    assert levels is not None
    # One code of 65535 at the lowest level here is far below a hundredth of a stop.
    assert stops_to_target(levels, uncut) == pytest.approx(stops, abs=1e-3)


def test_words() -> None:
    black = read_levels(even(0), 255, LINEAR, ALL)
    white = read_levels(even(255), 255, LINEAR, ALL)
    good = read_levels(even(204), 255, LINEAR, ALL)
    dim = read_levels(even(51), 255, LINEAR, ALL)
    assert black and white and good and dim
    assert "lamp" in exposure_advice(black)
    assert "1 stop less" in exposure_advice(white)
    assert stops_to_target(white) == -1.0
    assert exposure_advice(good) == "exposure is good"
    assert exposure_advice(dim) == "expose 2.0 stops longer (× 4)"
    capped = read_levels(even(2), 255, LINEAR, ALL)
    assert capped
    assert exposure_advice(capped) == "expose 6.7 stops longer (× 100)"


def test_a_flame_and_a_bright_plume_do_not_make_a_good_exposure_too_long() -> None:
    picture = np.full((100, 100), 102, np.uint8)  # 0.40 of full with half of the light cut
    picture[:, 60:65] = 180  # a flow that bends light past the blade
    picture[98, 50:70] = 255  # a small flame
    levels = read_levels(picture, 255, Transfer.named("linear"), np.full((100, 100), 255, np.uint8))
    assert levels is not None
    assert levels.clipped_bright == pytest.approx(0.002)
    assert stops_to_target(levels, 0.5) == pytest.approx(0.0, abs=0.01)
    assert stops_to_target(levels) == pytest.approx(math.log2(0.80 * 255 / 180), abs=0.01)
