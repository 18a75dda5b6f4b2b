"""An export writes all of its files or none, and over nothing without leave."""

from __future__ import annotations

import threading
from fractions import Fraction

import pytest

from liveview.errors import BadRequest, OutputFailed
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    Cancelled,
    Job,
    Stretch,
    Timing,
    export_animation,
    export_clip,
    export_sheet,
    export_stack,
    export_still,
    export_table,
)
from liveview.review.export.job import whole_files


class TestNothingHalf:
    def test_cancelled_leaves_nothing(self, enhancer, tmp_path) -> None:
        cancel = threading.Event()
        folder = tmp_path / "out"

        def progress(done: int, total: int) -> None:
            assert total == 24 * 5  # one frame lasts 1/10 s at 1/20 of real time, 30 pictures/s
            if done == 40:
                cancel.set()

        with pytest.raises(Cancelled):
            timing = Timing(Fraction(1, 20), Fraction(50))
            export_clip(enhancer, folder / "c.mp4", timing=timing, job=Job(progress, cancel))
        assert list(folder.iterdir()) == []

    def test_existing_files_are_kept_unless_asked(self, enhancer, tmp_path) -> None:
        path = tmp_path / "s.png"
        path.write_text("mine")
        with pytest.raises(BadRequest, match="exists already"):
            export_still(enhancer, path, 0)
        assert path.read_text() == "mine"
        export_still(enhancer, path, 0, overwrite=True)
        assert path.read_bytes().startswith(b"\x89PNG")

    def test_a_folder_that_cannot_be(self, enhancer, tmp_path) -> None:
        (tmp_path / "file").write_text("")
        with pytest.raises(OutputFailed):
            export_still(enhancer, tmp_path / "file" / "s.png", 0)

    @pytest.mark.slow
    @pytest.mark.parametrize(
        ("write", "name"),
        [
            (export_clip, "c.avi"),
            (export_still, "c.jpg"),
            (export_sheet, "c.gif"),
            (export_animation, "c.png"),
            (export_stack, "c.zip"),
            (export_table, "c.xls"),
        ],
    )
    def test_other_endings(self, enhancer, tmp_path, write, name) -> None:
        extra = (0,) if write is export_still else ()
        with pytest.raises(BadRequest, match="use"):
            write(enhancer, tmp_path / name, *extra)
        assert list(tmp_path.glob("c.*")) == []

    @pytest.mark.slow
    def test_a_damaged_frame_is_said(self, record, tmp_path) -> None:
        path = record()
        with StoredEvent.open(path) as event:
            enhancer = Enhancer(event)
            row = (path / "times.csv").read_text().splitlines()[16].split(",")
            raw = bytearray((path / "frames.mkv").read_bytes())
            raw[int(row[6]) + 20] ^= 0xFF
            (path / "frames.mkv").write_bytes(raw)
            with pytest.raises(Exception, match="damaged"):
                export_clip(enhancer, tmp_path / "out" / "c.mp4")
        assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.slow
class TestBesides:
    """Stacks and tables with a description beside them: both files or none."""

    @pytest.mark.parametrize(("write", "name"), [(export_stack, "x.npy"), (export_table, "x.csv")])
    def test_neither_is_overwritten_without_leave(self, enhancer, tmp_path, write, name) -> None:
        out = tmp_path / "out"
        out.mkdir()
        beside = out / f"{name}.json"
        beside.write_text("mine")
        with pytest.raises(BadRequest, match=r"\.json: exists already"):
            write(enhancer, out / name, stretch=Stretch(0, 1))
        assert [(path, path.read_text()) for path in out.iterdir()] == [(beside, "mine")]
        write(enhancer, out / name, stretch=Stretch(0, 1), overwrite=True)
        assert (out / name).exists() and beside.read_text() != "mine"

    @pytest.mark.parametrize(("write", "name"), [(export_stack, "x.npy"), (export_table, "x.csv")])
    @pytest.mark.parametrize("overwrite", [False, True])
    def test_a_folder_in_the_way_leaves_nothing(
        self, enhancer, tmp_path, write, name, overwrite
    ) -> None:
        beside = tmp_path / "out" / f"{name}.json"
        beside.mkdir(parents=True)
        with pytest.raises(BadRequest, match=r"\.json: is a folder"):
            write(enhancer, beside.with_suffix(""), stretch=Stretch(0, 1), overwrite=overwrite)
        assert list(beside.parent.iterdir()) == [beside]

    def test_the_second_cannot_be_put_in_place(self, tmp_path) -> None:
        one, two = tmp_path / "a.npy", tmp_path / "a.npy.json"
        with pytest.raises(OutputFailed, match=r"a\.npy\.json"), whole_files((one, two)) as parts:
            for part in parts:
                part.write_text("new")
            two.mkdir()  # meanwhile, by somebody else
        assert [path.name for path in tmp_path.iterdir()] == ["a.npy.json"]
