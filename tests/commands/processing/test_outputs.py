"""The files that grow with the frames hold what was given, and refuse in one line."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import av
import numpy as np
import pytest

from liveview.commands.processing.outputs import (
    COLUMNS,
    ContrastStack,
    FrameTable,
    PictureFile,
    make_folder,
)
from liveview.commands.processing.progress import Progress, say_where
from liveview.errors import OutputFailed
from liveview.model import BladeReading, FrameStamp, NoiseReading, Reading, Side


def reading(number: int, time_s: float, **changes) -> Reading:
    values = {
        "picture": np.zeros((2, 2, 4), np.uint8),
        "view": "lifted",
        "disc": None,
        "blade": BladeReading(Side.LEFT),
        "noise": NoiseReading(),
        "histogram": None,
    }
    return Reading(stamp=FrameStamp(number, time_s), **{**values, **changes})


def test_table_leaves_the_unknown_empty(tmp_path: Path) -> None:
    table = FrameTable(tmp_path / "frames.csv")
    table.add(reading(0, 0.0))
    known = BladeReading(Side.LEFT, uncut=0.25, tilt_across=-0.5, axial_offset_m=1e-3)
    table.add(reading(2, 1 / 3, blade=known, lamp_gain=1.5, shift_px=(0.25, -1.0)))
    table.close()
    text = (tmp_path / "frames.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert tuple(rows[0]) == COLUMNS
    assert {key for key, value in rows[0].items() if value} == {"frame", "time_s"}
    assert float(rows[1]["time_s"]) == pytest.approx(1 / 3, abs=1e-9)
    assert (rows[1]["frame"], rows[1]["uncut"], rows[1]["cutoff_percent"]) == ("2", "0.25", "75")
    assert (rows[1]["shift_x_px"], rows[1]["shift_y_px"]) == ("0.25", "-1")
    assert rows[1]["axial_offset_m"] == "0.001"


@pytest.mark.parametrize("frames", [0, 1, 7])
def test_stack_is_an_array_of_numpy(frames: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(frames)
    data = rng.normal(size=(frames, 5, 3)).astype(np.float32)
    data[..., 0] = np.nan
    stack = ContrastStack(tmp_path / "c.npy", (5, 3))
    for one in data:
        stack.add(one)
    stack.close()
    back = np.load(tmp_path / "c.npy", mmap_mode="r" if frames else None)
    assert back.dtype == np.float32
    np.testing.assert_array_equal(back, data)


@pytest.mark.parametrize("shape", [(64, 96), (7, 5), (121, 33)])
def test_picture_file_is_lossless_and_keeps_times(shape: tuple[int, int], tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    pictures = rng.integers(0, 256, (4, *shape, 4), np.uint8)
    times = [10.0, 10.010, 10.017, 10.1]
    file = PictureFile(tmp_path / "p.mkv", shape, 50.0)
    for picture, time_s in zip(pictures, times, strict=True):
        file.add(picture, time_s)
    file.close()
    with av.open(str(tmp_path / "p.mkv")) as back:
        frames = list(back.decode(video=0))
        assert back.streams.video[0].average_rate == 50
    assert [float(f.pts * f.time_base) for f in frames] == pytest.approx(
        [0.0, 0.010, 0.017, 0.1],
        abs=5.1e-4,  # Matroska as written here keeps times to 1 ms
    )
    for frame, picture in zip(frames, pictures, strict=True):
        np.testing.assert_array_equal(frame.to_ndarray(format="bgr24"), picture[..., :3])


def test_a_file_in_the_way_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("here first", encoding="utf-8")
    with pytest.raises(OutputFailed) as refused:
        make_folder(tmp_path / "out")
    assert str(tmp_path / "out") in str(refused.value)
    with pytest.raises(OutputFailed):
        make_folder(tmp_path / "out" / "deeper")


def test_folder_is_made_and_left_clean(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b")
    assert list((tmp_path / "a" / "b").iterdir()) == []


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_only_on_a_terminal() -> None:
    times = iter(np.arange(0, 100, 0.5))
    silent, shown = io.StringIO(), Terminal()
    for stream in (silent, shown):
        progress = Progress(stream, 20, lambda: float(next(times)))
        progress.show(10)
        progress.done()
    assert silent.getvalue() == ""
    assert "frame 10 of 20, 20 a second" in shown.getvalue()
    assert shown.getvalue().endswith("\r")


def test_where_the_report_is_is_told_to_a_terminal_only() -> None:
    silent, shown = io.StringIO(), Terminal()
    for stream in (silent, shown):
        say_where(stream, Path("out/report.json"), 960, 1)
    assert silent.getvalue() == ""
    assert shown.getvalue() == f"960 frames, 1 spark: {Path('out/report.json')}\n"
