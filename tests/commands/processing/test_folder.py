"""The output folder: what an earlier run left, who may write into it, and halves of files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from support.readings import reading

from liveview.commands.processing.folder import clear, earlier_events, held
from liveview.commands.processing.job import growing
from liveview.commands.processing.request import Request
from liveview.errors import OutputFailed
from liveview.model import SourceInfo, SourceKind
from liveview.settings import Settings


def an_event(folder: Path, name: str) -> Path:
    event = folder / "events" / name
    event.mkdir(parents=True)
    (event / "event.json").write_text("{}", encoding="utf-8")
    (event / "frames.mkv").write_bytes(b"frames")
    return event


def test_events_of_an_earlier_run_are_not_touched_unasked(tmp_path: Path) -> None:
    (tmp_path / "frames.csv").write_text("frame\n", encoding="utf-8")
    event = an_event(tmp_path, "0001_flash")
    (words,) = clear(tmp_path, ["clip.mkv"], overwrite=False)
    assert "events-earlier-1" in words
    assert not event.exists()
    assert (tmp_path / "events-earlier-1" / "0001_flash" / "frames.mkv").read_bytes() == b"frames"
    assert not (tmp_path / "frames.csv").exists()
    an_event(tmp_path, "0001_sound")
    (words,) = clear(tmp_path, ["clip.mkv"], overwrite=False)
    assert "events-earlier-2" in words
    assert (tmp_path / "events-earlier-2" / "0001_sound").exists()
    assert (tmp_path / "events-earlier-1" / "0001_flash").exists()
    assert clear(tmp_path, ["clip.mkv"], overwrite=False) == ()


def test_overwrite_removes_what_a_run_wrote_and_nothing_else(tmp_path: Path) -> None:
    for name in ("report.json", "frames.csv", "contrast.npy", "picture.mkv", "notes.txt"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    an_event(tmp_path, "0001_flash")
    an_event(tmp_path, "0002_both.part")
    an_event(tmp_path, "2024-05-01_flash_mine")
    (tmp_path / "events" / "0003_flash").mkdir()  # no event in it
    clear(tmp_path, ["clip.mkv"], overwrite=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["events", "notes.txt"]
    left = sorted(path.name for path in (tmp_path / "events").iterdir())
    assert left == ["0003_flash", "2024-05-01_flash_mine"]
    assert earlier_events(tmp_path) == []


@pytest.mark.parametrize("name", ["picture.mkv", "events/0001_flash", "events/0001_flash/dark.png"])
def test_what_is_to_be_read_is_never_removed(name: str, tmp_path: Path) -> None:
    (tmp_path / "picture.mkv").write_bytes(b"")
    (an_event(tmp_path, "0001_flash") / "dark.png").write_bytes(b"")
    with pytest.raises(OutputFailed, match="lies in it"):
        clear(tmp_path, ["x", str(tmp_path / name)], overwrite=True)
    assert (tmp_path / name).exists()


def test_a_recording_among_the_events_is_not_moved_while_it_is_read(tmp_path: Path) -> None:
    an_event(tmp_path, "0001_flash")
    mine = an_event(tmp_path, "2024-05-01_flash_mine")
    with pytest.raises(OutputFailed, match="lies in it"):
        clear(tmp_path, [str(mine)], overwrite=False)
    assert (mine / "frames.mkv").exists()


def test_two_runs_never_share_a_folder(tmp_path: Path) -> None:
    with held(tmp_path):
        with pytest.raises(OutputFailed, match="another 'liveview process'"), held(tmp_path):
            pass
        assert list(tmp_path.iterdir()), "the refused run took the hold of the first away"
    assert list(tmp_path.iterdir()) == []
    with held(tmp_path):
        pass


def test_no_half_of_a_file_is_left_on_a_full_disk(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    (tmp_path / "contrast.npy").symlink_to("/dev/full")
    info = SourceInfo(SourceKind.VIDEO, "x", 64, 48, 1, 8, 255, live=False, rate_hz=30.0)
    request = Request("x", tmp_path, Settings(), frozenset(), {}, contrast=True)
    many = np.zeros((480, 640), np.float32)  # more than the buffer of a file
    with (
        pytest.raises(OutputFailed, match=r"contrast\.npy.*half written was removed"),
        growing(request, info) as files,
    ):
        files.add(0, reading(), many)
    assert list(tmp_path.iterdir()) == []


def test_without_a_frame_no_file_is_made(tmp_path: Path) -> None:
    info = SourceInfo(SourceKind.VIDEO, "x", 64, 48, 1, 8, 255, live=False, rate_hz=30.0)
    request = Request("x", tmp_path, Settings(), frozenset(), {}, contrast=True, picture=True)
    with growing(request, info):
        pass
    assert list(tmp_path.iterdir()) == []
