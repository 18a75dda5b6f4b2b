"""``process`` without calibration options: the recording's own stretches are found and told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support import known_recording as rec
from support.media import write_video

from liveview.cli import main


def run(clip: Path, out: Path, *options: str) -> dict:
    assert main(["process", str(clip), "--out", str(out), "--transfer", "linear", *options]) == 0
    return json.loads((out / "report.json").read_text(encoding="utf-8"))


def told(report: dict) -> str:
    return " ".join(w for w in report["warnings"] if "found in the recording" in w)


@pytest.mark.slow
def test_found_and_as_good_as_named(tmp_path: Path) -> None:
    clip = write_video(tmp_path / "clip.mkv", rec.as_bytes(rec.known().frames), rate_hz=rec.RATE_HZ)
    found = run(clip, tmp_path / "found")
    words = told(found)
    assert "dark" in words and "open" in words and "reference" in words
    assert found["calibration"]["dark"]["frames"] >= 12
    # Codes are rounded to 1/255 of light, averaged over the disc: well below 0.01.
    assert found["blade"]["uncut"] == pytest.approx(rec.UNCUT, abs=0.01)
    named = run(clip, tmp_path / "named", *rec.STRETCHES)
    assert told(named) == ""
    assert found["blade"]["uncut"] == pytest.approx(named["blade"]["uncut"], abs=2e-3)
    assert [e["frame"] for e in found["events"]] == [e["frame"] for e in named["events"]]


@pytest.mark.slow
def test_none_there_none_told(tmp_path: Path) -> None:
    frames = rec.as_bytes(rec.known().frames)[rec.frame_at("reference") :]
    clip = write_video(tmp_path / "clip.mkv", frames, rate_hz=rec.RATE_HZ)
    report = run(clip, tmp_path / "out")
    assert told(report) == ""
    assert report["blade"]["uncut"] is None
    assert report["calibration"]["dark"] is None
