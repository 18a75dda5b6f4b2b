"""``liveview process`` on real files and a real socket, held against what is in them."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import soundfile
import tifffile
from support import known_recording as rec
from support.media import write_video
from support.mjpeg_server import MjpegServer
from support.program import PROGRAM, environment

from liveview.cli import main
from liveview.commands.processing.outputs import COLUMNS
from liveview.imaging.cv import cv2
from liveview.recorder import StoredEvent

LOSSLESS = ("--transfer", "linear", *rec.STRETCHES)


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The known recording as FFV1 in Matroska."""
    path = tmp_path_factory.mktemp("clip") / "clip.mkv"
    return write_video(path, rec.as_bytes(rec.known().frames), rate_hz=rec.RATE_HZ)


def process(recording: object, out: Path, *options: str, code: int = 0) -> dict[str, Any]:
    assert main(["process", str(recording), "--out", str(out), *options]) == code
    return json.loads((out / "report.json").read_text(encoding="utf-8"))


def table(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((out / "frames.csv").read_text(encoding="utf-8").splitlines()))


def check_known(report: dict[str, Any], *, tolerance: float) -> None:
    """What every lossless form of the known recording must give."""
    recording = report["recording"]
    assert (recording["width"], recording["height"]) == (rec.WIDTH, rec.HEIGHT)
    assert (recording["frames"], recording["frames_lost"]) == (rec.FRAMES, 0)
    disc = report["disc"]
    assert disc["found"]
    # half a pixel: the rim of the test disc is a staircase
    assert (disc["cx"], disc["cy"]) == (
        pytest.approx(rec.CX, abs=0.5),
        pytest.approx(rec.CY, abs=0.5),
    )
    assert disc["radius"] == pytest.approx(rec.RADIUS, abs=0.7)
    assert report["blade"]["uncut"] == pytest.approx(rec.UNCUT, abs=tolerance)
    assert [event["frame"] for event in report["events"]] == [rec.FLASH_FRAME]


@pytest.mark.slow
def test_report_and_table_say_what_is_in_the_recording(clip: Path, tmp_path: Path) -> None:
    report = process(clip, tmp_path, *LOSSLESS)
    # codes are rounded to 1/255 of light, averaged over the disc: well below 0.01
    check_known(report, tolerance=0.01)
    assert report["schema"] == 1
    assert report["recording"]["rate_hz"] == pytest.approx(rec.RATE_HZ, rel=2e-3)  # 1 ms stamps
    assert report["recording"]["bits"] == 8
    assert report["transfer"] == "linear"
    assert {k: v["frames"] for k, v in report["calibration"].items()} == {
        name: round((until - since) * rec.RATE_HZ) - 1 for name, (since, until) in rec.STEPS.items()
    }
    (event,) = report["events"]
    assert event["cause"] == "flash"
    assert event["rows"][0] == pytest.approx(rec.FLASH_ROWS[0], abs=8)  # a row band of the detector
    assert event["rows"][1] == pytest.approx(rec.FLASH_ROWS[1], abs=8)
    frame_s = 1 / rec.RATE_HZ
    assert event["time_s"] == pytest.approx((rec.FLASH_FRAME + 0.5) * frame_s, abs=frame_s)
    assert report["speed"]["frames_per_second"] > 0
    histogram = report["histogram"]
    assert len(histogram["edges"]) == len(histogram["counts"]) + 1
    assert sum(histogram["counts"]) > 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("enhance", "unit"),
    [
        ('unit = "sigma"', "sigma"),
        ('view = "significance"', "sigma"),
        ('unit = "arcsec"', "arcsec"),
    ],
)
def test_the_histogram_is_summed_in_any_unit(
    clip: Path, tmp_path: Path, enhance: str, unit: str
) -> None:
    setup = tmp_path / "setup.toml"
    setup.write_text(f"schema = 1\n[enhance]\n{enhance}\n", encoding="utf-8")
    plain = process(clip, tmp_path / "plain", *LOSSLESS)["histogram"]
    report = process(clip, tmp_path / "out", *LOSSLESS, "--setup", str(setup))
    found = report["histogram"]
    assert found["unit"] == unit
    assert found["counts"] == plain["counts"]
    ratio = found["noise_sigma"] / plain["noise_sigma"]
    # float64, divided and multiplied a few times
    assert np.array(found["edges"]) == pytest.approx(np.array(plain["edges"]) * ratio, rel=1e-9)
    # the event says that it was caught so, and can be gone through again
    (event,) = report["events"]
    again = process(tmp_path / "out" / event["folder"], tmp_path / "again", "--setup", str(setup))
    assert again["histogram"]["unit"] == unit


