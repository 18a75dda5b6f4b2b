"""What a crash leaves is recovered, to the last written frame, and only once."""

from __future__ import annotations

import importlib.util
import random
import shutil
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import psutil
import pytest
from support.fault_table import Fault

from liveview.errors import InputUnreadable
from liveview.recorder import Recorder, StoredEvent, recover
from liveview.recorder.convert import finish_part
from liveview.recorder.files import Lock, Room
from liveview.recorder.recovery import leftovers
from liveview.recorder.spool import SPOOL, SpoolWriter
from liveview.recorder.unspool import SpoolReader

KILLED = Path(__file__).with_name("killed.py")


def load_killed():
    spec = importlib.util.spec_from_file_location("killed", KILLED)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def spool(kit, made, *, complete: bool | None = True, room: int = 10) -> Path:
    """A spool written directly; ``complete=None`` leaves it without its end mark."""
    kit.folder.mkdir(exist_ok=True)
    part = kit.folder / "left.part"
    part.mkdir()
    writer = SpoolWriter(part, made.start, Room(part, 0))
    for frame in made.frames:
        writer.add_frame(frame)
    for block in made.blocks:
        writer.add_sound(block)
    if complete is None:
        writer.close()
    else:
        writer.end(complete, 0)
    return part


def run_and_kill(folder: Path, after_s: float) -> dict[int, int]:
    """Start the program, kill it, return how many frames of each event it knew to be written."""
    process = subprocess.Popen([sys.executable, str(KILLED), str(folder)], stdout=subprocess.PIPE)
    assert process.stdout is not None
    with process.stdout as out:
        assert out.readline() == b"ready\n"
        time.sleep(after_s)
        program = psutil.Process(process.pid)
        program.suspend()
        beside = program.children()
        process.kill()
        lines = out.read().decode().splitlines()
    process.wait(10)
    # What compresses beside it lets go of its event after the frame it is at.
    assert not psutil.wait_procs(beside, 60)[1]
    written: dict[int, int] = {}
    for line in lines:
        event, number = map(int, line.split())
        written[event] = number + 1
    return written


def check_killed(folder: Path, after_s: float) -> None:
    killed = load_killed()
    written = run_and_kill(folder, after_s)
    recovered = recover(folder)
    assert all(r.path is not None or "held nothing" in r.words for r in recovered), recovered
    assert not leftovers(folder)
    found = {}
    # The program makes the folder with its first event: killed before that, there is none.
    for path in sorted(folder.iterdir()) if folder.exists() else []:
        with StoredEvent.open(path) as event:
            number = round(event.start.spotted.time_s / 10)
            found[number] = len(event)
            assert event.complete == (len(event) == killed.FRAMES) or event.data["recovered"]
            for index in range(len(event)):
                np.testing.assert_array_equal(
                    event.frame(index).pixels, killed.picture(number, index)
                )
            for index, block in enumerate(event.sound()):
                assert np.all(block.samples == index / 128)
    for number, frames in written.items():
        assert found.get(number, 0) >= frames, (number, found, written)
    assert recover(folder) == ()


@pytest.mark.slow
@pytest.mark.parametrize("after_s", [0.0, 0.07, 0.3])
def test_killed_while_recording(tmp_path, after_s) -> None:
    check_killed(tmp_path, after_s)


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_killed_at_twenty_random_moments(tmp_path) -> None:
    rng = random.Random(20310506)
    moments = [rng.uniform(0.0, 1.2) for _ in range(20)]
    with ThreadPoolExecutor(4) as several:  # each spends its time waiting for its program
        done = [
            several.submit(check_killed, tmp_path / str(number), after_s)
            for number, after_s in enumerate(moments)
        ]
    for one in done:
        one.result()


