"""``liveview check`` and ``liveview list``: every line true on this machine, each with a remedy."""

from __future__ import annotations

import getpass
import json
import socket
from pathlib import Path

import pytest

from liveview.cli import main
from liveview.commands import checking
from liveview.commands.checking import Wanted
from liveview.commands.listing import show
from liveview.sources.listing import Answer

SMALL = Wanted(30.0, 320, 240)


@pytest.fixture(scope="module")
def findings(tmp_path_factory: pytest.TempPathFactory) -> list[checking.Finding]:
    folder = tmp_path_factory.mktemp("events")
    return list(checking.all_findings(Wanted(30.0, 320, 240, folder)))


def test_every_part_is_looked_at_once(findings: list[checking.Finding]) -> None:
    assert [finding.topic for finding in findings] == [
        "machine",
        "libraries",
        "coder",
        "display",
        "cameras",
        "industrial",
        "sound",
        "disk",
        "chain",
        "memory",
    ]


def test_what_is_not_well_has_a_remedy(findings: list[checking.Finding]) -> None:
    for finding in findings:
        assert finding.words
        assert finding.state == "ok" or finding.remedy, finding


def test_here_the_program_can_run(findings: list[checking.Finding]) -> None:
    by_topic = {finding.topic: finding for finding in findings}
    assert by_topic["coder"].state == "ok"
    assert by_topic["libraries"].state in ("ok", "weak")
    assert all(finding.state != "missing" for finding in findings)


def test_nothing_personal_is_told(findings: list[checking.Finding]) -> None:
    text = " ".join(f"{f.words} {f.remedy}" for f in findings)
    assert str(Path.home()) not in text
    assert socket.gethostname() not in text
    if getpass.getuser() != "root":
        assert getpass.getuser() not in text.split()


def test_a_missing_library_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checking, "NEEDED", {"json": "json", "no_such_module": "opencv-python"})
    found = checking.libraries()
    assert found.state == "missing"
    assert "opencv-python" in found.words
    assert "libgl1" in found.remedy


def test_without_the_sound_library_it_is_only_weak(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checking, "NEEDED", {"no_such_module": "sounddevice"})
    found = checking.libraries()
    assert found.state == "weak"
    assert "no microphone" in found.words


def test_no_display_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    found = checking.display()
    assert found.state == "weak"
    assert "process" in found.words


def test_a_display_is_found(display: str) -> None:
    assert checking.display().state == "ok"


def test_a_folder_that_cannot_be_written_is_weak(tmp_path: Path) -> None:
    if not Path("/proc/self").is_dir():
        pytest.skip("this system has no /proc, a folder nobody can write")
    found = checking.disk_speed(Wanted(30.0, 320, 240, Path("/proc/self/events")))
    assert found.state == "weak"
    assert found.remedy


@pytest.mark.slow
def test_an_impossible_rate_is_weak() -> None:
    found = checking.frame_budget(Wanted(1e6, 320, 240))
    assert found.state == "weak"
    assert checking.memory(Wanted(1e6, 1280, 720)).state == "weak"


@pytest.mark.slow
def test_as_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    arguments = ["check", "--json", "--size", "320x240", "--rate", "30", "--folder", str(tmp_path)]
    assert main(arguments) == 0
    told = json.loads(capsys.readouterr().out)
    assert {tuple(one) for one in told} == {("topic", "state", "words", "remedy")}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options", [["--size", "wide"], ["--size", "8x8"], ["--rate", "0"], ["--rate", "often"]]
)
def test_wrong_options_are_2(options: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", *options]) == 2
    assert options[0] in capsys.readouterr().err


def test_list_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["list", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"cameras", "microphones"}


def test_list_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["list"]) == 0
    out = capsys.readouterr().out
    assert "Cameras\n" in out and "Microphones\n" in out


def test_list_tells_who_answers_and_who_does_not(capsys: pytest.CaptureFixture[str]) -> None:
    there = Answer("camera:0", "Bench camera", True, "1280 x 720")
    silent = Answer("camera:Other", "Other", False, "is in use by another program")
    show("Cameras", (there, silent), "plug one in")
    assert capsys.readouterr().out.splitlines() == [
        "Cameras",
        "  answers  camera:0  Bench camera: 1280 x 720",
        "  silent   camera:Other: is in use by another program",
    ]
    show("Cameras", (), "plug one in")
    assert "none; plug one in" in capsys.readouterr().out