def test_table_has_a_line_for_each_frame(clip: Path, tmp_path: Path) -> None:
    process(clip, tmp_path, *LOSSLESS, "--catch", "off")
    rows = table(tmp_path)
    assert tuple(rows[0]) == COLUMNS
    assert [int(row["frame"]) for row in rows] == list(range(rec.FRAMES))
    times = np.array([float(row["time_s"]) for row in rows])
    np.testing.assert_allclose(times, np.arange(rec.FRAMES) / rec.RATE_HZ, atol=6e-4)  # 1 ms stamps
    uncut = np.array([float(row["uncut"]) for row in rows])
    for name, wanted in (("dark", 0.0), ("open", 1.0), ("reference", rec.UNCUT)):
        since, until = rec.STEPS[name]
        stretch = (times > since + 0.02) & (times < until - 0.02)
        np.testing.assert_allclose(uncut[stretch], wanted, atol=0.01)  # rounding of codes
    cutoff = np.array([float(row["cutoff_percent"]) for row in rows])
    np.testing.assert_allclose(cutoff, 100 * (1 - uncut), atol=1e-4)
    assert not (tmp_path / "events").exists()


def test_what_nobody_stated_is_null(tmp_path: Path) -> None:
    # From the reference on: a recording that shows its own dark and open tells the cut.
    later = rec.as_bytes(rec.known().frames)[rec.frame_at("reference") :]
    clip = write_video(tmp_path / "later.mkv", later, rate_hz=rec.RATE_HZ)
    report = process(clip, tmp_path, "--transfer", "linear", "--catch", "off")
    assert report["blade"]["uncut"] is None
    assert report["blade"]["axial_offset_m"] is None
    assert report["calibration"]["dark"] is None
    assert all(
        row["uncut"] == row["blade_travel_m"] == row["axial_offset_m"] == ""
        for row in table(tmp_path)
    )
    assert any("no reference was given" in words for words in report["warnings"])


def test_travel_and_offset_need_a_stated_rig(clip: Path, tmp_path: Path) -> None:
    rig = ("--mirror-diameter", "114 mm", "--blade-distance", "1.8", "--lamp", "slit:0.5 mm")
    report = process(clip, tmp_path, *LOSSLESS, "--catch", "off", *rig)
    rows = [row for row in table(tmp_path) if 1.3 < float(row["time_s"]) < 1.7]
    travel = [float(row["blade_travel_m"]) for row in rows]
    # slit: travel = (1 - T) a, here half of 0.5 mm; 1 % of rounding
    np.testing.assert_allclose(travel, (1 - rec.UNCUT) * 0.5e-3, rtol=0.02)
    # an even disc: the blade is in the focus; noise of the tilt times a L / D
    assert report["blade"]["axial_offset_m"] == pytest.approx(0.0, abs=1e-4)


def test_contrast_is_the_flow_that_was_put_in(clip: Path, tmp_path: Path) -> None:
    process(clip, tmp_path, *LOSSLESS, "--contrast", "--catch", "off")
    stack = np.load(tmp_path / "contrast.npy", mmap_mode="r")
    assert stack.dtype == np.float32
    assert stack.shape == (rec.FRAMES, rec.HEIGHT, rec.WIDTH)
    known = rec.known()
    flow = stack[round(1.85 * rec.RATE_HZ) : rec.FLASH_FRAME - 1]
    y, x = np.mgrid[: rec.HEIGHT, : rec.WIDTH]
    core = (x - rec.CX) ** 2 + (y - rec.CY) ** 2 < (rec.RADIUS - 3) ** 2
    assert np.isnan(flow[:, ~known.inside & ((x - rec.CX) ** 2 + (y - rec.CY) ** 2 > 43**2)]).all()
    mean = flow[:, core].mean(axis=0)
    # one code is 1 % of the reference; the mean of 16 frames and the reference's own share
    np.testing.assert_allclose(mean, known.contrast[core], atol=0.012)


