"""Folders, patterns and single pictures, and multi-page TIFF."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from support.media import noise, read_all

from liveview.errors import FormatChanged, InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import SourceKind
from liveview.settings import Camera
from liveview.sources.headers import read_header
from liveview.sources.images import ImagesSource
from liveview.sources.sequence import natural_key
from liveview.sources.tiff import TiffSource

ODD = (31, 43)


def images(place: object, **camera: object) -> ImagesSource:
    return ImagesSource(str(place), Camera(**camera))


def tiff(path: Path, **camera: object) -> TiffSource:
    return TiffSource(path, Camera(**camera))


def save(folder: Path, pictures: list[NDArray[Any]], ending: str = "png") -> list[Path]:
    paths = [folder / f"frame{index + 8}.{ending}" for index in range(len(pictures))]
    for path, picture in zip(paths, pictures, strict=True):
        assert cv2.imwrite(str(path), picture)
    return paths


@pytest.mark.parametrize(
    ("ending", "shape", "top"),
    [
        ("png", ODD, 255),
        ("png", ODD, 65535),
        ("png", (*ODD, 3), 255),
        ("png", (*ODD, 3), 65535),
        ("tif", ODD, 65535),
        ("tif", (*ODD, 3), 255),
        ("bmp", (*ODD, 3), 255),
        ("bmp", ODD, 255),
        ("pgm", ODD, 255),
        ("pgm", ODD, 65535),
        ("ppm", (*ODD, 3), 255),
    ],
)
def test_codes_come_back_untouched(
    ending: str, shape: tuple[int, ...], top: int, tmp_path: Path
) -> None:
    pictures = noise(shape, 3, top)
    save(tmp_path, pictures, ending)
    info, stamps, read = read_all(images(tmp_path, rate_hz=50))
    assert info.kind is SourceKind.IMAGES
    assert (info.white, info.frames, info.rate_hz) == (top, 3, 50)
    assert info.shape == shape
    assert [stamp.time_s for stamp in stamps] == pytest.approx([0.0, 0.02, 0.04])
    assert np.array_equal(read, pictures), "8, 9, 10 and not 10, 8, 9"


def test_jpeg_is_near(tmp_path: Path) -> None:
    flat = np.full((*ODD, 3), (40, 90, 160), np.uint8)
    save(tmp_path, [flat], "jpg")
    _, _, read = read_all(images(tmp_path))
    assert np.abs(read[0].astype(int) - flat).max() <= 3, "chroma and DCT rounding"


def test_without_times_the_order_is_kept_and_said(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 3))
    info, stamps, _ = read_all(images(tmp_path))
    assert [stamp.time_s for stamp in stamps] == [0.0, 1.0, 2.0]
    assert info.rate_hz is None
    assert info.seconds is None
    assert "no times are given" in info.note


def test_a_table_in_the_folder_gives_the_times(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 3))
    (tmp_path / "times.csv").write_text("number,time_ms\n0,0\n1,2.5\n4,10\n")
    info, stamps, _ = read_all(images(tmp_path, rate_hz=7))
    assert [stamp.time_s for stamp in stamps] == pytest.approx([0, 0.0025, 0.01])
    assert [stamp.number for stamp in stamps] == [0, 1, 4]
    assert info.rate_hz == pytest.approx(400)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("when\n1\n", "no column with times"),
        ("time_s\n0\nsoon\n", "line 3 is not a frame's time"),
        ("time_s\n1\n0\n", "line 3 runs backwards"),
        ("time_s\n", "holds no times"),
        ("", "no column with times"),
        ("time_s\n0\nnan\n", "line 3"),
        ("time_s\n0\n0,033\n", "line 3 has more cells than the first"),
        ("frame,time_s\n0,0.0\n1,0,033\n", "line 3 .* write decimals with a point"),
    ],
)
def test_a_wrong_table_is_refused_with_its_line(text: str, words: str, tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 1))
    (tmp_path / "times.csv").write_text(text)
    with pytest.raises(InputUnreadable, match=words):
        read_all(images(tmp_path))


def test_a_comma_at_the_end_of_a_line_does_no_harm(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 2))
    (tmp_path / "times.csv").write_text("time_s\n0,\n0.5, ,\n")
    _, stamps, _ = read_all(images(tmp_path))
    assert [stamp.time_s for stamp in stamps] == [0.0, 0.5]


def test_wall_clock_times_count_from_the_first_frame(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 2))
    (tmp_path / "times.csv").write_text("time_ns\n1767225600000000001\n1767225600000000502\n")
    _, stamps, _ = read_all(images(tmp_path))
    assert [stamp.time_s for stamp in stamps] == [0.0, pytest.approx(501e-9, abs=1e-12)]


def test_a_single_picture_is_a_recording_of_one_frame(tmp_path: Path) -> None:
    pictures = noise((1, 1), 1)
    path = save(tmp_path, pictures)[0]
    info, stamps, read = read_all(images(path))
    assert (info.frames, len(stamps)) == (1, 1)
    assert np.array_equal(read, pictures)


def test_a_pattern_chooses(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 3))
    save(tmp_path, noise(ODD, 2), "bmp")
    info, stamps, _ = read_all(images(tmp_path / "*.bmp"))
    assert len(stamps) == 2
    assert info.name == tmp_path.name
    with pytest.raises(InputUnreadable, match="no picture has such a name"):
        images(tmp_path / "*.pgm").open()


def test_the_most_numerous_kind_is_taken_and_said(tmp_path: Path) -> None:
    save(tmp_path, noise(ODD, 3))
    save(tmp_path, noise((9, 9), 1), "bmp")
    (tmp_path / ".hidden.png").write_bytes(b"")
    info, stamps, _ = read_all(images(tmp_path))
    assert len(stamps) == 3
    assert "1 pictures of other kinds than .png left out" in info.note


def test_transparency_is_dropped(tmp_path: Path) -> None:
    picture = noise((*ODD, 4), 1)[0]
    save(tmp_path, [picture])
    _, _, read = read_all(images(tmp_path))
    assert np.array_equal(read[0], picture[..., :3])


def test_the_top_code_of_a_pgm(tmp_path: Path) -> None:
    picture = noise(ODD, 1, 4095)[0]
    header = b"P5\n# made by hand\n43 31\n4095\n"
    (tmp_path / "a.pgm").write_bytes(header + picture.astype(">u2").tobytes())
    info, _, read = read_all(images(tmp_path))
    assert (info.white, info.bits) == (4095, 12)
    assert np.array_equal(read[0], picture)


@pytest.mark.parametrize("top", [1, 100, 254, 255, 1000])
def test_the_top_code_of_a_pgm_in_figures(top: int, tmp_path: Path) -> None:
    codes = range(top + 1)
    text = f"P2\n{top + 1} 1\n{top}\n" + "\n".join(map(str, codes)) + "\n"
    (tmp_path / "a.pgm").write_text(text, encoding="ascii")
    info, _, read = read_all(images(tmp_path))
    assert info.white == top
    assert read[0][0].tolist() == list(codes)


def test_another_top_code_inside_names_the_file(tmp_path: Path) -> None:
    for name, top in (("a", 1023), ("b", 4095)):
        codes = np.full(ODD, 1000, ">u2").tobytes()
        (tmp_path / f"{name}.pgm").write_bytes(b"P5 43 31 %d\n" % top + codes)
    with pytest.raises(FormatChanged, match=r"b\.pgm: its top code is 4095, .* sequence 1023"):
        read_all(images(tmp_path))
    info, _, read = read_all(images(tmp_path, white=4095))
    assert info.white == 4095, "who states one for all knows better"
    assert len(read) == 2


def test_another_size_inside_names_the_file(tmp_path: Path) -> None:
    save(tmp_path, [*noise(ODD, 2), *noise((31, 44), 1)])
    with pytest.raises(FormatChanged, match=r"frame10\.png: is 44 x 31, 8 bit gray"):
        read_all(images(tmp_path))


def test_a_damaged_picture_is_left_out_and_named(tmp_path: Path) -> None:
    paths = save(tmp_path, noise(ODD, 4))
    paths[1].write_bytes(paths[1].read_bytes()[:200])
    paths[2].write_bytes(b"")
    source = images(tmp_path)
    _, stamps, _ = read_all(source)
    assert [stamp.number for stamp in stamps] == [0, 3]
    assert [words.split(":")[0] for words in source.warnings] == ["frame9.png", "frame10.png"]


def test_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(InputUnreadable, match="holds no pictures"):
        read_all(images(tmp_path))
    (tmp_path / "clip.mkv").write_bytes(b"x")
    with pytest.raises(InputUnreadable, match=r"to open 'clip\.mkv' name that file"):
        read_all(images(tmp_path))
    (tmp_path / "a.png").write_text("not a picture")
    with pytest.raises(InputUnreadable, match="damaged or not a picture"):
        read_all(images(tmp_path))
    (tmp_path / "b.png").write_text("not a picture either")
    with pytest.raises(InputUnreadable, match="none of its 2 pictures can be read"):
        read_all(images(tmp_path))


def test_huge_headers_are_refused_before_decoding(tmp_path: Path) -> None:
    path = save(tmp_path, noise(ODD, 1))[0]
    data = path.read_bytes()
    path.write_bytes(data[:16] + (10_001).to_bytes(4, "big") * 2 + data[24:])
    with pytest.raises(InputUnreadable, match="10001 x 10001 pixels, over the limit"):
        images(path).open()
    (tmp_path / "b.pgm").write_bytes(b"P5 99999 2 255\n")
    with pytest.raises(InputUnreadable, match="99999 x 2 pixels"):
        images(tmp_path / "b.pgm").open()


def test_huge_webp_is_refused_before_decoding(tmp_path: Path) -> None:
    side = (16_383 - 1).to_bytes(3, "little")
    extended = b"RIFF\x16\0\0\0WEBPVP8X\x0a\0\0\0" + bytes(4) + side * 2
    (tmp_path / "a.webp").write_bytes(extended)
    with pytest.raises(InputUnreadable, match="16383 x 16383 pixels, over the limit"):
        images(tmp_path / "a.webp").open()


@pytest.mark.parametrize("quality", [80, 101])  # above 100 it is lossless
def test_headers_of_webp(quality: int) -> None:
    done, data = cv2.imencode(
        ".webp", np.zeros((*ODD, 3), np.uint8), [cv2.IMWRITE_WEBP_QUALITY, quality]
    )
    assert done
    header = read_header(bytes(data))
    assert header is not None
    assert (header.width, header.height, header.white) == (43, 31, None)


@pytest.mark.parametrize("ending", ["png", "jpg", "bmp", "pgm", "ppm"])
def test_headers_tell_the_size(ending: str) -> None:
    shape = (*ODD, 3) if ending == "ppm" else ODD
    done, data = cv2.imencode(f".{ending}", np.zeros(shape, np.uint8))
    assert done
    header = read_header(bytes(data))
    assert header is not None
    assert (header.width, header.height) == (43, 31)
    for length in range(0, 60, 3):
        read_header(bytes(data)[:length])  # cut anywhere: no exception


def test_natural_order() -> None:
    names = ["b2", "a10", "a9", "A1", "a009b", ""]
    assert sorted(names, key=natural_key) == ["", "A1", "a9", "a009b", "a10", "b2"]


@pytest.mark.parametrize(
    ("shape", "top"), [(ODD, 255), (ODD, 65535), ((*ODD, 3), 255), ((*ODD, 3), 65535)]
)
def test_tiff_pages_come_back_untouched(shape: tuple[int, ...], top: int, tmp_path: Path) -> None:
    pages = noise(shape, 5, top)
    path = tmp_path / "pages.tif"
    with tifffile.TiffWriter(path) as writer:
        for page in pages:
            writer.write(page[..., ::-1] if page.ndim == 3 else page, contiguous=False)
    info, stamps, read = read_all(tiff(path, rate_hz=100))
    assert info.kind is SourceKind.TIFF
    assert (info.frames, info.white, info.channels) == (5, top, 1 if len(shape) == 2 else 3)
    assert stamps[4].time_s == pytest.approx(0.04)
    assert np.array_equal(read, pages)


def test_compressed_pages_are_read_by_whichever_library_can(tmp_path: Path) -> None:
    pages = noise(ODD, 3, 65535)
    path = tmp_path / "lzw.tif"
    assert cv2.imwritemulti(str(path), pages, [cv2.IMWRITE_TIFF_COMPRESSION, 5])
    _, _, read = read_all(tiff(path))
    assert np.array_equal(read, pages)


def test_white_is_zero_is_turned_round(tmp_path: Path) -> None:
    page = noise(ODD, 1)[0]
    path = tmp_path / "inverted.tif"
    tifffile.imwrite(path, 255 - page, photometric="miniswhite")
    _, _, read = read_all(tiff(path))
    assert np.array_equal(read[0], page)


def test_top_code_stated_in_a_tiff(tmp_path: Path) -> None:
    path = tmp_path / "twelve.tif"
    tifffile.imwrite(path, noise(ODD, 1, 4095)[0], extratags=[(281, "H", 1, 4095, True)])
    info, _, _ = read_all(tiff(path))
    assert (info.white, info.bits) == (4095, 12)


def test_a_tiff_cut_off_gives_its_whole_pages(tmp_path: Path) -> None:
    pages = noise(ODD, 9, 65535)
    path = tmp_path / "pages.tif"
    with tifffile.TiffWriter(path) as writer:
        for page in pages:
            writer.write(page, contiguous=False, metadata=None)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    source = tiff(path)
    _, stamps, read = read_all(source)
    assert 4 <= len(stamps) <= 6
    assert np.array_equal(read, pages[: len(read)])
    assert any("breaks off" in words for words in source.warnings)


def test_tiffs_that_cannot_be_used(tmp_path: Path) -> None:
    path = tmp_path / "bad.tif"
    path.write_text("no")
    with pytest.raises(InputUnreadable, match="not a TIFF"):
        read_all(tiff(path))
    tifffile.imwrite(path, np.zeros(ODD, np.float32))
    with pytest.raises(InputUnreadable, match="unsupported kind 'float32'"):
        read_all(tiff(path))
    for beginning in (b"II*\0", b"MM\0*", b"II+\0\x08\0\0\0", b"II*\0\x08\0\0\0\x05"):
        path.write_bytes(beginning)
        with pytest.raises(InputUnreadable, match="damaged"):
            read_all(tiff(path))
    path.write_bytes(b"")
    with pytest.raises(InputUnreadable, match="empty"):
        read_all(tiff(path))


def test_pages_of_other_sizes_are_an_error_with_the_page(tmp_path: Path) -> None:
    path = tmp_path / "mixed.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(noise(ODD, 1)[0])
        writer.write(noise((9, 9), 1)[0])
    with pytest.raises(FormatChanged, match="page 2: is 9 x 9"):
        read_all(tiff(path))


def test_a_folder_of_tiffs(tmp_path: Path) -> None:
    pictures = noise(ODD, 3, 65535)
    for index, picture in enumerate(pictures):
        tifffile.imwrite(tmp_path / f"t_{index}.tiff", picture)
    info, _, read = read_all(images(tmp_path, white=1023, rate_hz=10))
    assert info.white == 1023
    assert np.array_equal(read, pictures)
