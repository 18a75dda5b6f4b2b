"""Exported clips are weighed against the flash limits, and softened when asked."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest
from support.exported import probe

from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    Look,
    Timing,
    export_animation,
    export_clip,
)
from liveview.review.export.flashcheck import FlashCheck
from liveview.settings import Settings


class TestFlashes:
    """At 1/20 of real time an event of 200 frames a second shows ten of them in a second."""

    timing = Timing(Fraction(1, 20), Fraction(30))

    def flashing(self, record, every: int) -> StoredEvent:
        plain = Settings().replaced("enhance", view="plain")
        return StoredEvent.open(record(dark_every=every, count=24, settings=plain))

    @pytest.mark.slow
    @pytest.mark.parametrize("ending", [".mp4", ".webm", ".mkv", ".gif"])
    def test_too_many_are_reported_in_words_and_in_the_file(self, record, tmp_path, ending) -> None:
        path = tmp_path / f"c{ending}"
        with self.flashing(record, 2) as event:
            write = export_animation if ending == ".gif" else export_clip
            report = write(Enhancer(event), path, timing=self.timing, look=Look())
        assert report.over and report.worst_share > 0.5
        # Seven changes a tenth of a second apart are more than three flashes.
        assert report.first_over_s == pytest.approx(0.7, abs=0.11)
        assert "photosensitive" in report.warning
        if ending != ".gif":
            assert probe(path)[1]["flash_check"].strip() == report.words

    @pytest.mark.slow
    def test_softened_it_is_inside_the_limits_and_says_so(self, record, tmp_path) -> None:
        path = tmp_path / "c.mkv"
        with self.flashing(record, 2) as event:
            report = export_clip(
                Enhancer(event), path, timing=self.timing, look=Look(), flashes="soften"
            )
        assert not report.over and report.softened > 0
        frames, about, _ = probe(path)
        assert about["flash_check"].strip() == report.words
        again = FlashCheck(False, (128, 96))
        for number, frame in enumerate(frames):
            again.admit(frame.to_ndarray(format="bgr24"), number / 30)
        assert not again.report().over

    @pytest.mark.slow
    @pytest.mark.parametrize(("count", "every"), [(24, 2), (12, 3)])
    def test_softened_animation_has_no_flashing_seam(self, record, tmp_path, count, every) -> None:
        """Three flashes at the end and three at the beginning are six in the second between."""
        path = tmp_path / "c.gif"
        with StoredEvent.open(
            record(
                dark_every=every,
                count=count,
                settings=Settings().replaced("enhance", view="plain"),
            )
        ) as event:
            timing = Timing(Fraction(1, 20), Fraction(20))
            report = export_animation(
                Enhancer(event), path, timing=timing, look=Look(), flashes="soften"
            )
        ok, read = cv2.imreadanimation(str(path))
        assert ok
        shown = np.cumsum([0, *read.durations]) / 1e3
        assert shown[-1] == pytest.approx(report.pictures / 20)
        again = FlashCheck(False, (128, 96))
        for start_s in shown[-1] * np.arange(3):
            for picture, at_s in zip(read.frames, shown, strict=False):
                again.admit(np.ascontiguousarray(picture[..., :3]), start_s + at_s)
        assert not again.report().over and not report.over
        assert 0 < report.softened <= report.pictures

    @pytest.mark.slow
    def test_three_in_a_second_are_let_through(self, record, tmp_path) -> None:
        """A dark frame in every four: two and a half flashes a second, and nothing is touched."""
        for flashes in ("check", "soften"):
            with self.flashing(record, 4) as event:
                path = tmp_path / f"{flashes}.mkv"
                report = export_clip(
                    Enhancer(event), path, timing=self.timing, look=Look(), flashes=flashes
                )
            assert not report.over and not report.softened and not report.warning
        one, other = (probe(tmp_path / f"{name}.mkv")[0] for name in ("check", "soften"))
        for before, after in zip(one, other, strict=True):
            same = (frame.to_ndarray(format="bgr24") for frame in (before, after))
            assert np.array_equal(*same)
