"""``liveview export`` from the outside: files, exit codes, one line for every error."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import numpy as np
import pytest
from support.program import running

from liveview.cli import main
from liveview.model import (
    Calibration,
    Cause,
    Disc,
    EventStart,
    Frame,
    FrameStamp,
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.recorder import Recorder
from liveview.settings import Settings, Store


class Lease:
    def __init__(self, frame: Frame) -> None:
        self.frame = frame

    def release(self) -> None:
        pass


@pytest.fixture(scope="module")
def event(tmp_path_factory: pytest.TempPathFactory) -> Path:
    source = SourceInfo(
        SourceKind.CAMERA, "bench", 96, 72, 1, 8, 255, True, 100.0, transfer="linear"
    )
    start = EventStart(
        Cause.HAND,
        Spotted(0.05, 0.0, Cause.HAND, 1.0, 5),
        source,
        None,
        Calibration(),
        Settings().to_mapping(),
        Disc(47.5, 35.5, 30.0),
        "2031-05-06T07:08:09+00:00",
    )
    folder = tmp_path_factory.mktemp("events")
    recorder = Recorder(Store(reserve_mb=0), folder=folder, when_full="wait")
    rng = np.random.default_rng(1)
    recorder.begin(start)
    for index in range(12):
        pixels = rng.integers(110, 130, (72, 96), dtype=np.uint8)
        recorder.add_frame(Lease(Frame(pixels, FrameStamp(index, index / 100), 255)))
    recorder.end(True)
    assert recorder.drain(30)
    recorder.close()
    return recorder.events[0].path


def test_the_usual_files(event, tmp_path, capsys) -> None:
    assert main(["export", str(event), "--out", str(tmp_path), "--caption", "a test"]) == 0
    names = {path.name for path in tmp_path.iterdir()}
    stem = event.name
    assert names == {
        f"{stem}.mp4",
        f"{stem}.png",
        f"{stem}_sheet.png",
        f"{stem}.csv",
        f"{stem}.csv.json",
    }
    assert capsys.readouterr().out.splitlines()[0] == str(tmp_path / f"{stem}.mp4")


@pytest.mark.slow
def test_every_kind_by_name(event, tmp_path) -> None:
    files = {
        "--clip": "c.webm",
        "--still": "s.png",
        "--sheet": "sheet.png",
        "--animation": "a.gif",
        "--stack": "k.tif",
        "--table": "t.csv",
    }
    words = ["export", str(event), "--rate", "1/10", "--from", "-20 ms", "--to", "0.04"]
    words += ["--view", "signed", "--gain", "0.2", "--shape", "tall", "--still-kind", "contrast"]
    for option, name in files.items():
        words += [option, str(tmp_path / name)]
    assert main(words) == 0
    assert {path.name for path in tmp_path.iterdir()} == {*files.values(), "t.csv.json"}


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ([], 2, "nothing to write"),
        (["--clip", "x.avi"], 2, "use .mp4"),
        (["--clip", "x.mp4", "--rate", "fast"], 2, "1/40"),
        (["--clip", "x.mp4", "--fps", "0"], 2, "--fps"),
        (["--clip", "x.mp4", "--from", "9"], 2, "no frame"),
        (["--still", "x.png", "--width", "3"], 2, "--width"),
        (["--still", "x.png", "--at", "soon"], 2, "--at"),
        (["--still", "x.png", "--at", "50"], 2, "--at 50: the event goes from"),
        (["--still", "x.png", "--at", "-50"], 2, "--at -50: the event goes from"),
        (["--still", "x.png", "--view", "rosy"], 2, "invalid choice"),
        (["--still", "x.png", "--gain", "-1"], 2, "gain"),
        (["--still", "x.png", "--setup", "none.toml"], 2, "none.toml"),
        (["--still", "file/x.png"], 4, "cannot be written"),
    ],
)
def test_wrong_requests(event, tmp_path, monkeypatch, capsys, words, code, says) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("")
    assert main(["export", str(event), *words]) == code
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and says in lines[0]
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_not_an_event(tmp_path, capsys) -> None:
    assert main(["export", str(tmp_path), "--out", str(tmp_path / "out")]) == 3
    assert "not an event folder" in capsys.readouterr().err


def test_two_events_into_one_file(event, tmp_path, capsys) -> None:
    assert main(["export", str(event), str(event), "--clip", str(tmp_path / "c.mp4")]) == 2
    assert "several events" in capsys.readouterr().err


@pytest.mark.slow
def test_ctrl_c_leaves_no_half_file(event, tmp_path) -> None:
    clip = ["--clip", str(tmp_path / "c.mp4"), "--rate", "1/10000", "--width", "1280"]
    with running("export", str(event), *clip) as process:
        while not list(tmp_path.glob(".c*")):
            assert process.poll() is None, process.stderr.read()
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "ended by the keyboard" in err
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_where_a_file_exists(event, tmp_path, capsys) -> None:
    (tmp_path / f"{event.name}.csv").write_text("mine", encoding="utf-8")
    assert main(["export", str(event), "--out", str(tmp_path)]) == 2
    assert "--overwrite" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == [f"{event.name}.csv"]
