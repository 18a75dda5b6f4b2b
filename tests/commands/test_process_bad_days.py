"""``liveview process`` when things go wrong: damaged files, Ctrl-C, odd names."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from support import known_recording as rec
from support.media import write_video
from support.mjpeg_server import MjpegServer

from liveview.cli import main


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("clip") / "clip.mkv"
    return write_video(
        path, rec.as_bytes(rec.known().frames)[:60], rate_hz=rec.RATE_HZ
    ).read_bytes()


def survives(data: bytes, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Processed with what is there, or refused in one line; nothing outside the folder."""
    (folder / "clip.mkv").write_bytes(data)
    before = {p.name for p in folder.iterdir()}
    code = main(["process", str(folder / "clip.mkv"), "--out", str(folder / "out")])
    err = capsys.readouterr().err
    if code == 0:
        report = json.loads((folder / "out" / "report.json").read_text(encoding="utf-8"))
        assert report["recording"]["frames"] > 0
    else:
        assert code == 3
        assert err.startswith("liveview: ") and err.count("\n") == 1
    assert {p.name for p in folder.iterdir()} <= before | {"out"}


@pytest.mark.parametrize("tenth", range(1, 10))
def test_cut_off_at_every_tenth(
    tenth: int, whole: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    survives(whole[: len(whole) * tenth // 10], tmp_path, capsys)


@pytest.mark.parametrize("seed", range(8))
def test_flipped_bits(
    seed: int, whole: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(seed)
    data = bytearray(whole)
    places = rng.integers(0, len(data) if seed % 2 else 400, 6)
    for place in places:
        data[place] ^= 1 << int(rng.integers(8))
    survives(bytes(data), tmp_path, capsys)


def test_a_recording_with_an_odd_name(whole: bytes, tmp_path: Path) -> None:
    clip = tmp_path / "-- näme [1] with 100%d.mkv"
    clip.write_bytes(whole)
    assert main(["process", str(clip), "--out", str(tmp_path / "o u t")]) == 0
    report = json.loads((tmp_path / "o u t" / "report.json").read_text(encoding="utf-8"))
    assert report["recording"]["address"] == str(clip)


def test_ctrl_c_keeps_what_was_read(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with MjpegServer(rec.as_bytes(rec.known().frames[40:50]), rate_hz=60) as server:
        command = [sys.executable, "-m", "liveview", "process", server.url, "--out", str(out)]
        process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        try:
            deadline = time.monotonic() + 60
            table = out / "frames.csv"
            while not (table.exists() and table.stat().st_size > 4096):
                assert time.monotonic() < deadline and process.poll() is None
                time.sleep(0.05)
            process.send_signal(signal.SIGINT)
            _, err = process.communicate(timeout=30)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
    assert process.returncode == 130
    assert "Traceback" not in err
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert any("ended by the keyboard" in words for words in report["warnings"])
    lines = table.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + report["recording"]["frames"]
