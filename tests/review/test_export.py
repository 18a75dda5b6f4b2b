"""Exports open in independent readers with the right size, length, times and tags."""

from __future__ import annotations

import csv
import json
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
import tifffile
from support.exported import probe

from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    Look,
    Stretch,
    Timing,
    export_animation,
    export_clip,
    export_sheet,
    export_stack,
    export_still,
    export_table,
)
from liveview.review.export.coding import ClipFile, coding_for, to_yuv420
from liveview.review.export.common import Studio
from liveview.review.export.slowsound import stretched
from liveview.settings import Settings

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
