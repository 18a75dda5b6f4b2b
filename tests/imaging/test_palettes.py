"""Palettes as tables."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.errors import BadRequest
from liveview.imaging.palettes import codes_into, paint, palette


def test_grey_is_grey() -> None:
    table = palette("grey")
    assert (table[:, :3] == np.arange(256)[:, None]).all()
    assert (table[:, 3] == 255).all()


def test_painting_is_looking_up() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    for name in ("grey", "signed"):
        out = np.zeros((20, 30, 4), np.uint8)
        paint(codes, name, out[2:18, 5:21])
        assert (out[2:18, 5:21] == palette(name)[codes]).all()
        assert not out[:2].any() and not out[:, 21:].any()


def test_codes_of_contrast() -> None:
    ratio = np.array([[1.0, 1.1, 0.9, 1.05, 9.0, 0.0, 1.0]], np.float32) * np.float32(2)
    inside = np.array([[255, 255, 255, 255, 255, 255, 0]], np.uint8)
    out = np.empty((1, 7), np.uint8)
    codes_into(ratio, 0.1, inside, out, gain=2.0, offset=-1.0)
    assert out.tolist() == [[128, 255, 1, 192, 255, 1, 0]]


def test_unknown() -> None:
    with pytest.raises(BadRequest, match="signed"):
        palette("rainbow")
