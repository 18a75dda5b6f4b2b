"""Exports open in independent readers with the right size, length, times and tags."""

from __future__ import annotations

import csv
import json
import threading
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
import tifffile

from liveview.errors import BadRequest, OutputFailed
from liveview.model import Disc, SourceKind
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    Cancelled,
    Job,
    Look,
    Stretch,
    Timing,
    export_animation,
    export_clip,
    export_sheet,
    export_stack,
    export_still,
    export_table,
    stretch_of,
)
from liveview.review.export.clip import schedule
from liveview.review.export.coding import ClipFile, coding_for, to_yuv420
from liveview.review.export.common import Studio, legend_words
from liveview.review.export.flashcheck import FlashCheck
from liveview.review.export.images import sheet_indices
from liveview.review.export.job import whole_files
from liveview.review.export.look import (
    Crop,
    crop_to,
    length_words,
    make_canvas,
    nice_length,
    time_words,
)
from liveview.review.export.slowsound import stretched
from liveview.settings import Settings


@pytest.fixture
def enhancer(record):
    with StoredEvent.open(record()) as event:
        yield Enhancer(event)


def probe(path: Path):
    with av.open(str(path)) as file:
        frames = list(file.decode(video=0))
        about = json.loads(file.metadata.get("comment") or file.metadata.get("COMMENT"))
        return frames, about, file.streams.video[0].average_rate


SHAPES = [
    {"rows": 96, "columns": 128},
    {"rows": 131, "columns": 75},
    {"rows": 97, "columns": 129, "white": 4095},
    {"rows": 96, "columns": 128, "channels": 3},
    {"count": 1},
    {"complete": False},
    {"rows": 65, "columns": 33, "white": 65535, "sound": False},
    {"calibrated": False},
]


@pytest.mark.slow
@pytest.mark.parametrize("options", SHAPES, ids=str)
@pytest.mark.parametrize("ending", [".mp4", ".webm", ".mkv"])
def test_clips_of_every_kind_of_event(record, tmp_path, options, ending) -> None:
    path = tmp_path / f"clip{ending}"
    with StoredEvent.open(record(**options)) as event:
        enhancer = Enhancer(event)
        export_clip(enhancer, path, timing=Timing(Fraction(1, 20)))
        frames, about, fps = probe(path)
        source = event.start.source
        length = len(event) if len(event) > 1 else 0
        assert len(frames) == max(1, round(length / 200 * 20 * 30))
        assert fps == 30
        even = 0 if ending == ".mkv" else 1
        assert frames[0].width == source.width + even * (source.width % 2)
        assert frames[0].height == source.height + even * (source.height % 2)
        assert about["settings"]["rig"]["mirror_diameter"] == 0.15
        assert about["options"]["rate"] == "1/20"
        assert about["last_frame"] == len(event) - 1
        assert about["event_complete"] == event.complete
        with av.open(str(path)) as file:
            assert len(file.streams.audio) == (options.get("sound", True) is True)


def test_a_lossless_clip_holds_the_pictures_exactly(enhancer, tmp_path) -> None:
    path = tmp_path / "clip.mkv"
    bare = Look(legend=False, scale_bar=False, time_stamp=False)
    # 200 frames a second at 3/20 of real time are 30 pictures a second: each frame once
    export_clip(enhancer, path, timing=Timing(Fraction(3, 20)), look=bare, sound=False)
    frames, _, _ = probe(path)
    assert len(frames) == 24
    for index in (0, 7, 23):
        np.testing.assert_array_equal(
            frames[index].to_ndarray(format="bgr24"), enhancer.picture(index)[..., :3]
        )


def test_colours_of_a_clip_survive(enhancer, tmp_path) -> None:
    export_clip(enhancer, tmp_path / "c.mp4", look=Look(legend=False, scale_bar=False))
    frames, _, _ = probe(tmp_path / "c.mp4")
    shown = frames[0].to_ndarray(format="bgr24")[20:70, 40:90].astype(float)
    truth = enhancer.picture(0)[20:70, 40:90, :3].astype(float)
    # lossy, means must agree within two codes: a wrong matrix or range is off by more
    assert np.abs(shown.mean(axis=(0, 1)) - truth.mean(axis=(0, 1))).max() < 2.0


def test_colours_are_converted_by_the_formula_of_the_standard() -> None:
    blocks = np.random.default_rng(3).integers(0, 256, (90, 160, 3))
    picture = blocks.repeat(2, axis=0).repeat(2, axis=1).astype(np.uint8)
    blue, green, red = np.moveaxis(blocks / 255, 2, 0)
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue  # ITU-R BT.709-6, item 3.2 and 3.3
    cb, cr = (blue - luma) / 1.8556, (red - luma) / 1.5748
    truth = (16 + 219 * luma, 128 + 224 * cb, 128 + 224 * cr)
    for n, (plane, exact) in enumerate(zip(to_yuv420(picture).planes, truth, strict=True)):
        codes = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, -1)
        codes = codes[:: 1 if n else 2, : plane.width : 1 if n else 2]
        # to the nearest code would be 0.5; the fast way is up to an eighth of a code further
        assert np.abs(codes - exact).max() < 0.7


