"""Transfer curves: ends, inverses, colour, depth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import BadRequest
from liveview.imaging.transfer import Transfer

NAMES = ["srgb", "bt709", "linear", "gamma:2.2"]


@pytest.mark.parametrize("name", NAMES)
def test_ends_and_rise(name: str) -> None:
    curve = Transfer.named(name)
    light = curve.decode(np.linspace(0, 1, 1001))
    assert light[0] == 0
    assert light[-1] == pytest.approx(1, abs=1e-12)
    assert (np.diff(light) > 0).all()
    assert curve.name == name


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("white", [255, 1023, 4095, 65535])
def test_every_code_comes_back(name: str, white: int) -> None:
    dtype = np.uint8 if white == 255 else np.uint16
    codes = np.arange(white + 1, dtype=dtype).reshape(1, -1)
    light = Transfer.named(name).to_light(codes, white)
    assert light.dtype == np.float32
    back = Transfer.named(name).to_code(light, white)
    # float32 holds 24 bits, so 16 come back; BT.709's published constants leave a step at the
    # knee of 2.5e-4 of white.
    slack = 2.5e-4 * white if name == "bt709" else 0
    assert np.abs(back.astype(int) - codes).max() <= slack


@given(st.floats(0, 1), st.sampled_from(NAMES))
def test_encode_is_the_inverse(light: float, name: str) -> None:
    curve = Transfer.named(name)
    # BT.709's published constants leave a step of 2e-4 at the knee.
    assert float(curve.decode(curve.encode(light))) == pytest.approx(light, abs=1e-4)


def test_codes_above_white_count_as_white() -> None:
    light = Transfer.named("linear").to_light(np.array([[4095, 5000]], np.uint16), 4095)
    assert light.tolist() == [[1.0, 1.0]]


def test_colour_is_luminance_of_linear_light() -> None:
    pixels = np.array([[[0, 0, 255], [0, 255, 0], [255, 0, 0], [128, 128, 128]]], np.uint8)
    curve = Transfer.named("srgb")
    light = curve.to_light(pixels, 255)[0]
    assert light[:3] == pytest.approx([0.2126, 0.7152, 0.0722], abs=1e-6)
    assert light[3] == pytest.approx(float(curve.decode(128 / 255)), abs=1e-6)
    assert curve.to_light(pixels, 255, None, "red")[0].tolist() == pytest.approx(
        [1, 0, 0, float(light[3])], abs=1e-6
    )


def test_fills_what_is_given() -> None:
    whole = np.full((6, 8), -1, np.float32)
    pixels = np.full((4, 5), 255, np.uint8)
    out = Transfer.named("srgb").to_light(pixels, 255, whole[1:5, 2:7])
    assert np.shares_memory(out, whole)
    assert whole.sum() == pytest.approx(20 - 28)


@pytest.mark.parametrize("name", ["", "rec2020", "gamma:", "gamma:0", "gamma:-2", "SRGB"])
def test_unknown_curves_are_refused(name: str) -> None:
    with pytest.raises(BadRequest, match=r"gamma:2\.2"):
        Transfer.named(name)


def test_variance_of_rounding() -> None:
    linear = Transfer.named("linear").rounding_variance([0.1, 0.5, 0.9], 255)
    assert linear == pytest.approx(1 / 12 / 255**2)
    curve = Transfer.named("srgb")
    light = np.random.default_rng(0).uniform(0.38, 0.44, 100_000)
    # A dozen codes lie in that stretch; the outermost two only in part.
    error = curve.decode(curve.to_code(light, 255) / 255.0) - light
    assert curve.rounding_variance(0.41, 255) == pytest.approx(error.var(), rel=0.1)
