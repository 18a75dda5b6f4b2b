"""Pixel formats of industrial cameras: packed by hand, and unpacked again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.errors import InputUnreadable
from liveview.sources.genicam_pixels import picture_of, sensor_bits, unpacked, wanted_format

CODES = {
    "Mono8": 0x01080001,
    "Mono10": 0x01100003,
    "Mono12": 0x01100005,
    "Mono14": 0x01100025,
    "Mono16": 0x01100007,
    "BayerGR8": 0x01080008,
    "BayerGR12": 0x01100010,
    "BayerGR12p": 0x010C0057,
    "BayerGR10p": 0x010A0056,
    "BayerGR12Packed": 0x010C002A,
    "BayerGR10Packed": 0x010C0026,
    "Mono10p": 0x010A0046,
    "Mono12p": 0x010C0047,
    "Mono10Packed": 0x010C0004,
    "Mono12Packed": 0x010C0006,
}
"""Numbers of the convention as the open library's header has them."""


def stream_of_bits(codes: list[int], bits: int) -> bytes:
    """One stream of bits, the lowest first, as the convention says of its formats with a p."""
    whole = sum(code << (bits * k) for k, code in enumerate(codes))
    return whole.to_bytes((len(codes) * bits + 7) // 8, "little")


def pairs_of_bytes(codes: list[int], bits: int) -> bytes:
    """High bits of two pixels around a byte with their low bits, as GigE Vision packs."""
    low = bits - 8
    out = bytearray()
    for first, second in zip(codes[::2], [*codes[1::2], 0], strict=False):
        mask = (1 << low) - 1
        out += bytes([first >> low, (first & mask) | (second & mask) << 4, second >> low])
    return bytes(out[: (len(codes) * 12 + 7) // 8])


@given(
    form=st.sampled_from(sorted(CODES)),
    width=st.integers(1, 9),
    height=st.integers(1, 5),
    seed=st.integers(0, 1000),
)
def test_what_was_packed_comes_back(form: str, width: int, height: int, seed: int) -> None:
    bits = sensor_bits(form)
    assert bits is not None
    codes = np.random.default_rng(seed).integers(0, 1 << bits, (height, width))
    plain = [int(code) for code in codes.flat]
    if form.endswith("Packed"):
        data = pairs_of_bytes(plain, bits)
    elif form.endswith("p"):
        data = stream_of_bits(plain, bits)
    else:
        data = codes.astype("<u2" if bits > 8 else np.uint8).tobytes()
    data += b"\xff" * 7  # chunks and padding may follow
    got = unpacked(np.frombuffer(data, np.uint8), CODES[form], width, height)
    assert got.shape == (height, width)
    assert got.dtype == (np.uint8 if bits == 8 else np.uint16)
    assert [int(code) for code in got.flat] == plain


def test_layouts_by_hand() -> None:
    """Two pixels 0xABC and 0x123, and 0x2FF and 0x155."""
    for form, data, codes in (
        ("Mono12Packed", "AB3C12", (0xABC, 0x123)),
        ("Mono12p", "BC3A12", (0xABC, 0x123)),
        ("Mono10Packed", "BF1355", (0x2FF, 0x155)),
    ):
        raw = np.frombuffer(bytes.fromhex(data), np.uint8)
        assert tuple(unpacked(raw, CODES[form], 2, 1)[0]) == codes
    raw = np.frombuffer(stream_of_bits([0x2FF, 0x155, 1, 0x3FE], 10), np.uint8)
    assert tuple(unpacked(raw, CODES["Mono10p"], 4, 1)[0]) == (0x2FF, 0x155, 1, 0x3FE)


def test_colour_becomes_blue_green_red() -> None:
    data = np.array([10, 20, 30, 40, 50, 60], np.uint8)
    assert unpacked(data, 0x02180014, 2, 1).tolist() == [[[30, 20, 10], [60, 50, 40]]]
    assert unpacked(data, 0x02180015, 2, 1).tolist() == [[[10, 20, 30], [40, 50, 60]]]


@pytest.mark.parametrize(
    ("code", "words"),
    [(0x010C0099, "0x10c0099 is not read"), (0x01080001, "4 bytes in place of 6")],
)
def test_what_cannot_be_read_is_said(code: int, words: str) -> None:
    size = 9 if "not read" in words else 4
    with pytest.raises(InputUnreadable, match=words):
        unpacked(np.zeros(size, np.uint8), code, 3, 2)


def test_of_a_buffer() -> None:
    class Buffer:
        def get_image_width(self) -> int:
            return 2

        def get_image_height(self) -> int:
            return 1

        def get_image_pixel_format(self) -> int:
            return CODES["Mono12"]

        def get_data(self) -> bytes:
            return b"\x01\x02\xff\x0f"

    assert picture_of(Buffer()).tolist() == [[0x201, 0xFFF]]


@pytest.mark.parametrize(
    ("asked", "there", "got"),
    [
        ("", ["Mono8", "Mono12", "Mono16"], "Mono12"),
        ("", ["Mono8", "Mono12Packed"], "Mono12Packed"),
        ("", ["RGB8", "BayerRG8", "BayerRG10p"], "BayerRG10p"),
        ("grey", ["Mono8", "Mono12"], "Mono8"),
        ("Y14 ", ["Mono8", "Mono14"], "Mono14"),
        ("MJPG", ["RGB8"], "RGB8"),
        ("", ["YUV422_8"], None),
    ],
)
def test_the_format_that_is_taken(asked: str, there: list[str], got: str | None) -> None:
    assert wanted_format(asked, there) == got


@pytest.mark.parametrize(("form", "bits"), [("BayerGB10p", 10), ("Mono8s", None), ("RGB8", None)])
def test_bits_by_name(form: str, bits: int | None) -> None:
    assert sensor_bits(form) == bits