def test_every_nth_thins_contrast_and_picture_only(clip: Path, tmp_path: Path) -> None:
    report = process(
        clip, tmp_path, *LOSSLESS, "--contrast", "--picture", "--every", "10", "--catch", "off"
    )
    wanted = -(-rec.FRAMES // 10)
    assert report["recording"]["frames"] == rec.FRAMES == len(table(tmp_path))
    assert len(np.load(tmp_path / "contrast.npy")) == wanted
    with av.open(str(tmp_path / "picture.mkv")) as file:
        frames = list(file.decode(video=0))
    assert len(frames) == wanted
    assert (frames[0].width, frames[0].height) == (rec.WIDTH, rec.HEIGHT)


@pytest.mark.slow
def test_event_holds_the_frames_bit_for_bit(clip: Path, tmp_path: Path) -> None:
    setup = tmp_path / "rig.toml"
    setup.write_text('[catch]\npre_trigger = "0.2 s"\npost_trigger = "0.3 s"\n', encoding="utf-8")
    report = process(clip, tmp_path / "out", *LOSSLESS, "--setup", str(setup))
    (event,) = report["events"]
    frames = rec.known().frames
    with StoredEvent.open(tmp_path / "out" / event["folder"]) as kept:
        assert kept.complete
        numbers = [stamp.number for stamp in kept.stamps]
        spark = event["time_s"]
        inside = [n for n in range(rec.FRAMES) if spark - 0.2 <= n / rec.RATE_HZ <= spark + 0.3]
        assert set(inside[1:-1]) <= set(numbers)  # stamps of 1 ms blur the first and last
        assert numbers == list(range(numbers[0], numbers[-1] + 1))
        for frame in kept.frames():
            np.testing.assert_array_equal(frame.pixels, frames[frame.number])


@pytest.mark.slow
def test_an_event_is_a_recording_with_its_own_calibration(clip: Path, tmp_path: Path) -> None:
    report = process(clip, tmp_path / "first", *LOSSLESS)
    folder = tmp_path / "first" / report["events"][0]["folder"]
    again = process(folder, tmp_path / "again", "--transfer", "linear")
    assert again["recording"]["kind"] == "event"
    assert again["blade"]["uncut"] == pytest.approx(report["blade"]["uncut"], abs=0.01)
    assert [event["frame"] for event in again["events"]] == [rec.FLASH_FRAME]
    assert again["calibration"]["open"]["frames"] == report["calibration"]["open"]["frames"]


@pytest.mark.slow
def test_images_tiff_and_12_bit_give_the_same(tmp_path: Path) -> None:
    known = rec.known(bits=12)
    folder = tmp_path / "images"
    folder.mkdir()
    for index, frame in enumerate(known.frames):
        assert cv2.imwrite(str(folder / f"f{index:04d}.png"), frame)
    tifffile.imwrite(tmp_path / "stack.tif", np.stack(known.frames))
    options = (*LOSSLESS, "--rate", str(rec.RATE_HZ), "--white", "4095")
    for number, address in enumerate((folder, f"{folder}/f*.png", tmp_path / "stack.tif")):
        report = process(address, tmp_path / f"out{number}", *options)
        # 12 bits: rounding no longer counts, but the flow lifts the disc's mean by 0.4 %
        check_known(report, tolerance=0.006)


def test_calibration_from_pictures(clip: Path, tmp_path: Path) -> None:
    known = rec.known()
    for name, (since, _) in rec.STEPS.items():
        frame = known.frames[round(since * rec.RATE_HZ) + 2].astype(np.uint8)
        assert cv2.imwrite(str(tmp_path / f"{name}.png"), frame)
    pictures = [o for name in rec.STEPS for o in (f"--{name}", str(tmp_path / f"{name}.png"))]
    report = process(clip, tmp_path / "out", "--transfer", "linear", "--catch", "off", *pictures)
    # one frame each: rounding and noise of all four, averaged over the disc
    assert report["blade"]["uncut"] == pytest.approx(rec.UNCUT, abs=0.01)
    assert any("mean of 1 frame" in words for words in report["warnings"])


@pytest.mark.slow
def test_h264_keeps_the_blade_reading(tmp_path: Path) -> None:
    clip = write_video(
        tmp_path / "clip.mp4",
        [frame[:, :130] for frame in rec.as_colour(rec.known().frames)],
        form="yuv420p",
        codec="libx264",
        rate_hz=rec.RATE_HZ,
        options={"crf": "10"},
    )
    report = process(clip, tmp_path / "out", *LOSSLESS)
    # 8 bit of 16..235 and a lossy coder: a code or two of 100
    assert report["blade"]["uncut"] == pytest.approx(rec.UNCUT, abs=0.02)
    assert [event["frame"] for event in report["events"]] == [rec.FLASH_FRAME]


@pytest.mark.slow
def test_a_network_camera_over_a_real_socket(tmp_path: Path) -> None:
    frames = rec.as_bytes(rec.known().frames)[30:]
    with MjpegServer(frames, rate_hz=60, once=True) as server:
        report = process(server.url, tmp_path, "--transfer", "linear", "--catch", "off")
    assert report["recording"]["kind"] == "stream"
    assert len(frames) - 2 <= report["recording"]["frames"] <= len(frames)
    assert len(table(tmp_path)) == report["recording"]["frames"]


@pytest.mark.slow
def test_seconds_end_an_endless_stream(tmp_path: Path) -> None:
    with MjpegServer(rec.as_bytes(rec.known().frames[40:50]), rate_hz=60) as server:
        report = process(server.url, tmp_path, "--seconds", "0.5", "--catch", "off")
    assert 0.3 < report["recording"]["seconds"] <= 0.5


@pytest.mark.slow
def test_a_stream_that_dies_is_a_recording_that_ended(tmp_path: Path) -> None:
    with MjpegServer(rec.as_bytes(rec.known().frames[40:50]), rate_hz=60) as server:
        cut = threading.Timer(0.7, server.stall)
        cut.start()
        report = process(server.url, tmp_path, "--catch", "off")
        cut.join()
    assert report["recording"]["frames"] > 10
    assert any("the stream ended" in words for words in report["warnings"])


@pytest.mark.slow
def test_flash_and_crack_from_a_sound_file(clip: Path, tmp_path: Path) -> None:
    rate, distance_m = 48000, 1.0
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 1e-3, round(rec.SECONDS * rate)).astype(np.float32)
    at = round(((rec.FLASH_FRAME + 0.5) / rec.RATE_HZ + distance_m / 343.2) * rate)
    # an N-wave of a quarter of a millisecond, as sparks make it
    sound[at : at + 12] += 0.6 * np.linspace(1.0, -1.0, 12, dtype=np.float32)
    soundfile.write(tmp_path / "crack.wav", sound, rate, subtype="FLOAT")
    report = process(
        clip,
        tmp_path / "out",
        *LOSSLESS,
        *("--catch", "both", "--sound", str(tmp_path / "crack.wav"), "--mic-distance", "1"),
    )
    (event,) = report["events"]
    assert event["cause"] == "both"
    # sound sharpens the time: below a frame period, and to the truth within its own error
    assert event["uncertainty_s"] < 1 / rec.RATE_HZ
    truth = (rec.FLASH_FRAME + 0.5) / rec.RATE_HZ
    assert event["time_s"] == pytest.approx(truth, abs=max(2e-3, 3 * event["uncertainty_s"]))
    with StoredEvent.open(tmp_path / "out" / event["folder"]) as kept:
        assert sum(len(block.samples) for block in kept.sound()) > rate