@pytest.mark.fault(
    "the program is killed during an event",
    says="(nothing)",
    then="finished at the next start from the raw spool, marked incomplete, bit for bit",
)
def test_without_end_mark_it_is_incomplete(kit, fault: Fault) -> None:
    made = kit.make()
    spool(kit, made, complete=None)
    (done,) = recover(kit.folder)
    assert done.path == kit.folder / "left"
    with StoredEvent.open(done.path) as event:
        kit.assert_same(event, made)
        assert not event.complete and event.data["recovered"]
    assert recover(kit.folder) == ()


def test_nothing_is_overwritten(kit) -> None:
    kit.folder.mkdir(exist_ok=True)
    (kit.folder / "left").mkdir()
    (kit.folder / "left" / "mine.txt").write_text("keep")
    spool(kit, kit.make())
    (done,) = recover(kit.folder)
    assert done.path is not None and done.path.name == "left_2"
    assert (kit.folder / "left" / "mine.txt").read_text() == "keep"


def test_a_held_event_is_left_alone(kit) -> None:
    part = spool(kit, kit.make(), complete=None)
    lock = Lock(part / "lock")
    (held,) = recover(kit.folder)
    assert held.path is None and "in use" in held.words
    lock.release()
    (done,) = recover(kit.folder)
    assert done.path is not None


@pytest.mark.slow
@pytest.mark.fault(
    "another program catches into the same folder of events",
    says="is in use by another program",
    then="each leaves the other's unfinished events alone",
)
def test_an_event_being_caught_is_left_alone(kit, fault: Fault) -> None:
    made = kit.make()
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        recorder.begin(made.start)
        for lease in made.leases:
            recorder.add_frame(lease)
        while recorder.status().waiting_frames:
            time.sleep(0.01)
        (held,) = recover(kit.folder)
        assert held.path is None and fault.says in held.words
        with StoredEvent.open(held.part) as event:
            assert event.raw and len(event) == len(made.frames)
        recorder.end(True)
        assert recorder.drain(20)
    finally:
        recorder.close()


@pytest.mark.parametrize("cut", [1, 30, 52, 53, 500])
def test_torn_records_and_pixels_end_the_event_there(kit, cut) -> None:
    made = kit.make()
    part = spool(kit, made, complete=None)
    index = part / SPOOL / "frames.idx"
    index.write_bytes(index.read_bytes()[:-cut])
    reader = SpoolReader(part)
    whole = (12 * 48 - cut) // 48
    assert len(reader.stamps) == max(0, whole)
    reader.close()


def test_pixels_lost_in_a_power_cut_are_left_out_and_counted(kit) -> None:
    made = kit.make()
    part = spool(kit, made)
    raw = part / SPOOL / "frames.raw"
    data = bytearray(raw.read_bytes())
    size = made.frames[0].pixels.nbytes
    data[7 * size + 50 : 7 * size + 90] = bytes(40)
    raw.write_bytes(data[: 11 * size + 5])
    (done,) = recover(kit.folder)
    assert done.path is not None
    with StoredEvent.open(done.path) as event:
        assert [f.number for f in event.frames()] == [
            f.number for i, f in enumerate(made.frames) if i not in (7, 11)
        ]
        assert not event.complete
        assert event.data["lost"]["damaged_frames"] == 1
    assert event.lost_before[7] == 1


@pytest.mark.parametrize("moment", ["half a file", "described", "spool half gone"])
def test_an_interrupted_conversion_is_finished_or_begun_anew(kit, moment) -> None:
    made = kit.make()
    part = spool(kit, made)
    if moment == "half a file":
        (part / "frames.mkv").write_bytes(b"\x1a\x45\xdf\xa3 half")
        (part / "times.csv.new").write_text("index")
    else:
        keep = kit.folder / "copy.part"
        shutil.copytree(part, keep)
        done = finish_part(keep)
        for entry in done.iterdir():
            shutil.copy(entry, part)
        shutil.rmtree(done)
    if moment == "spool half gone":
        (part / SPOOL / "frames.raw").unlink()
    (again,) = recover(kit.folder)
    assert again.path is not None, again.words
    with StoredEvent.open(again.path) as event:
        kit.assert_same(event, made)
        assert event.complete
    assert not list(again.path.glob("*.new"))


