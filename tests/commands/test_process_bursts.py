"""A coil's bursts from the simulated rig through ``process``: one event, its sparks marked."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from liveview.cli import main
from liveview.recorder import StoredEvent
from liveview.shipped import shipped_folder

PERIOD_S = 1 / 60


def burst(folder: Path, rate: int, how: str) -> tuple[dict[str, Any], dict[str, Any], Path]:
    """Truth and report of a second of sparks at so many a second; the recording ends among them."""
    text = (shipped_folder("configs") / "scenes" / "break-rate.toml").read_text(encoding="utf-8")
    scene = folder / "coil.toml"
    assert "rate = 8\n" in text
    scene.write_text(
        text.replace("rate = 8\n", f"rate = {rate}\n").replace("seconds = 9", "seconds = 4.5"),
        encoding="utf-8",
    )
    made, out = folder / "made", folder / "out"
    size = ("--size", "320x180", "--rate", "60")
    assert main(["simulate", str(scene), "--out", str(made), *size]) == 0
    setup = ("--setup", str(made / "setup.toml"), "--mic-distance", "1.2")
    recording = str(made / "recording.mkv")
    assert main(["process", recording, "--out", str(out), *setup, "--catch", how]) == 0
    truth = json.loads((made / "truth.json").read_text(encoding="utf-8"))
    return truth, json.loads((out / "report.json").read_text(encoding="utf-8")), out


@pytest.mark.slow
@pytest.mark.parametrize("how", ["flash", "either"])
@pytest.mark.parametrize(("rate", "least"), [(8, 0.8), (40, 0.65)])
def test_a_burst_is_one_event_with_its_sparks_marked(
    tmp_path: Path, rate: int, least: float, how: str
) -> None:
    """At 40 a second each third frame is lit in much the same rows; some pass for flicker."""
    truth, report, out = burst(tmp_path, rate, how)
    lit = {row["frame"] for spark in truth["sparks"] for row in spark["rows"]}
    first = min(spark["time_s"] for spark in truth["sparks"] if spark["rows"])
    spots = report["events"]
    assert {spot["folder"] for spot in spots} == {spots[0]["folder"]}
    assert spots[0]["time_s"] == pytest.approx(first, abs=PERIOD_S)
    flashes = {spot["frame"] for spot in spots if spot["cause"] != "sound"}
    assert len(flashes & lit) >= least * len(lit)
    assert len(flashes - lit) <= 0.02 * len(lit)
    with StoredEvent.open(out / spots[0]["folder"]) as event:
        assert sum(event.lost_before) == 0
        assert len(event.spotted) == len(spots)
