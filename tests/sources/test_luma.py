"""Colour video without colour: luma alone, and what happens when colour turns up."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest

from liveview.imaging.transfer import Transfer
from liveview.model import Pixels, SourceInfo
from liveview.settings import Camera
from liveview.sources.luma import full_range_into
from liveview.sources.pixels import Copier, layout_of
from liveview.sources.upright import Upright
from liveview.sources.video import VideoSource

ROWS, COLUMNS = 96, 128


def greys(count: int) -> list[np.ndarray]:
    y, x = np.mgrid[:ROWS, :COLUMNS]
    return [(40 + x + 0.5 * y + 20 * np.sin(x / 9 + i)).astype(np.uint8) for i in range(count)]


def write(path: Path, pictures: list[np.ndarray], **options: str) -> Path:
    """H.264 of blue, green, red pictures."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream("libx264", rate=30, options={"crf": "8"} | options)
        stream.width, stream.height, stream.pix_fmt = COLUMNS, ROWS, "yuv420p"
        for picture in pictures:
            bgr = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2)
            file.mux(stream.encode(av.VideoFrame.from_ndarray(bgr, "bgr24")))
        file.mux(stream.encode(None))
    return path


def read(path: Path, camera: Camera | None = None) -> tuple[SourceInfo, list[Pixels], VideoSource]:
    source = VideoSource(str(path), camera or Camera())
    info = source.open()
    pictures = []
    while source.grab() is not None:
        pictures.append(np.empty(info.shape, info.dtype))
        source.read_into(pictures[-1])
    source.close()
    return info, pictures, source


def luminance(path: Path, curve: Transfer) -> list[np.ndarray]:
    """Over blue, green, red and linear light, frame by frame."""
    found = []
    with av.open(str(path)) as file:
        for frame in file.decode(video=0):
            pixels = np.empty((ROWS, COLUMNS, 3), np.uint8)
            Copier(layout_of(frame.format, "here")).copy(frame, pixels)
            found.append(curve.to_light(pixels, 255))
    return found


def test_gray_is_read_as_gray_with_the_same_light(tmp_path: Path) -> None:
    path = write(tmp_path / "grey.mp4", greys(12))
    info, pictures, source = read(path)
    assert (info.channels, info.bits, info.white) == (1, 8, 255)
    assert info.note.startswith("no colour in it: read as gray")
    assert source.warnings == ()
    curve = Transfer.named("srgb")
    expected = luminance(path, curve)
    assert len(pictures) == len(expected) == 12
    for codes, light in zip(pictures, expected, strict=True):
        mine = curve.encode(curve.to_light(codes, 255)) * 255
        theirs = curve.encode(light) * 255
        # Three channels rounded to whole codes, chroma one code off, against one rounded code.
        assert np.abs(mine - theirs).max() < 1.2
        # A chroma of 127 under the weights of BT.601.
        assert abs((mine - theirs).mean()) < 0.4


def test_colour_stays_colour(tmp_path: Path) -> None:
    tinted = [np.stack([g // 2, g, g], axis=2) for g in greys(4)]
    assert read(write(tmp_path / "tint.mp4", tinted))[0].channels == 3


def test_a_channel_that_was_asked_for_is_read_in_colour(tmp_path: Path) -> None:
    path = write(tmp_path / "grey.mp4", greys(4))
    assert read(path, Camera(channel="red"))[0].channels == 3


def test_colour_further_on_is_found_at_opening(tmp_path: Path) -> None:
    pictures = greys(10)
    tinted = [np.stack([g // 2, g, g], axis=2) for g in greys(30)]
    path = write(tmp_path / "later.mp4", pictures + tinted, g="5")
    assert read(path)[0].channels == 3


def test_colour_that_was_not_found_counts_by_its_luminance(tmp_path: Path) -> None:
    tinted = [np.stack([g // 2, g, g], axis=2) for g in greys(3)]
    path = write(tmp_path / "end.mp4", greys(40) + tinted, g="5")
    info, pictures, source = read(path)
    assert info.channels == 1
    assert len(source.warnings) == 1
    assert "from frame 40 on" in source.warnings[0]
    curve = Transfer.named("srgb")
    light = luminance(path, curve)[41]
    # Half a code of rounding.
    assert np.abs(curve.encode(light) * 255 - pictures[41]).max() <= 0.51


def test_range_is_widened_with_rounding() -> None:
    luma = np.arange(256, dtype=np.uint8).reshape(4, 64)
    out = np.empty_like(luma)
    full_range_into(luma, out)
    expected = np.clip(np.rint((luma.astype(float) - 16) * 255 / 219), 0, 255)
    assert np.array_equal(out, expected)
    assert len(np.unique(out)) == 220


@pytest.mark.parametrize("turned", [90, 180])
def test_turned_recordings_stand_upright(turned: int, tmp_path: Path) -> None:
    path = write(tmp_path / "grey.mp4", greys(3))
    upright = read(path)[1][0]
    with av.open(str(path)) as file:
        frame = next(file.decode(video=0))
        from liveview.sources.luma import LumaCopier

        copier = LumaCopier(
            Copier(layout_of(frame.format, "here"), Upright(turned // 90)), Transfer("srgb")
        )
        out = np.empty(np.rot90(upright, turned // 90).shape, np.uint8)
        copier.copy(frame, out)
    assert np.array_equal(out, np.rot90(upright, turned // 90))
