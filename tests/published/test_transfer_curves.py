"""Source: IEC 61966-2-1:1999 and ITU-R BT.709-6 (2015), as coded in colour-science.

The printed points were computed once with that library and are held here as well, so that the
test says something when the library changes.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from liveview.imaging.transfer import Transfer

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

POINTS = {
    "srgb": {1: 0.0003035, 10: 0.0030353, 64: 0.0512695, 128: 0.2158605, 188: 0.5028865},
    "bt709": {1: 0.0008715, 10: 0.0087146, 64: 0.0786426, 128: 0.2614815, 188: 0.5448956},
}


@pytest.mark.parametrize("name", ["srgb", "bt709"])
def test_all_codes_against_the_library(name: str) -> None:
    codes = np.arange(256) / 255
    reference = {
        "srgb": colour.models.eotf_sRGB,
        "bt709": colour.models.oetf_inverse_BT709,
    }[name](codes)
    # Both are the same closed formula in double precision.
    assert Transfer.named(name).decode(codes) == pytest.approx(reference, abs=1e-6)


@pytest.mark.parametrize("name", ["srgb", "bt709"])
def test_printed_points(name: str) -> None:
    for code, light in POINTS[name].items():
        # Printed to seven places.
        assert float(Transfer.named(name).decode(code / 255)) == pytest.approx(light, abs=1e-6)


def test_encoding_points() -> None:
    assert float(Transfer.named("srgb").encode(0.18)) == pytest.approx(0.4613561, abs=1e-6)
    assert float(Transfer.named("bt709").encode(0.18)) == pytest.approx(0.4090077, abs=1e-6)
    assert Transfer.named("srgb").to_code(np.array([[0.5]]), 255)[0, 0] == 188


def test_luminance_weights() -> None:
    from liveview.imaging.transfer import BT709_WEIGHTS_BGR

    matrix = colour.models.RGB_COLOURSPACE_BT709.matrix_RGB_to_XYZ
    # BT.709 prints four places.
    assert BT709_WEIGHTS_BGR[::-1] == pytest.approx(matrix[1], abs=1e-4)
