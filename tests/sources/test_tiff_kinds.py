"""TIFF pages of many kinds: orientation, inverted, palettes, packed bits, transparency."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from support.media import noise, read_all

from liveview.errors import FormatChanged, InputUnreadable
from liveview.imaging.cv import cv2
from liveview.settings import Camera
from liveview.sources.picture import read_picture
from liveview.sources.tiff import TiffSource

ODD = (31, 43)
LZW = 5
ORIENTATION, PHOTOMETRIC = 274, 262

UPRIGHT = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],  # the first column is the right side
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],  # the first row is the bottom
    5: lambda a: a.swapaxes(0, 1),  # the first row is the left side, the first column the top
    6: lambda a: a.swapaxes(0, 1)[:, ::-1],  # the first row is the right side
    7: lambda a: a.swapaxes(0, 1)[::-1, ::-1],
    8: lambda a: a.swapaxes(0, 1)[::-1],
}
"""Stored rows and columns as they are to be shown: TIFF 6.0, tag 274."""


def with_tag(data: bytes, tag: int, value: int) -> bytes:
    """A TIFF of one page (little-endian) with a short number added or replaced."""
    (at,) = struct.unpack("<I", data[4:8])
    (count,) = struct.unpack("<H", data[at : at + 2])
    entries = [data[at + 2 + 12 * k : at + 14 + 12 * k] for k in range(count)]
    entries = [e for e in entries if struct.unpack("<H", e[:2])[0] != tag]
    entries.append(struct.pack("<HHIHH", tag, 3, 1, value, 0))
    entries.sort(key=lambda e: struct.unpack("<H", e[:2])[0])
    data += b"\0" * (len(data) % 2)
    table = struct.pack("<H", len(entries)) + b"".join(entries) + bytes(4)
    return data[:4] + struct.pack("<I", len(data)) + data[8:] + table


def lzw(picture: NDArray[Any], tag: int, value: int) -> bytes:
    done, data = cv2.imencode(".tif", picture, [cv2.IMWRITE_TIFF_COMPRESSION, LZW])
    assert done
    return with_tag(data.tobytes(), tag, value)


def packed(rows: NDArray[np.uint16], bits: int) -> bytes:
    """A page whose codes stand in a stream of bits, the highest first, each row in whole bytes."""
    height, width = rows.shape
    text = [
        "".join(f"{int(code):0{bits}b}" for code in row).ljust(-(-width * bits // 8) * 8, "0")
        for row in rows
    ]
    data = b"".join(int(row, 2).to_bytes(len(row) // 8, "big") for row in text)
    values = {256: width, 257: height, 258: bits, 259: 1, 262: 1}
    values |= {273: 8, 277: 1, 278: height, 279: len(data)}
    entries = b"".join(struct.pack("<HHIHH", tag, 3, 1, v, 0) for tag, v in values.items())
    data += b"\0" * (len(data) % 2)
    head = b"II*\0" + struct.pack("<I", 8 + len(data))
    return head + data + struct.pack("<H", len(values)) + entries + bytes(4)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("top", [255, 65535])
@pytest.mark.parametrize("shape", [ODD, (*ODD, 3)])
class TestOrientation:
    """A mirrored picture would turn the blade's side round."""

    def test_uncompressed(
        self, shape: tuple[int, ...], top: int, orientation: int, tmp_path: Path
    ) -> None:
        stored = noise(shape, 1, top)[0]
        path = tmp_path / "a.tif"
        codes = stored[..., ::-1] if stored.ndim == 3 else stored
        tifffile.imwrite(path, codes, extratags=[(ORIENTATION, "H", 1, orientation, True)])
        assert np.array_equal(read_picture(path).pixels, UPRIGHT[orientation](stored))

    def test_in_a_coding_that_opencv_reads(
        self, shape: tuple[int, ...], top: int, orientation: int, tmp_path: Path
    ) -> None:
        stored = noise(shape, 1, top)[0]
        path = tmp_path / "a.tif"
        path.write_bytes(lzw(stored, ORIENTATION, orientation))
        assert np.array_equal(read_picture(path).pixels, UPRIGHT[orientation](stored))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_obeyed_in_the_same_way(orientation: int, tmp_path: Path) -> None:
    stored = noise(ODD, 1)[0]
    exif = b"II*\0" + struct.pack("<IH", 8, 1)
    exif += struct.pack("<HHIHH", ORIENTATION, 3, 1, orientation, 0) + bytes(4)
    done, data = cv2.imencode(".png", stored)
    assert done
    head, rest = data.tobytes()[:33], data.tobytes()[33:]  # behind the first chunk
    check = struct.pack(">I", zlib.crc32(b"eXIf" + exif))
    chunk = struct.pack(">I", len(exif)) + b"eXIf" + exif + check
    path = tmp_path / "a.png"
    path.write_bytes(head + chunk + rest)
    assert np.array_equal(read_picture(path).pixels, UPRIGHT[orientation](stored))


