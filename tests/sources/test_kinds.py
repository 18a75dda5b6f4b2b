"""A recording is told by what is in it, whatever it is called."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from support.media import noise, read_all, write_video

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import SourceKind
from liveview.settings import Settings
from liveview.sources import sound_source
from liveview.sources.opening import frame_source

FIFTY = Settings().replaced("camera", rate_hz=50.0)


def opened(path: Path):
    return read_all(frame_source(str(path), FIFTY, clock=lambda: 0.0, live=False))


@pytest.mark.parametrize("name", ["a.mkv", "a", "a.mp4", "a.png", "a.dat", "a.btf"])
@pytest.mark.parametrize("big", [False, True])
def test_a_stack_of_any_name_has_all_its_pages(name: str, big: bool, tmp_path: Path) -> None:
    pages = noise((20, 30), 7, 4095)
    tifffile.imwrite(tmp_path / "x.tif", np.stack(pages), bigtiff=big)
    path = (tmp_path / "x.tif").rename(tmp_path / name)
    info, stamps, pictures = opened(path)
    assert info.kind is SourceKind.TIFF
    assert info.rate_hz == 50.0
    assert [stamp.time_s for stamp in stamps] == pytest.approx(np.arange(7) / 50)
    np.testing.assert_array_equal(pictures, pages)
    assert sound_source(str(path), FIFTY, clock=lambda: 0.0, live=False) is None


@pytest.mark.parametrize("ending", [".mkv", ".mp4", ".avi"])
@pytest.mark.parametrize("name", ["a.tif", "a.png", "a"])
def test_a_video_of_any_name_is_one(ending: str, name: str, tmp_path: Path) -> None:
    codec = "ffv1" if ending == ".mkv" else "mpeg4"
    form = "gray" if ending == ".mkv" else "yuv420p"
    pictures = noise((32, 48), 5) if ending == ".mkv" else noise((32, 48, 3), 5)
    clip = write_video(tmp_path / f"x{ending}", pictures, codec=codec, form=form)
    info, stamps, _ = opened(clip.rename(tmp_path / name))
    assert info.kind is SourceKind.VIDEO
    assert len(stamps) == 5


@pytest.mark.parametrize("ending", [".png", ".bmp", ".pgm", ".webp"])
def test_a_picture_without_its_ending_is_a_picture(ending: str, tmp_path: Path) -> None:
    assert cv2.imwrite(str(tmp_path / f"x{ending}"), noise((20, 30), 1)[0])
    info, stamps, _ = opened((tmp_path / f"x{ending}").rename(tmp_path / "x.mkv"))
    assert info.kind is SourceKind.IMAGES
    assert len(stamps) == 1


@pytest.mark.parametrize("name", ["x", "x.mkv"])
def test_a_still_never_passes_as_a_video_of_one_frame(name: str, tmp_path: Path) -> None:
    assert cv2.imwrite(str(tmp_path / "x.jpg"), noise((20, 30), 1)[0])
    path = (tmp_path / "x.jpg").rename(tmp_path / name)
    with pytest.raises(InputUnreadable, match="still picture"):
        opened(path)


def test_motion_jpeg_without_a_container_is_a_video(tmp_path: Path) -> None:
    codes = [cv2.imencode(".jpg", picture)[1].tobytes() for picture in noise((20, 30), 6)]
    (tmp_path / "x.mjpeg").write_bytes(b"".join(codes))
    info, stamps, _ = opened(tmp_path / "x.mjpeg")
    assert info.kind is SourceKind.VIDEO
    assert len(stamps) == 6
