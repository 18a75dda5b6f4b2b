"""How exported pictures are composed, and which of them a clip shows."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest

from liveview.errors import BadRequest
from liveview.model import Disc, SourceKind
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    Look,
    Stretch,
    export_still,
    stretch_of,
)
from liveview.review.export.clip import schedule
from liveview.review.export.common import legend_words
from liveview.review.export.images import sheet_indices
from liveview.review.export.look import (
    Crop,
    crop_to,
    length_words,
    make_canvas,
    nice_length,
    time_words,
)
from liveview.settings import Settings


@pytest.mark.parametrize(
    ("length", "spark", "count", "every", "want"),
    [
        (24, 8, 9, 1, [5, 6, 7, 8, 9, 10, 11, 12, 13]),
        (24, 0, 4, 1, [0, 1, 2, 3]),
        (24, 23, 6, 1, [18, 19, 20, 21, 22, 23]),
        (3, 1, 12, 1, [0, 1, 2]),
        (1, 0, 12, 1, [0]),
        (100, 50, 6, 10, [30, 40, 50, 60, 70, 80]),
    ],
)
def test_frames_of_a_sheet(length, spark, count, every, want) -> None:
    assert sheet_indices(length, spark, count, every) == want


class TestLook:
    @pytest.mark.parametrize(
        ("look", "rows", "columns", "even", "want"),
        [
            (Look(), 97, 129, False, (129, 97, 0, 0, 129, 97)),
            (Look(), 97, 129, True, (130, 98, 0, 0, 129, 97)),
            (Look("wide"), 480, 640, True, (854, 480, 107, 0, 640, 480)),
            (Look("tall"), 480, 640, True, (640, 1138, 0, 329, 640, 480)),
            (Look("wide", 1920), 480, 640, True, (1920, 1080, 240, 0, 1440, 1080)),
            (Look(width=320), 480, 640, True, (320, 240, 0, 0, 320, 240)),
            (Look("square", 100), 50, 200, False, (100, 100, 0, 37, 100, 25)),
        ],
    )
    def test_canvas(self, look, rows, columns, even, want) -> None:
        c = make_canvas(look, rows, columns, even=even)
        assert (c.width, c.height, c.left, c.top, c.inner_width, c.inner_height) == want

    @pytest.mark.parametrize(
        ("ratio", "rows", "columns", "disc", "want"),
        [
            (9 / 16, 540, 960, Disc(479.5, 269.5, 243), Crop(222, 0, 516, 540)),
            (1.0, 540, 960, Disc(479.5, 269.5, 243), Crop(210, 0, 540, 540)),
            (16 / 9, 480, 640, Disc(320, 240, 150), Crop(0, 60, 640, 360)),
            (9 / 16, 540, 960, Disc(100, 269.5, 243), Crop(0, 0, 516, 540)),
            (9 / 16, 540, 960, None, Crop(0, 0, 960, 540)),
        ],
    )
    def test_crop(self, ratio, rows, columns, disc, want) -> None:
        assert crop_to(ratio, rows, columns, disc) == want

    def test_a_tall_clip_is_filled_by_the_disc(self, enhancer, tmp_path) -> None:
        bare = Look("tall", 270, legend=False, scale_bar=False, time_stamp=False)
        export_still(enhancer, tmp_path / "t.png", 0, look=bare)
        picture = cv2.imread(str(tmp_path / "t.png"))
        assert picture.shape == (480, 270, 3)
        lit = np.flatnonzero(picture[240].max(axis=1) > 40)
        assert lit[-1] - lit[0] > 0.9 * 270

    @pytest.mark.parametrize(
        ("longest", "nice"), [(0.034, 0.02), (0.05, 0.05), (0.0199, 0.01), (7.0, 5.0)]
    )
    def test_scale_bar(self, longest, nice) -> None:
        assert nice_length(longest) == pytest.approx(nice)

    def test_words(self) -> None:
        assert length_words(0.02) == "20 mm" and length_words(5e-4) == "500 µm"
        assert time_words(0.00125) == "+1.25 ms" and time_words(-2.5) == "−2.500 s"
        assert time_words(0.0) == "+0.0 µs"

    @pytest.mark.slow
    def test_what_is_written_shows_and_can_be_left_out(self, record, tmp_path) -> None:
        with StoredEvent.open(record(kind=SourceKind.SIMULATED)) as event:
            enhancer = Enhancer(event)
            big = Look("wide", 960, caption="A warm hand below the mirror")
            export_still(enhancer, tmp_path / "full.png", 9, look=big)
            bare = Look("wide", 960, legend=False, scale_bar=False, time_stamp=False)
            export_still(enhancer, tmp_path / "bare.png", 9, look=bare)
        full, plain = (cv2.imread(str(tmp_path / f"{n}.png")) for n in ("full", "bare"))
        differ = np.any(full != plain, axis=2)
        corners = {
            "time": differ[:60, :200],
            "legend": differ[-60:, -250:],
            "bar": differ[-60:, :250],
            "caption": differ[500:, 300:660],
        }
        assert all(part.sum() > 100 for part in corners.values())
        # a simulated rig always says so
        assert (plain[:60, -200:] > 200).sum() > 100


@pytest.mark.parametrize(
    ("times", "rate", "fps", "want"),
    [
        ([0.0], Fraction(1), 30, [0]),
        ([0.0, 0.1, 0.2], Fraction(1), 20, [0, 0, 1, 1, 2, 2]),
        ([0.0, 0.1, 0.4], Fraction(1), 10, [0, 1, 1, 1, 2, 2, 2]),
        ([0.0, 0.001, 0.002, 0.003], Fraction(1), 500, [0, 2]),
    ],
)
def test_schedule(times, rate, fps, want) -> None:
    assert schedule(times, rate, Fraction(fps)) == want


@pytest.mark.slow
@pytest.mark.parametrize(
    ("view", "words"),
    [
        ("plain", None),
        ("lifted", "contrast ±"),
        ("signed", "contrast ±"),
        ("movement", "change of contrast ±"),
        ("trail", "contrast ±"),
        ("arrows", "contrast ±"),
        ("significance", "times the noise ±6"),
    ],
)
def test_every_view_is_exported_with_its_legend(record, tmp_path, view, words) -> None:
    settings = Settings().replaced("enhance", view=view)
    with StoredEvent.open(record(settings=settings)) as event:
        enhancer = Enhancer(event)
        told = legend_words(enhancer)
        assert (told is None) if words is None else told.startswith(words)
        if told and view != "significance":
            end = float(told.split("±")[1].removesuffix(" %"))
            assert end == pytest.approx(100 * enhancer.scale, rel=5e-3)  # three figures
        export_still(enhancer, tmp_path / "s.png", 12)
        assert enhancer.reading(12).view == view
        # the blob moves two pixels a frame: its change is smaller than itself, and not nothing
        if view == "movement":
            assert 0.02 < enhancer.scale < 0.3


def test_stretches(enhancer) -> None:
    assert stretch_of(enhancer.event, -0.0101, 0.0151) == Stretch(6, 11)
    with pytest.raises(BadRequest, match="no frame lies there"):
        stretch_of(enhancer.event, 5.0, 6.0)