def test_an_event_without_anything_is_removed_and_foreign_folders_are_not(kit) -> None:
    spool(kit, kit.make(0, blocks=0), complete=None)
    other = kit.folder / "other.part"
    other.mkdir()
    (other / "film.txt").write_text("somebody's download")
    (only,) = recover(kit.folder)
    assert only.path is None and "held nothing" in only.words
    assert [entry.name for entry in kit.folder.iterdir()] == ["other.part"]


@pytest.mark.fault(
    "an unfinished event whose description is damaged",
    says="kept as it is",
    then="nothing of it is deleted; others are finished",
)
def test_a_damaged_description_is_said_and_kept(kit, fault: Fault) -> None:
    part = spool(kit, kit.make())
    (part / SPOOL / "start.json").write_text("{ half")
    (kept,) = recover(kit.folder)
    assert kept.path is None and "description" in kept.words and fault.says in kept.words
    assert (part / SPOOL / "frames.raw").stat().st_size > 0


def test_a_strange_description_does_not_stop_the_others(kit) -> None:
    part = spool(kit, kit.make())
    (part / SPOOL / "start.json").write_text('{"schema": 1, "calibration": 7}')
    part.rename(part.with_name("a strange one.part"))
    spool(kit, kit.make())
    strange, good = recover(kit.folder)
    assert strange.path is None and "kept as it is" in strange.words
    assert good.path is not None


def test_missing_folder_holds_nothing(tmp_path) -> None:
    assert recover(tmp_path / "none") == ()


@pytest.mark.slow
def test_the_next_recorder_finishes_what_was_left(kit) -> None:
    made = kit.make()
    spool(kit, made, complete=None)
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        assert recorder.drain(20)
        (path,) = recorder.recovered
        with StoredEvent.open(path) as event:
            kit.assert_same(event, made)
    finally:
        recorder.close()


class TestDamagedFolders:
    """A folder that cannot be used gives one line that says why."""

    def damage(self, whole_event: Path, folder: Path, name: str, data: bytes | None) -> Path:
        path = shutil.copytree(whole_event, folder / whole_event.name)
        if data is None:
            (path / name).unlink()
        else:
            (path / name).write_bytes(data)
        return path

    @pytest.mark.parametrize(
        ("name", "data"),
        [
            ("event.json", b"{"),
            ("event.json", b"[]"),
            ("event.json", b'{"schema": 1}'),
            ("event.json", b"\xff\xfe"),
            ("event.json", b'{"schema": 999}'),
            ("times.csv", None),
            ("times.csv", b"index,frame\n0,x\n"),
            ("times.csv", bytes(range(256))),
            ("frames.mkv", None),
            ("frames.mkv", b""),
            ("frames.mkv", b"not a recording at all" * 100),
            ("open.png", b"not a picture"),
            ("clipped.png", None),
        ],
    )
    def test_one_line(self, whole_event, tmp_path, name, data) -> None:
        path = self.damage(whole_event, tmp_path, name, data)
        with pytest.raises(InputUnreadable) as caught:
            StoredEvent.open(path)
        assert "\n" not in str(caught.value) and name in str(caught.value)

    @pytest.mark.slow
    def test_a_cut_recording_gives_what_is_left(self, kit) -> None:
        made = kit.make(40, (64, 64))
        path = kit.record(made)
        data = (path / "frames.mkv").read_bytes()
        (path / "frames.mkv").write_bytes(data[: len(data) // 2])
        with StoredEvent.open(path) as event:
            assert 5 < len(event) < 35 and not event.complete
            for index in range(len(event) - 1):
                np.testing.assert_array_equal(event.frame(index).pixels, made.frames[index].pixels)

    def test_not_an_event(self, tmp_path) -> None:
        for path in (tmp_path, tmp_path / "none"):
            with pytest.raises(InputUnreadable, match="not an event"):
                StoredEvent.open(path)
