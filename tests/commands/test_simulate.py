"""``liveview simulate``: real files, read back and measured."""

from __future__ import annotations

import csv
import errno
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import load_scene
from liveview.cli import main
from liveview.recorder.matroska import EventFile
from liveview.settings import load_settings

SCENE = """
title = "small bench"
seconds = 0.6
[sensor]
width = 96
height = 64
rate = 50
exposure = "4 ms"
[prelude]
dark = 0.1
open = 0.1
reference = 0.1
[flows.candle]
on = true
[flows.spark]
on = true
first = 0.4
rate = 5
count = 1
[microphone]
noise = 0.001
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scene") / "small.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def made(scene: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "deep" / "er"
    assert main(["simulate", str(scene), "--out", str(out), "--seed", "5"]) == 0
    return out


def frames(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as file:
        return [frame.to_ndarray() for frame in file.decode(video=0)]


def truth(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return data


def test_the_file_holds_the_rendered_frames_bit_for_bit(made: Path, scene: Path) -> None:
    stored = frames(made / "recording.mkv")
    assert len(stored) == 30
    which = load_scene(str(scene))
    rig = SimulatedRig(which, 5, exact=True)
    for step in which.all_steps():
        rig.knobs.turn(step.knob, step.value, step.at_s, step.over_s)
    out = np.empty((64, 96), np.uint8)
    for number in (0, 7, 12, 29):
        rig.render(number, out)
        assert np.array_equal(stored[number], out)


def test_exact_times_stand_beside_it(made: Path) -> None:
    with (made / "times.csv").open(encoding="ascii") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["time_ns"]) for row in rows] == [round(n * 2e7) for n in range(30)]


def test_other_programs_find_the_frame_rate(made: Path) -> None:
    with av.open(str(made / "recording.mkv")) as file:
        assert file.streams.video[0].average_rate == 50


def test_the_sound_track_has_the_crack_where_the_truth_says(made: Path) -> None:
    with av.open(str(made / "recording.mkv")) as file:
        assert file.streams.audio[0].codec_context.name == "flac"
        runs = [frame.to_ndarray().ravel() for frame in file.decode(audio=0)]
    sound = np.concatenate(runs).astype(np.float64) / 2**31
    assert len(sound) == round(0.6 * 48000)
    first = int(np.argmax(np.abs(sound) > 0.05))
    heard = truth(made)["sparks"][0]["heard_s"]
    assert first / 48000 == pytest.approx(heard, abs=2 / 48000)


def test_truth_names_the_stretches_and_the_rows_lit(made: Path) -> None:
    told = truth(made)
    assert told["stretches"]["dark"] == [[0.0, pytest.approx(0.1)]]
    assert told["stretches"]["open"] == [[pytest.approx(0.1), pytest.approx(0.2)]]
    assert told["stretches"]["quiet"][0] == [pytest.approx(0.2), pytest.approx(0.3, abs=0.021)]
    stored = frames(made / "recording.mkv")
    spark = told["sparks"][0]
    assert spark["time_s"] == pytest.approx(0.4)
    edge = slice(0, 10)
    for rows in spark["rows"]:
        light = stored[rows["frame"]][:, edge].astype(float).mean(axis=1)
        before = stored[rows["frame"] - 2][:, edge].astype(float).mean()
        lit = np.flatnonzero(light > before + 20)
        # Rows that got less than a tenth of the flash are too faint for this.
        assert abs(int(lit[0]) - rows["first"]) <= 1
        assert abs(int(lit[-1]) - rows["last"]) <= 1


def test_truth_per_frame(made: Path) -> None:
    with np.load(made / "truth.npz") as data:
        assert data["uncut"][-1] == pytest.approx(0.5, abs=1e-3)
        assert data["uncut"][7] == 1.0
        assert data["lens_capped"].sum() == 5
        assert len(data["time_s"]) == 30
        count, rows, columns = data["deflection_rad"].shape
        assert (count, len(data["grid_y_px"]), len(data["grid_x_px"])) == (8, rows, columns)
        assert np.abs(data["deflection_rad"][-1]).max() > 1e-5
        assert not data["deflection_rad"][0].any()


def test_the_setup_opens_as_settings(made: Path) -> None:
    settings = load_settings(made / "setup.toml")
    assert settings.camera.row_time_s == pytest.approx(0.72 / 50 / 64)
    assert settings.camera.exposure_s == pytest.approx(0.004)


@pytest.mark.slow
def test_same_seed_same_bytes_other_seed_others(made: Path, scene: Path, tmp_path: Path) -> None:
    def digest(folder: Path) -> list[str]:
        names = ("recording.mkv", "times.csv", "truth.json", "setup.toml")
        return [hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in names]

    for name, seed in (("same", "5"), ("other", "6")):
        main(["simulate", str(scene), "--out", str(tmp_path / name), "--seed", seed])
    assert digest(tmp_path / "same") == digest(made)
    assert digest(tmp_path / "other")[0] != digest(made)[0]


@pytest.mark.parametrize(("bits", "form"), [("12", "gray12le"), ("16", "gray16le")])
def test_deep_pictures_rates_and_sizes(scene: Path, tmp_path: Path, bits: str, form: str) -> None:
    options = ["--bits", bits, "--rate", "1000 Hz", "--seconds", "4 ms", "--size", "65x33"]
    options += ["--shutter", "global", "--transfer", "linear", "--no-sound", "--quick"]
    assert main(["simulate", str(scene), "--out", str(tmp_path), *options]) == 0
    with av.open(str(tmp_path / "recording.mkv")) as file:
        assert not file.streams.audio
        stream = file.streams.video[0]
        assert (stream.width, stream.height, stream.codec_context.pix_fmt) == (65, 33, form)
    assert truth(tmp_path)["recording"]["row_time_s"] == 0.0
    assert truth(tmp_path)["recording"]["white"] == 2 ** int(bits) - 1


def test_a_recording_is_never_overwritten(
    made: Path, scene: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (made / "recording.mkv").read_bytes()
    assert main(["simulate", str(scene), "--out", str(made)]) == 4
    assert "already holds" in capsys.readouterr().err
    assert (made / "recording.mkv").read_bytes() == before


def test_a_folder_that_cannot_be_made(
    scene: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("x", encoding="ascii")
    assert main(["simulate", str(scene), "--out", str(tmp_path / "file" / "in")]) == 4
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(
    "options",
    [
        ["nowhere", "--out", "x"],
        ["candle"],
        ["--out", "x"],
        ["candle", "--out", "x", "--bits", "9"],
        ["candle", "--out", "x", "--size", "big"],
        ["candle", "--out", "x", "--size", "99999x2"],
        ["candle", "--out", "x", "--rate", "0"],
        ["candle", "--out", "x", "--seconds", "-1"],
        ["candle", "--out", "x", "--seconds", "soon"],
        ["candle", "--out", "x", "--seed", "1.5"],
        ["candle", "--out", "x", "--shutter", "leaf"],
        ["candle", "--out", "x", "--transfer", "log"],
    ],
)
def test_bad_arguments_are_one_line_and_leave_nothing(
    options: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["simulate", *options]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_scenes_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "--scenes"]) == 0
    listed = capsys.readouterr().out
    assert "candle" in listed
    assert "workshop" in listed


def test_the_size_is_said_before(
    scene: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["simulate", str(scene), "--out", str(tmp_path)]) == 0
    assert capsys.readouterr().err.splitlines()[0] == "30 frames, about 1 MB"


def test_what_no_disk_has_room_for_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # a day of 1280 x 720 at 1 kHz and 16 bits: some 120 TB, more than tests have room for
    out = tmp_path / "out"
    words = ["--seconds", "86400", "--rate", "1000", "--bits", "16", "--exposure", "0.5 ms"]
    assert main(["simulate", "candle", *words, "--out", str(out)]) == 4
    err = capsys.readouterr().err
    assert "86400000 frames take about" in err and "are free" in err
    assert err.count("\n") == 1
    assert not out.exists()


class Stops:
    """A file that is stopped after some frames."""

    def __init__(self, error: BaseException) -> None:
        self.error, self.left = error, 5

    def __call__(self, real: Callable[..., None]) -> Callable[..., None]:
        def add_frame(file: object, *arguments: object) -> None:
            self.left -= 1
            if self.left < 0:
                raise self.error
            real(file, *arguments)

        return add_frame


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (KeyboardInterrupt(), 130, "ended by the keyboard; the unfinished recording was removed"),
        (OSError(errno.ENOSPC, "No space left on device"), 4, "No space left on device"),
    ],
)
def test_no_half_recording_is_left(
    error: BaseException,
    code: int,
    words: str,
    scene: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(EventFile, "add_frame", Stops(error)(EventFile.add_frame))
    assert main(["simulate", str(scene), "--out", str(tmp_path)]) == code
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
