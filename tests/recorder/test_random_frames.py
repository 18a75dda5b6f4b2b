"""Opening a recording whose file goes away, or is none, leaves nothing open and says why."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from liveview.errors import InputUnreadable
from liveview.recorder import StoredEvent, matroska
from liveview.recorder.files import Room
from liveview.recorder.matroska import EventFile, RandomFrames, SoundForm
from liveview.recorder.spool import SpoolWriter
from liveview.recorder.unspool import SpoolReader

HANDLES = Path("/proc/self/fd")

pytestmark = pytest.mark.skipif(not HANDLES.is_dir(), reason="needs a list of open files")


def open_below(folder: Path) -> list[str]:
    """Files below ``folder`` that this process holds open, moved or removed ones too."""
    targets = []
    for handle in HANDLES.iterdir():
        try:
            targets.append(str(handle.readlink()))
        except FileNotFoundError:  # the one that lists them
            continue
    return [target for target in targets if target.startswith(str(folder))]


@pytest.mark.slow
def test_a_file_moved_away_after_it_was_opened_is_read_on(kit, tmp_path, monkeypatch) -> None:
    made = kit.make()
    path = kit.record(made) / "frames.mkv"
    opened = matroska._open

    def and_then_moved(where: Path) -> object:
        file = opened(where)
        where.rename(tmp_path / "in_the_bin.mkv")
        return file

    monkeypatch.setattr(matroska, "_open", and_then_moved)
    frames = RandomFrames(path, None)
    try:
        np.testing.assert_array_equal(frames.pixels(3), made.frames[3].pixels)
    finally:
        frames.close()
    assert open_below(tmp_path) == []


@pytest.mark.slow
def test_a_file_removed_while_it_is_opened_is_said(kit, tmp_path, monkeypatch) -> None:
    path = kit.record(kit.make()) / "frames.mkv"
    opened = Path.open

    def and_then_removed(where: Path, *arguments: object) -> object:
        file = opened(where, *arguments)
        where.unlink()
        return file

    monkeypatch.setattr(Path, "open", and_then_removed)
    with pytest.raises(InputUnreadable, match="cannot read the recording"):
        RandomFrames(path, None)
    assert open_below(tmp_path) == []


def test_a_file_that_is_not_there_is_said(tmp_path) -> None:
    with pytest.raises(InputUnreadable, match="No such file"):
        RandomFrames(tmp_path / "frames.mkv", None)


def test_a_recording_without_pictures_is_said(kit, tmp_path) -> None:
    path = tmp_path / "frames.mkv"
    file = EventFile(path, kit.make(1).start.source, None, SoundForm(48000, 1, 16), rate_hz=None)
    file.add_sound(np.zeros((4800, 1), np.float32), 0)
    file.finish()
    with pytest.raises(InputUnreadable, match="holds no pictures"):
        RandomFrames(path, None)
    assert open_below(tmp_path) == []


def test_a_spool_that_cannot_be_read_leaves_nothing_open(kit, tmp_path, monkeypatch) -> None:
    made, part = kit.make(), tmp_path / "left.part"
    part.mkdir()
    with closing(SpoolWriter(part, made.start, Room(tmp_path, 0))) as writer:
        for frame in made.frames:
            writer.add_frame(frame)
        writer.end(True, 0)
    with StoredEvent.open(part) as event:
        assert event.raw and open_below(part)

    def fails(reader: SpoolReader) -> list[object]:
        raise OSError(5, "the disk does not answer")

    monkeypatch.setattr(SpoolReader, "_marks", fails)
    with pytest.raises(InputUnreadable, match="does not answer"):
        StoredEvent.open(part)
    assert open_below(tmp_path) == []
