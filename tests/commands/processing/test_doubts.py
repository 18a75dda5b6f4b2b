"""Numbers that were stated, or that nobody stated, against what the recording shows."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from liveview.commands.processing.doubts import (
    TopCode,
    assumed_curve,
    believable_exposure,
    impossible_words,
    possible,
    times_are_known,
    unused_rate,
    useless_open,
)
from liveview.commands.processing.request import Request
from liveview.model import (
    Average,
    BladeReading,
    Calibration,
    CameraState,
    Side,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings

DEEP = SourceInfo(SourceKind.TIFF, "x", 8, 6, 1, 16, 65535, live=False, rate_hz=50.0)
PLAIN = SourceInfo(SourceKind.VIDEO, "x", 8, 6, 1, 8, 255, live=False, rate_hz=50.0)


def request(*told: str, **camera: object) -> Request:
    settings = Settings().replaced("camera", **camera)
    given = frozenset(f"camera.{name}" for name in told)
    return Request("x", None, settings, given, {}, on_command_line=given)  # type: ignore[arg-type]


def codes_words(info: SourceInfo, stated: int | None, *highest: int) -> list[str]:
    top = TopCode(info, stated)
    for code in highest:
        pixels = np.zeros(info.shape, info.dtype)
        pixels[2, 3] = code
        top.see(pixels)
    return list(top.words())


@pytest.mark.parametrize(
    ("highest", "hint"), [(900, 1023), (1023, 1023), (1024, 4095), (4095, 4095), (9000, 16383)]
)
def test_codes_that_stay_low_in_16_bits_give_a_hint(highest: int, hint: int) -> None:
    (words,) = codes_words(DEEP, None, 12, highest, 500)
    assert f"--white {hint}" in words


@pytest.mark.parametrize(
    ("info", "stated", "highest"),
    [
        (DEEP, None, 16384),
        (DEEP, None, 65535),
        (DEEP, 4095, 4095),
        (PLAIN, None, 90),
        (PLAIN, 255, 255),
    ],
)
def test_codes_that_fit_are_not_spoken_of(
    info: SourceInfo, stated: int | None, highest: int
) -> None:
    info = info if stated is None else dataclasses.replace(info, white=stated)
    assert codes_words(info, stated, highest) == []


def test_a_white_below_the_codes_is_said() -> None:
    (words,) = codes_words(dataclasses.replace(DEEP, white=1023), 1023, 800, 3000, 200)
    assert "codes lie above --white 1023" in words
    colour = dataclasses.replace(PLAIN, channels=3, white=100)
    (words,) = codes_words(colour, 100, 101)
    assert "above --white 100" in words


def test_an_assumed_curve_is_said_of_deep_codes() -> None:
    (words,) = assumed_curve(DEEP, request())
    assert "'srgb' was assumed" in words
    assert not list(assumed_curve(PLAIN, request()))
    assert not list(assumed_curve(DEEP, request("transfer", transfer="srgb")))
    assert not list(assumed_curve(dataclasses.replace(DEEP, transfer="bt709"), request()))


def test_a_rate_that_is_not_used_is_said() -> None:
    (words,) = unused_rate(PLAIN, request("rate_hz", rate_hz=25.0))
    assert "--rate 25 was not used" in words and "50 a second" in words
    assert not list(unused_rate(PLAIN, request("rate_hz", rate_hz=50.2)))
    assert not list(unused_rate(PLAIN, request(rate_hz=25.0)))  # of a set-up, not of an option
    assert not list(unused_rate(dataclasses.replace(PLAIN, rate_hz=None), request("rate_hz")))


@pytest.mark.parametrize(
    ("exposure_s", "kept"), [(0.01, True), (0.02, True), (0.0215, False), (5.0, False)]
)
def test_no_exposure_is_longer_than_a_frame(exposure_s: float, kept: bool) -> None:
    info = dataclasses.replace(PLAIN, exposure_s=exposure_s)
    settings = Settings().replaced("camera", exposure_s=exposure_s)
    info, settings, words = believable_exposure(info, settings)
    assert (info.exposure_s is not None) == (settings.camera.exposure_s is not None) == kept
    assert bool(words) != kept
    if words:
        assert "50 frames a second" in words[0]


def test_pictures_that_were_only_counted_have_no_times() -> None:
    assert times_are_known(DEEP)
    assert not times_are_known(dataclasses.replace(DEEP, rate_hz=None))
    assert times_are_known(dataclasses.replace(PLAIN, rate_hz=None))


def average(light: np.ndarray) -> Average:
    state = CameraState("x", *light.shape[::-1], 255, None, None)
    return Average(light.astype(np.float32), 9, 0.0, "", state, np.zeros(light.shape, bool))


def test_an_open_that_is_not_brighter_than_the_dark_is_useless() -> None:
    rng = np.random.default_rng(2)
    dark = 0.02 + rng.normal(0, 1e-3, (90, 120))
    again = 0.02 + rng.normal(0, 1e-3, (90, 120))
    lit = again.copy()
    lit[20:60, 30:80] += 0.02  # a dim lamp, ten times the noise
    taken = Calibration(dark=average(dark))
    assert useless_open(taken) == ""
    assert useless_open(dataclasses.replace(taken, open=average(lit))) == ""
    for light in (again, dark, dark - 0.005):
        assert "not brighter" in useless_open(dataclasses.replace(taken, open=average(light)))
    assert "--open" in useless_open(Calibration(dark=average(lit), open=average(dark)))


@pytest.mark.parametrize("uncut", [-0.02, 0.0, 0.5, 1.0, 1.08])
def test_a_little_beyond_stays(uncut: float) -> None:
    blade = BladeReading(Side.LEFT, uncut=uncut, tilt_across=0.1, advice="a")
    assert possible(blade) is blade


@pytest.mark.parametrize("uncut", [-145.0, -0.3, 1.6, 145.5])
def test_what_no_blade_can_give_is_unknown(uncut: float) -> None:
    blade = BladeReading(Side.TOP, uncut=uncut, relative=0.5, tilt_across=-18.4, advice="a")
    assert possible(blade) == BladeReading(Side.TOP, relative=0.5)


def test_left_out_readings_are_said_when_they_are_many() -> None:
    assert not list(impossible_words(2, 200))  # a spark that lights the whole picture
    (words,) = impossible_words(50, 200)
    assert "50 of 200 frames" in words