def test_json_on_standard_output_is_the_report(
    clip: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = process(clip, tmp_path, *LOSSLESS, "--catch", "off", "--json")
    out, err = capsys.readouterr()
    assert json.loads(out) == report
    assert err == ""


@pytest.mark.slow
def test_a_second_run_replaces_the_first(clip: Path, tmp_path: Path) -> None:
    process(clip, tmp_path, *LOSSLESS, "--contrast", "--catch", "off")
    process(clip, tmp_path, *LOSSLESS, "--catch", "off")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["frames.csv", "report.json"]


@pytest.mark.slow
def test_events_of_a_first_run_are_kept_until_told(clip: Path, tmp_path: Path) -> None:
    process(clip, tmp_path, *LOSSLESS)
    before = (tmp_path / "events" / "0001_flash" / "frames.mkv").read_bytes()
    report = process(clip, tmp_path, *LOSSLESS)
    assert any("events-earlier-1" in words for words in report["warnings"])
    assert (tmp_path / "events-earlier-1" / "0001_flash" / "frames.mkv").read_bytes() == before
    assert [event["folder"] for event in report["events"]] == ["events/0001_flash"]
    report = process(clip, tmp_path, *LOSSLESS, "--catch", "off", "--overwrite")
    assert report["events"] == []
    assert not list((tmp_path / "events").iterdir())


def test_one_frame_is_a_recording(tmp_path: Path) -> None:
    assert cv2.imwrite(str(tmp_path / "one.png"), rec.known().frames[40].astype(np.uint8))
    report = process(tmp_path / "one.png", tmp_path / "out", "--contrast")
    assert report["recording"]["frames"] == 1
    assert report["recording"]["rate_hz"] is None
    assert np.load(tmp_path / "out" / "contrast.npy").shape == (1, rec.HEIGHT, rec.WIDTH)


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: object) -> str:
    assert main(["process", *map(str, arguments)]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("liveview: ")
    assert err.count("\n") == 1
    return err


def bad_inputs(folder: Path, clip: Path) -> dict[str, Path]:
    whole = clip.read_bytes()
    (folder / "empty.mkv").write_bytes(b"")
    (folder / "text.mp4").write_text("once upon a time\n" * 50, encoding="utf-8")
    (folder / "head.mkv").write_bytes(whole[:200])
    (folder / "no-images").mkdir()
    soundfile.write(folder / "sound.wav", np.zeros(4800, np.float32), 48000)
    names = ("missing.mkv", "empty.mkv", "text.mp4", "head.mkv", "no-images", "sound.wav")
    return {name: folder / name for name in names}


@pytest.mark.parametrize(
    "name", ["missing.mkv", "empty.mkv", "text.mp4", "head.mkv", "no-images", "sound.wav"]
)
def test_what_cannot_be_read_is_3_and_one_line(
    name: str, clip: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bad_inputs(tmp_path, clip)[name]
    assert name in refused(capsys, 3, path, "--out", tmp_path / "out")


def test_a_cut_off_recording_gives_what_is_there(clip: Path, tmp_path: Path) -> None:
    (tmp_path / "cut.mkv").write_bytes(clip.read_bytes()[: clip.stat().st_size // 2])
    report = process(tmp_path / "cut.mkv", tmp_path / "out", "--transfer", "linear")
    assert 10 < report["recording"]["frames"] < rec.FRAMES
    assert report["warnings"]


def test_output_that_cannot_be_written_is_4(
    clip: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("", encoding="utf-8")
    assert "out" in refused(capsys, 4, clip, "--out", tmp_path / "out")
    (tmp_path / "there" / "frames.csv").mkdir(parents=True)
    assert "frames.csv" in refused(capsys, 4, clip, "--out", tmp_path / "there")


def test_a_full_disk_is_4(clip: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    (tmp_path / "report.json.part").symlink_to("/dev/full")
    assert "report.json" in refused(capsys, 4, clip, "--out", tmp_path, "--catch", "off")


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (["--dark", "90:91"], 2, "--dark"),
        (["--dark", "nowhere.png"], 3, "nowhere.png"),
        (["--sound", "nowhere.wav"], 3, "nowhere.wav"),
        (["--setup", "nowhere.toml"], 2, "nowhere.toml"),
        (["--lamp", "star"], 2, "--lamp"),
        (["--every", "none"], 2, "--every"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_wrong_options_name_themselves(
    options: list[str],
    code: int,
    words: str,
    clip: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert words in refused(capsys, code, clip, "--out", tmp_path / "out", *options)


def test_a_calibration_picture_of_another_size_is_refused(
    clip: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cv2.imwrite(str(tmp_path / "small.png"), np.zeros((16, 16), np.uint8))
    words = refused(capsys, 3, clip, "--out", tmp_path / "o", "--dark", tmp_path / "small.png")
    assert "16 x 16" in words


def test_without_a_rate_nothing_rests_on_one(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "s.tif", np.stack(rec.as_bytes(rec.known().frames)))
    report = process(tmp_path / "s.tif", tmp_path / "o", "--transfer", "linear", "--catch", "off")
    assert report["recording"]["rate_hz"] is None
    assert report["recording"]["seconds"] is None
    assert report["recording"]["frames"] == rec.FRAMES
    assert any("no times are given" in words for words in report["warnings"])


def test_deep_codes_are_doubted_where_nobody_stated_them(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "s.tif", np.stack(rec.known(bits=12).frames))
    options = ("--rate", str(rec.RATE_HZ), "--catch", "off")
    report = process(tmp_path / "s.tif", tmp_path / "o", *options)
    text = "\n".join(report["warnings"])
    assert "--white 4095" in text and "'srgb' was assumed" in text
    stated = ("--white", "4095", "--transfer", "linear")
    report = process(tmp_path / "s.tif", tmp_path / "o", *options, *stated)
    text = "\n".join(report["warnings"])
    assert "white" not in text and "assumed" not in text


def test_what_cannot_be_is_not_used(clip: Path, tmp_path: Path) -> None:
    options = ("--exposure", "5 s", "--rate", "12", "--catch", "off")
    report = process(clip, tmp_path / "o", *LOSSLESS, *options)
    text = "\n".join(report["warnings"])
    assert "exposure of 5 s" in text
    assert "--rate 12 was not used" in text
    assert report["blade"]["uncut"] is not None


def test_an_open_stretch_in_the_dark_reads_no_blade(clip: Path, tmp_path: Path) -> None:
    stretches = ("--dark", "0:0.3", "--open", "0.3:0.58", "--reference", "1.21:1.79")
    report = process(clip, tmp_path / "o", "--transfer", "linear", "--catch", "off", *stretches)
    assert report["blade"]["uncut"] is None
    assert report["calibration"]["open"] is None
    assert any("not brighter than the dark" in words for words in report["warnings"])
    assert all(row["uncut"] == row["cutoff_percent"] == "" for row in table(tmp_path / "o"))


def test_side_and_advice_need_a_stated_side(clip: Path, tmp_path: Path) -> None:
    options = (*LOSSLESS, "--catch", "off")
    blade = process(clip, tmp_path / "o", *options)["blade"]
    assert blade["side"] is None and blade["axial_advice"] is None
    assert blade["uncut"] == pytest.approx(rec.UNCUT, abs=0.01)  # rounding of codes
    blade = process(clip, tmp_path / "o", *options, "--blade-side", "left")["blade"]
    assert blade["side"] == "left" and blade["axial_advice"]


@pytest.mark.slow
def test_dates_are_those_of_the_recording(clip: Path, tmp_path: Path) -> None:
    report = process(clip, tmp_path / "o", *LOSSLESS)
    assert report["calibration"]["dark"]["taken_at"] is None
    with StoredEvent.open(tmp_path / "o" / report["events"][0]["folder"]) as kept:
        assert kept.start.started_at == ""
    dated = tmp_path / "dated.mkv"
    with av.open(str(clip)) as old, av.open(str(dated), "w") as new:
        new.metadata["creation_time"] = "2021-03-04T05:06:07Z"
        stream = new.add_stream_from_template(old.streams.video[0])
        for packet in old.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                new.mux(packet)
    report = process(dated, tmp_path / "d", *LOSSLESS)
    taken = datetime.fromisoformat(report["calibration"]["open"]["taken_at"])
    began = datetime(2021, 3, 4, 5, 6, 7, tzinfo=UTC)
    # whole seconds are written
    assert (taken - began).total_seconds() == pytest.approx(rec.STEPS["open"][0], abs=1.0)
    (event,) = report["events"]
    with StoredEvent.open(tmp_path / "d" / event["folder"]) as kept:
        at = datetime.fromisoformat(kept.start.started_at)
        assert (at - began).total_seconds() == pytest.approx(event["time_s"], abs=2e-3)
    again = process(tmp_path / "d" / event["folder"], tmp_path / "e", "--transfer", "linear")
    assert again["calibration"]["open"]["taken_at"] == report["calibration"]["open"]["taken_at"]


def test_advice_for_a_finished_recording_can_be_followed(clip: Path, tmp_path: Path) -> None:
    stretches = ("--dark", "0.01:0.59", "--reference", "0.61:1.19")
    report = process(clip, tmp_path, "--transfer", "linear", "--catch", "off", *stretches)
    (words,) = [words for words in report["warnings"] if "stale" in words]
    assert "--reference" in words
    assert "again" not in words and "-0.00" not in words


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_somebody_at_a_terminal_reads_where_the_report_is(clip: Path, tmp_path: Path) -> None:
    """On standard error: standard output stays what was asked for."""
    import pty

    ours, theirs = pty.openpty()
    command = [*PROGRAM, "process", str(clip), "--out", str(tmp_path / "out"), "--json"]
    done = subprocess.run(
        command, stdout=subprocess.PIPE, stderr=theirs, env=environment(), check=True, text=True
    )
    os.close(theirs)
    said = os.read(ours, 65536).decode()
    os.close(ours)
    assert str(tmp_path / "out" / "report.json") in said
    assert json.loads(done.stdout)["schema"] == 1
