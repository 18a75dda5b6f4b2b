"""Missing numbers in the names of pictures are missing pictures, where that is likely."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.media import noise, read_all

from liveview.imaging.cv import cv2
from liveview.settings import Camera
from liveview.sources.images import ImagesSource
from liveview.sources.numbering import places


def named(pattern: str, numbers: list[int]) -> list[str]:
    return [pattern.format(n) for n in numbers]


WITH_GAP = [*range(8, 20), *range(22, 40)]


@pytest.mark.parametrize("pattern", ["img_{:05d}.png", "{}.tif", "run2_{:03d}_b.png"])
@pytest.mark.parametrize("step", [1, 10])
def test_few_missing_numbers_are_gaps(pattern: str, step: int) -> None:
    found, words = places(named(pattern, [step * n for n in WITH_GAP]))
    assert found == [n - 8 for n in WITH_GAP]
    assert "2 of 32 numbers" in words
    assert pattern.format(step * 19) in words


@pytest.mark.parametrize(
    "names",
    [
        ["only.png"],
        ["a1.png", "a9.png"],
        named("img_{:05d}.png", list(range(30))),
        named("img_{:05d}.png", list(range(0, 300, 10))),
        ["a1_x1.png", "a2_x1.png", "a5_x2.png", "a6_x2.png"],  # two numbers
        ["a1.png", "a2.png", "b5.png"],
        ["f1000.png", "f1020.png", "f1040.png", "f1061.png", "f1081.png"],  # times, not a count
        ["dark.png", "open.png", "reference.png"],
    ],
)
def test_all_others_follow_one_after_the_other(names: list[str]) -> None:
    assert places(names) == (list(range(len(names))), "")


def test_many_missing_numbers_are_said_and_make_no_gap() -> None:
    found, words = places(named("f{}.png", [*range(100), *range(1000, 1100)]))
    assert found == list(range(200))
    assert "900 of 1100" in words
    assert "one after the other" in words


def test_a_gap_in_the_names_is_a_gap_in_time(tmp_path: Path) -> None:
    for number, picture in zip(WITH_GAP, noise((12, 16), len(WITH_GAP)), strict=True):
        assert cv2.imwrite(str(tmp_path / f"img_{number:04d}.png"), picture)
    info, stamps, _ = read_all(ImagesSource(str(tmp_path), Camera(rate_hz=50.0)))
    assert [stamp.number for stamp in stamps] == [n - 8 for n in WITH_GAP]
    assert [s.time_s for s in stamps] == pytest.approx([(n - 8) / 50 for n in WITH_GAP])
    assert info.frames == len(WITH_GAP)
    assert info.seconds == pytest.approx(32 / 50)
    assert "taken as lost" in info.note


def test_a_table_of_times_goes_before_the_names(tmp_path: Path) -> None:
    for number, picture in zip((1, 2, 4), noise((12, 16), 3), strict=True):
        assert cv2.imwrite(str(tmp_path / f"img_{number}.png"), picture)
    (tmp_path / "times.csv").write_text("time_s\n0\n0.5\n0.7\n", encoding="utf-8")
    info, stamps, _ = read_all(ImagesSource(str(tmp_path), Camera(rate_hz=50.0)))
    assert [(s.number, s.time_s) for s in stamps] == [(0, 0.0), (1, 0.5), (2, 0.7)]
    assert "numbers" not in info.note