def test_inverted_codes_beyond_the_top_code_are_black(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    codes = np.array([[0, 4095, 5000, 100]], np.uint16)
    tifffile.imwrite(path, codes, photometric="miniswhite", extratags=[(281, "H", 1, 4095, True)])
    picture = read_picture(path)
    assert picture.white == 4095
    assert picture.pixels.dtype == np.uint16
    assert picture.pixels.tolist() == [[4095, 0, 0, 3995]]


@pytest.mark.parametrize("top", [255, 65535])
def test_inverted_in_a_coding_that_opencv_reads(top: int, tmp_path: Path) -> None:
    stored = noise(ODD, 1, top)[0]
    path = tmp_path / "a.tif"
    path.write_bytes(lzw(stored, PHOTOMETRIC, 0))
    assert np.array_equal(read_picture(path).pixels, top - stored)


def test_a_palette_becomes_its_colours(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    table = np.zeros((3, 256), np.uint16)
    table[:, 1], table[:, 2] = (65535, 0, 257 * 100), (0, 257 * 50, 65535)
    tifffile.imwrite(path, np.array([[1, 2]], np.uint8), photometric="palette", colormap=table)
    assert read_picture(path).pixels.tolist() == [[[100, 0, 255], [255, 50, 0]]]


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_packed_bits(bits: int, tmp_path: Path) -> None:
    codes = noise((31, 44), 1, (1 << bits) - 1)[0]
    path = tmp_path / "a.tif"
    path.write_bytes(packed(codes, bits))
    picture = read_picture(path)
    assert (picture.white, picture.bits) == ((1 << bits) - 1, bits)
    assert np.array_equal(picture.pixels, codes)


@pytest.mark.parametrize("order", ["<", ">"])
def test_either_order_of_bytes(order: str, tmp_path: Path) -> None:
    codes = noise(ODD, 1, 65535)[0]
    tifffile.imwrite(tmp_path / "a.tif", codes, byteorder=order)
    assert np.array_equal(read_picture(tmp_path / "a.tif").pixels, codes)


@pytest.mark.parametrize("channels", [2, 4])
def test_transparency_is_dropped(channels: int, tmp_path: Path) -> None:
    codes = noise((*ODD, channels), 1)[0]
    form = "rgb" if channels == 4 else "minisblack"
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, codes, photometric=form, planarconfig="contig", extrasamples=["unassalpha"]
    )
    wanted = codes[..., 2::-1] if channels == 4 else codes[..., 0]
    assert np.array_equal(read_picture(path).pixels, wanted)


def test_transparency_that_changed_the_codes_is_refused(tmp_path: Path) -> None:
    codes = noise((*ODD, 4), 1)[0]
    codes[..., 3] = 255
    path = tmp_path / "a.tif"
    save = [cv2.IMWRITE_TIFF_COMPRESSION, LZW]
    assert cv2.imwrite(str(path), codes, save)
    assert np.array_equal(read_picture(path).pixels, codes[..., :3])
    codes[3, 4, 3] = 254
    assert cv2.imwrite(str(path), codes, save)
    with pytest.raises(InputUnreadable, match="transparent in places"):
        read_picture(path)


@pytest.mark.parametrize(
    ("shape", "options", "words"),
    [
        ((*ODD, 4), {"photometric": "separated"}, "'8 bit SEPARATED'"),
        ((*ODD, 3), {"photometric": "cielab"}, "'8 bit CIELAB'"),
        (
            (5, 16, 16),
            {"photometric": "minisblack", "volumetric": True, "tile": (1, 16, 16)},
            "is a volume",
        ),
    ],
)
def test_what_is_no_camera_s_picture_is_refused(
    shape: tuple[int, ...], options: dict[str, Any], words: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.zeros(shape, np.uint8), **options)
    with pytest.raises(InputUnreadable, match=words):
        read_picture(path)


def test_pages_of_other_top_codes_are_an_error_with_the_page(tmp_path: Path) -> None:
    path = tmp_path / "mixed.tif"
    pages = noise(ODD, 2, 1023)
    with tifffile.TiffWriter(path) as writer:
        for page, top in zip(pages, (1023, 4095), strict=True):
            writer.write(page, contiguous=False, extratags=[(281, "H", 1, top, True)])
    with pytest.raises(FormatChanged, match=r"page 2: its top code is 4095, but .* first .* 1023"):
        read_all(TiffSource(path, Camera()))
    info, _, read = read_all(TiffSource(path, Camera(white=2047)))
    assert info.white == 2047
    assert np.array_equal(read, pages)
