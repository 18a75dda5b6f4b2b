"""Light of gray codes where it is asked for, and contrast worked out without it."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.engine.boxlight import CodeLight
from liveview.engine.chain import Chain
from liveview.imaging.contrast import signed_contrast
from liveview.imaging.transfer import Transfer
from liveview.model import Average, Calibration, Disc, Frame, FrameStamp, SourceInfo, SourceKind
from liveview.settings import validated

ROWS, COLUMNS = 90, 120
WHITES = [(np.uint8, 8, 255), (np.uint16, 12, 4095), (np.uint16, 16, 65535)]


def codes_of(dtype: type, white: int, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.integers(white // 5, white // 2, (ROWS, COLUMNS)).astype(dtype)


@pytest.mark.parametrize("curve", ["srgb", "linear"])
@pytest.mark.parametrize(("dtype", "bits", "white"), WHITES)
def test_parts_are_those_of_the_whole(curve: str, dtype: type, bits: int, white: int) -> None:
    frame = codes_of(dtype, white)
    transfer = Transfer.named(curve)
    whole = transfer.to_light(frame, white)
    light = CodeLight(frame[10:70, 20:90], white, transfer)
    inner = whole[10:70, 20:90]
    assert light.shape == inner.shape
    for part in (np.s_[:, :], np.s_[5:9], np.s_[3::7, 2::7]):
        # One rounding of float32 more or less.
        assert np.allclose(light[part], inner[part], rtol=2e-7, atol=1e-8)


@pytest.mark.parametrize("curve", ["srgb", "linear"])
@pytest.mark.parametrize(("dtype", "bits", "white"), WHITES)
def test_contrast_is_its_definition(curve: str, dtype: type, bits: int, white: int) -> None:
    info = SourceInfo(
        SourceKind.VIDEO, "test", COLUMNS, ROWS, 1, bits, white, False, 60.0, transfer=curve
    )
    transfer = Transfer.named(curve)
    rng = np.random.default_rng(3)
    dark = rng.uniform(0.001, 0.02, (ROWS, COLUMNS)).astype(np.float32)
    reference = transfer.to_light(codes_of(dtype, white, 1), white) + np.float32(0.02)
    state = info.camera_state
    pictures = [Average(p, 32, 0.0, "", state) for p in (dark, reference)]
    chain = Chain(validated({"enhance": {"lamp_correction": "off"}}, "test"), info)
    chain.set_disc(Disc(59.0, 44.0, 40.0))
    chain.set_calibration(Calibration(dark=pictures[0], reference=pictures[1]))
    pixels = codes_of(dtype, white, 2)
    contrast = chain.contrast(Frame(pixels, FrameStamp(0, 0.0), white))
    expected = signed_contrast(transfer.to_light(pixels, white), reference, dark)
    known = np.isfinite(contrast)
    assert known.sum() > 4500
    # Some roundings of float32 on values up to 3.
    assert np.abs(contrast - expected)[known].max() < 3e-6
