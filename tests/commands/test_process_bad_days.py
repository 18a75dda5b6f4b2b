"""``liveview process`` when things go wrong: damaged files, Ctrl-C, odd names."""

from __future__ import annotations

import json
import signal
import struct
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from support import known_recording as rec
from support.media import write_video
from support.mjpeg_server import MjpegServer
from support.program import running

from liveview.cli import main
from liveview.imaging.cv import cv2


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


@pytest.mark.slow
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


@pytest.mark.slow
def test_ctrl_c_keeps_what_was_read(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with (
        MjpegServer(rec.as_bytes(rec.known().frames[40:50]), rate_hz=60) as server,
        running("process", server.url, "--out", str(out)) as process,
    ):
        deadline = time.monotonic() + 60
        table = out / "frames.csv"
        while not (table.exists() and table.stat().st_size > 4096):
            assert time.monotonic() < deadline
            assert process.poll() is None, process.stderr.read()
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err.startswith("liveview: ended by the keyboard") and err.count("\n") == 1
    assert str(out) in err
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert any("ended by the keyboard" in words for words in report["warnings"])
    lines = table.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + report["recording"]["frames"]


def pgm(width: int, height: int) -> bytes:
    return f"P5\n{width} {height}\n255\n".encode() + bytes(64)


def png(width: int, height: int) -> bytes:
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    return b"\x89PNG\r\n\x1a\n" + body


def bmp(width: int, height: int) -> bytes:
    info = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
    return b"BM" + struct.pack("<IHHI", 64 + 54, 0, 0, 54) + info + bytes(64)


def jpeg_of(width: int, height: int) -> bytes:
    done, data = cv2.imencode(".jpg", np.zeros((16, 16), np.uint8))
    assert done
    raw = bytearray(data.tobytes())
    at = raw.index(b"\xff\xc0") + 5
    raw[at : at + 4] = struct.pack(">HH", min(height, 65535), min(width, 65535))
    return bytes(raw)


@pytest.mark.parametrize("make", [pgm, png, bmp, jpeg_of])
@pytest.mark.parametrize("size", [(60_000, 60_000), (2_000_000_000, 2), (0, 0)])
def test_senseless_sizes_in_headers(
    make: Callable[[int, int], bytes],
    size: tuple[int, int],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    endings = {pgm: ".pgm", png: ".png", bmp: ".bmp", jpeg_of: ".jpg"}
    picture = (tmp_path / "a").with_suffix(endings[make])
    picture.write_bytes(make(*size))
    assert main(["process", str(picture), "--out", str(tmp_path / "out")]) == 3
    err = capsys.readouterr().err
    assert err.startswith("liveview: ") and err.count("\n") == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["../../{cause}{number}", "/{number}", "C:\\\\x{number}", "CON", "..", "a\\u0000b", "~"]
)
def test_no_name_of_an_event_leaves_the_output_folder(
    name: str, whole: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "clip.mkv").write_bytes(whole)
    (inner / "setup.toml").write_text(
        f'[store]\nname = "{name}"\n[catch]\nafter_frames = 20\npre_trigger = 0.1\n'
        "post_trigger = 0.1\n",
        encoding="utf-8",
    )
    command = ["process", str(inner / "clip.mkv"), "--setup", str(inner / "setup.toml")]
    assert main([*command, "--out", str(inner / "out")]) == 0, capsys.readouterr().err
    events = [path for path in (inner / "out" / "events").iterdir() if path.is_dir()]
    assert events
    assert (events[0] / "event.json").is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"inner"}
    assert {path.name for path in inner.iterdir()} == {"clip.mkv", "setup.toml", "out"}


@pytest.mark.slow
def test_ctrl_c_before_the_first_frame_leaves_nothing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with (
        MjpegServer(rec.as_bytes(rec.known().frames[40:50]), rate_hz=0.2) as server,
        running("process", server.url, "--out", str(out)) as process,
    ):
        deadline = time.monotonic() + 60
        while not out.exists():
            assert time.monotonic() < deadline
            assert process.poll() is None, process.stderr.read()
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err == "liveview: ended by the keyboard\n"
    assert list(out.iterdir()) == []


def test_a_sound_that_fails_leaves_no_empty_table(
    whole: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "clip.mkv").write_bytes(whole)
    (tmp_path / "bad.wav").write_bytes(b"no sound")
    command = ["process", str(tmp_path / "clip.mkv"), "--sound", str(tmp_path / "bad.wav")]
    assert main([*command, "--out", str(tmp_path / "out")]) == 3
    assert "bad.wav" in capsys.readouterr().err
    assert list((tmp_path / "out").iterdir()) == []
