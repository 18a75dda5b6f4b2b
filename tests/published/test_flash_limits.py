"""WCAG 2.2 criterion 2.3.1 and ITU-R BT.1702-3 flash limits (texts from memory, figures public).

The checker (``support.flash_check``) is written from the text, without the program's code.
"""

from __future__ import annotations

import math

import colour
import numpy as np
import pytest
from support.flash_check import passes_general

from liveview.imaging.flash_guard import FlashGuard
from liveview.imaging.flashes import FIELD_SHARE, FlashCounter, look_at

RATE = 60.0
ROWS, COLUMNS = 54, 96


def grey(code: int) -> np.ndarray:
    return np.full((ROWS, COLUMNS, 4), code, np.uint8)


def square_wave(hz: float, dark: np.ndarray, bright: np.ndarray, seconds: float = 3.0) -> list:
    return [
        bright if math.floor(2 * hz * k / RATE) % 2 else dark for k in range(int(seconds * RATE))
    ]


def worst(pictures: list) -> float:
    counter = FlashCounter((ROWS, COLUMNS))
    most = 0.0
    for k, picture in enumerate(pictures):
        step = counter.weigh(picture, k / RATE)
        counter.commit(step)
        most = max(most, step.worst)
    return most


def test_field_of_ten_degrees() -> None:
    field = 2 * math.pi * (1 - math.cos(math.radians(5)))
    assert field == pytest.approx(0.023909, abs=1e-6)
    assert field * FIELD_SHARE == pytest.approx(0.005977, abs=1e-6)
    share = 341 * 256 / (1024 * 768)
    assert share == pytest.approx(0.111003, abs=1e-6)


@pytest.mark.parametrize(("hz", "bad"), [(3, False), (4, True), (10, True)])
def test_flashes_per_second(hz: float, bad: bool) -> None:
    pictures = square_wave(hz, grey(0), grey(255))
    assert (worst(pictures) > FIELD_SHARE) is bad
    assert passes_general(pictures) is not bad


@pytest.mark.parametrize(("code", "bad"), [(89, False), (90, True)])
def test_a_tenth_of_the_luminance(code: int, bad: bool) -> None:
    # sRGB 89 is 0.09990 of full luminance, 90 is 0.10224.
    assert (worst(square_wave(8, grey(0), grey(code))) > FIELD_SHARE) is bad


@pytest.mark.parametrize(("dark", "bad"), [(231, True), (232, False)])
def test_darker_state_below_eight_tenths(dark: int, bad: bool) -> None:
    # sRGB 231 is 0.79910, 232 is 0.80695; full white is more than a tenth above both.
    assert (worst(square_wave(8, grey(dark), grey(255))) > FIELD_SHARE) is bad


@pytest.mark.parametrize(("share", "bad"), [(0.2, False), (0.3, True)])
def test_area_of_a_field(share: float, bad: bool) -> None:
    bright = grey(0)
    high, wide = ROWS // 3, COLUMNS // 3
    side = math.sqrt(share)
    bright[18 : 18 + round(high * side), 32 : 32 + round(wide * side)] = 255
    assert (worst(square_wave(8, grey(0), bright)) > FIELD_SHARE) is bad


def test_red_rule() -> None:
    red, black = grey(0), grey(0)
    red[:, :, 2] = 255
    # Pure red is 0.2126 of the luminance: a general flash as well. A dark red is not.
    dark_red = grey(0)
    dark_red[:, :, 2] = 160
    assert look_at(dark_red, (9, 16)).luminance.max() < 0.10
    assert look_at(dark_red, (9, 16)).red.all()
    assert not look_at(grey(128), (9, 16)).red.any()
    assert worst(square_wave(8, black, red)) > FIELD_SHARE
    assert worst(square_wave(8, black, dark_red)) > FIELD_SHARE
    assert worst(square_wave(3, black, dark_red)) <= FIELD_SHARE
    blue = grey(0)
    blue[:, :, 0] = 200
    assert look_at(blue, (9, 16)).luminance.max() < 0.10
    assert worst(square_wave(8, black, blue)) <= FIELD_SHARE


@pytest.mark.parametrize("code", [1, 20, 38, 39])
def test_no_red_is_too_dark_for_the_red_rule(code: int) -> None:
    """It asks for the share of red alone; code 38 is 0.0194 of the full red light."""
    red = grey(0)
    red[:, :, 2] = code
    assert worst(square_wave(8, grey(0), red)) > FIELD_SHARE
    assert worst(square_wave(3, grey(0), red)) <= FIELD_SHARE
    green = grey(0)
    green[:, :, 1] = code
    assert worst(square_wave(8, grey(0), green)) <= FIELD_SHARE


@pytest.mark.slow
def test_noise_of_a_dark_colour_camera_is_no_red_flashing() -> None:
    rng = np.random.default_rng(3)
    pictures = []
    for _ in range(120):
        picture = rng.poisson(1.0, (6 * ROWS, 6 * COLUMNS, 4))
        picture[..., 2] = rng.poisson(3.0, picture.shape[:2])  # a red cast
        pictures.append(picture.astype(np.uint8))
    assert worst(pictures) <= FIELD_SHARE


def test_chromaticity_against_colour_science() -> None:
    code = np.array([40, 90, 200], np.uint8)  # blue, green, red
    picture = np.empty((9, 16, 4), np.uint8)
    picture[:, :, :3] = code
    look = look_at(picture, (9, 16))
    xyz = colour.sRGB_to_XYZ(code[::-1] / 255.0)
    uv = colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz))
    # The matrix is rounded to four places in the standard.
    assert (look.u[0, 0], look.v[0, 0]) == pytest.approx(tuple(uv), abs=5e-4)
    assert look.luminance[0, 0] == pytest.approx(xyz[1], abs=5e-4)


def sparks(hz: float, seconds: float = 4.0) -> list:
    """Full-screen flashes of one frame on a grey picture."""
    every = round(RATE / hz)
    return [grey(255) if k % every == 0 else grey(110) for k in range(int(seconds * RATE))]


@pytest.mark.slow
@pytest.mark.parametrize("hz", [2, 5, 20])
def test_guarded_sparks_pass_the_independent_check(hz: float) -> None:
    guard = FlashGuard((ROWS, COLUMNS))
    sent, touched = [], 0
    for k, picture in enumerate(sparks(hz)):
        guarded = guard.admit(picture, k / RATE)
        sent.append(guarded.picture.copy())
        touched += guarded.share < 1.0
        assert (guarded.words == "") == (guarded.share == 1.0)
    assert passes_general(sent)
    assert passes_general(sparks(hz)) is (hz == 2)
    assert (touched > 0) is (hz > 2)


def test_a_harmless_picture_passes_as_the_same_array() -> None:
    guard = FlashGuard()
    rng = np.random.default_rng(1)
    for k in range(120):
        picture = grey(100) + rng.integers(0, 6, (ROWS, COLUMNS, 4), np.uint8)
        guarded = guard.admit(picture, k / RATE)
        assert guarded.picture is picture
        assert guarded.share == 1.0


@pytest.mark.slow
def test_it_lets_go_when_the_flashing_ends() -> None:
    guard = FlashGuard()
    for k, picture in enumerate(sparks(20)):
        guard.admit(picture, k / RATE)
    after = [guard.admit(grey(110), 4.0 + k / RATE).share for k in range(90)]
    assert after[-1] == 1.0
    assert guard.admit(grey(112), 6.0).picture[0, 0, 0] == 112