def test_a_noisy_picture_that_is_held_stands_still(tmp_path) -> None:
    noise = np.random.default_rng(4).normal(90, 4, (240, 320, 1))
    picture = np.repeat(np.clip(noise, 0, 255).astype(np.uint8), 3, axis=2)
    path = tmp_path / "held.mp4"
    file = ClipFile(path, coding_for(path), (320, 240), Fraction(30), {}, sound=False, grey=True)
    for _ in range(12):
        file.add_picture(picture)
    file.finish()
    with av.open(str(path)) as held:
        frames = [frame.to_ndarray(format="gray").astype(int) for frame in held.decode(video=0)]
    first, *others = frames
    assert len(others) == 11
    # a coder free to refine what stays changes it by half a code on average
    assert all(np.abs(other - first).mean() < 0.05 for other in others)


def test_grey_is_converted_the_same_both_ways() -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8).reshape(16, 16, 1), 3, axis=2)
    for plain, quick in zip(to_yuv420(ramp).planes, to_yuv420(ramp, grey=True).planes, strict=True):
        a, b = (
            np.frombuffer(memoryview(p), np.uint8).reshape(p.height, -1)[:, : p.width]
            for p in (plain, quick)
        )
        # halves may be rounded either way
        assert np.abs(a.astype(int) - b).max() <= (1 if p_is_luma(a) else 0)


def p_is_luma(plane: np.ndarray) -> bool:
    return plane.shape == (16, 16)


@pytest.mark.slow
@pytest.mark.parametrize("view", ["plain", "lifted"])
def test_what_is_called_grey_is_grey(record, view) -> None:
    settings = Settings().replaced("enhance", view=view)
    with StoredEvent.open(record(settings=settings)) as event:
        studio = Studio(Enhancer(event), Look(caption="all of it"), rate=Fraction(1, 4))
        picture = studio.picture(9)
    assert studio.grey and np.all(picture == picture[..., :1])


def test_sound_is_stretched_in_step(enhancer, tmp_path) -> None:
    path = tmp_path / "c.mkv"
    export_clip(enhancer, path, timing=Timing(Fraction(1, 10)))
    with av.open(str(path)) as file:
        sound = np.concatenate([f.to_ndarray().ravel() for f in file.decode(audio=0)]) / 32768.0
    assert len(sound) / 48000 == pytest.approx(24 / 200 * 10, abs=0.001)
    middle = sound[9600:38400] * np.hanning(28800)
    peak = np.argmax(np.abs(np.fft.rfft(middle))) * 48000 / 28800
    assert peak == pytest.approx(400.0, abs=2.0)  # 4 kHz at a tenth; one bin is 1.7 Hz
    assert np.abs(sound).max() == pytest.approx(16000 / 32768, rel=0.05)


@pytest.mark.parametrize("rate", [Fraction(1, 7), Fraction(4), Fraction(100)], ids=str)
def test_pieces_of_stretched_sound_join_without_seams(rate: Fraction) -> None:
    from scipy.signal import resample_poly

    rng = np.random.default_rng(3)
    track = rng.normal(0, 0.1, 10000).astype(np.float32)
    pieces = np.concatenate(list(stretched(track, 48000, rate, 48000)))
    whole = resample_poly(track, rate.denominator, rate.numerator)
    assert len(pieces) == len(whole)
    np.testing.assert_allclose(pieces, whole, atol=1e-6)  # float32 sums in other orders


@pytest.mark.slow
@pytest.mark.parametrize("ending", [".mp4", ".webm", ".mkv", ".gif", ".webp", ".png", ".tif"])
def test_the_same_bits_again(record, tmp_path, ending) -> None:
    path = record()
    made = []
    for number in range(2):
        out = tmp_path / f"{number}" / f"x{ending}"
        with StoredEvent.open(path) as event:
            enhancer = Enhancer(event)
            if ending in (".gif", ".webp"):
                export_animation(enhancer, out)
            elif ending == ".png":
                export_sheet(enhancer, out)
            elif ending == ".tif":
                export_stack(enhancer, out)
            else:
                export_clip(enhancer, out)
        made.append(out.read_bytes())
    assert made[0] == made[1]


def png_text(path: Path) -> dict:
    data = path.read_bytes()
    at = data.index(b"iTXt")
    size = int.from_bytes(data[at - 4 : at], "big")
    body = data[at + 4 : at + 4 + size]
    return json.loads(body.split(b"\0\0\0\0\0", 1)[1])


@pytest.mark.slow
@pytest.mark.parametrize("white", [255, 4095])
def test_stills(record, tmp_path, white) -> None:
    with StoredEvent.open(record(white=white)) as event:
        enhancer = Enhancer(event)
        for kind in ("as seen", "contrast", "raw"):
            path = tmp_path / f"{kind}.png"
            export_still(enhancer, path, 9, kind=kind)
            assert png_text(path)["options"]["kind"] == kind
        raw = cv2.imread(str(tmp_path / "raw.png"), cv2.IMREAD_UNCHANGED)
        np.testing.assert_array_equal(raw, event.frame(9).pixels)
        codes = cv2.imread(str(tmp_path / "contrast.png"), cv2.IMREAD_UNCHANGED)
        contrast = enhancer.contrast(9)
        assert codes.dtype == np.uint16
        np.testing.assert_array_equal(codes == 0, ~np.isfinite(contrast))
        inside = np.isfinite(contrast) & (np.abs(contrast) < enhancer.scale)
        back = (codes[inside].astype(float) - 32768) / 32767 * enhancer.scale
        np.testing.assert_allclose(back, contrast[inside], atol=enhancer.scale / 32767)
        seen = cv2.imread(str(tmp_path / "as seen.png"))
        assert seen.shape == (96, 128, 3)


def test_a_sheet(enhancer, tmp_path) -> None:
    export_sheet(enhancer, tmp_path / "s.png", count=9, look=Look(width=200))
    sheet = cv2.imread(str(tmp_path / "s.png"))
    assert sheet.shape == (3 * 150 + 4 * 3, 3 * 200 + 4 * 3, 3)
    assert png_text(tmp_path / "s.png")["options"]["indices"] == list(range(5, 14))


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


@pytest.mark.slow
@pytest.mark.parametrize("view", ["lifted", "signed"])
@pytest.mark.parametrize("ending", [".gif", ".webp"])
def test_animations(record, tmp_path, view, ending) -> None:
    settings = Settings().replaced("enhance", view=view)
    path = tmp_path / f"a{ending}"
    with StoredEvent.open(record(settings=settings)) as event:
        enhancer = Enhancer(event)
        export_animation(
            enhancer, path, timing=Timing(Fraction(1, 10), Fraction(20)), look=Look(width=128)
        )
        truth = enhancer.picture(0)[20:70, 40:90, :3].astype(float)
    ok, first = cv2.imreadanimation(str(path))
    assert ok and len(first.frames) == 24
    assert first.durations[0] == 50
    assert first.frames[0].shape[:2] == (96, 128)
    assert b"first_frame" in path.read_bytes()
    got = first.frames[0][20:70, 40:90, :3].astype(float)
    # a grey GIF is exact; a palette of 256 colours or WebP is not
    if view == "lifted" and ending == ".gif":
        np.testing.assert_array_equal(got, truth)
    assert np.abs(got.mean(axis=(0, 1)) - truth.mean(axis=(0, 1))).max() < 4.0


@pytest.mark.parametrize("ending", [".tif", ".npy"])
def test_contrast_stacks(enhancer, tmp_path, ending) -> None:
    path = tmp_path / f"c{ending}"
    export_stack(enhancer, path, stretch=Stretch(3, 9))
    if ending == ".npy":
        stack = np.load(path)
        about = json.loads(path.with_suffix(".npy.json").read_text())
    else:
        stack = tifffile.imread(path)
        with tifffile.TiffFile(path) as file:
            about = json.loads(file.pages[0].description.split("\n", 1)[1])
            x = file.pages[0].tags["XResolution"].value
        # disc of radius 43.2 px stands for 150 mm
        assert x[0] / x[1] == pytest.approx(86.4 / 15.0, rel=1e-3)
    assert stack.shape == (7, 96, 128) and stack.dtype == np.float32
    for n in range(7):
        np.testing.assert_array_equal(stack[n], enhancer.contrast(3 + n))
    assert len(about["options"]["times_s"]) == 7
    assert about["options"]["metres_per_px"] == pytest.approx(0.15 / 86.4)


def test_tables(enhancer, tmp_path) -> None:
    export_table(enhancer, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 24
    assert float(rows[8]["since_spark_s"]) == pytest.approx(0.0, abs=1e-9)
    assert float(rows[3]["uncut"]) == pytest.approx(0.5, abs=0.02)
    assert (tmp_path / "t.csv.json").exists()


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


@pytest.mark.slow
def test_a_stack_in_tiff_keeps_words_of_any_script(record, tmp_path) -> None:
    """TIFF's description is ASCII; JSON has escapes for the rest."""
    path = record(count=3)
    path = path.rename(path.with_name("Größe_烟"))
    with StoredEvent.open(path) as event:
        export_stack(Enhancer(event), tmp_path / "x.tif")
    with tifffile.TiffFile(tmp_path / "x.tif") as file:
        _, _, text = file.pages[0].description.partition("\n")
    assert json.loads(text)["event"] == "Größe_烟"
