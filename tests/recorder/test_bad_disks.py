"""What disks and folders may do to an event while it is written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from support.fault_table import Fault
from support.waiting import wait_for

from liveview.errors import OutputFailed
from liveview.model import SoundBlock
from liveview.recorder import Recorder, StoredEvent
from liveview.settings import Store


class Elsewhere:
    """A recorder in trouble, closed at the end whatever the test did."""

    def __init__(self, store: Store, folder: Path) -> None:
        self.recorder = Recorder(store, folder=folder, retry_s=0.05)

    def __enter__(self) -> Recorder:
        return self.recorder

    def __exit__(self, *_: object) -> None:
        self.recorder.close()


@pytest.mark.slow
@pytest.mark.fault(
    "the folder of events cannot be made",
    says="frames stay in memory: mend it or save them elsewhere",
    then="capture goes on; saved elsewhere, the event is whole",
)
def test_a_folder_that_cannot_be_made_keeps_the_event_until_it_is_saved_elsewhere(
    kit, fault: Fault
) -> None:
    kit.folder.parent.mkdir(exist_ok=True)
    kit.folder.write_text("a file where the folder should be")
    made = kit.make()
    with Elsewhere(kit.store, kit.folder) as recorder:
        kit.feed(recorder, made)
        wait_for(lambda: bool(recorder.status().words))
        status = recorder.status()
        assert status.waiting_frames == 12 and status.writing
        assert "12 frames stay in memory" in status.words[-1]
        assert fault.says in status.words[-1]
        assert all(lease.released == 1 for lease in made.leases)  # copied, the ring goes on
        with pytest.raises(OutputFailed):
            recorder.save_pending(kit.folder)
        other = kit.folder.with_name("other")
        recorder.save_pending(other)
        wait_for(lambda: recorder.drain(1.0))
        assert recorder.status().words == ()
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert event.path.parent == other
            kit.assert_same(event, made)


@pytest.mark.slow
def test_a_folder_that_vanishes_under_the_event(kit) -> None:
    made = kit.make(40)
    with Elsewhere(kit.store, kit.folder) as recorder:
        recorder.begin(made.start)
        for lease in made.leases[:20]:
            recorder.add_frame(lease)
        wait_for(lambda: recorder.status().waiting_frames == 0)
        shutil.rmtree(kit.folder)
        for lease in made.leases[20:]:
            recorder.add_frame(lease)
        for block in made.blocks:
            recorder.add_sound(block)
        recorder.end(True)
        wait_for(lambda: recorder.drain(1.0))
        with StoredEvent.open(recorder.events[-1].path) as event:
            kit.assert_same(event, made)
            assert event.complete


@pytest.mark.slow
def test_a_vanished_folder_that_becomes_a_file_moves_all_of_it_elsewhere(kit) -> None:
    made = kit.make(40)
    with Elsewhere(kit.store, kit.folder) as recorder:
        recorder.begin(made.start)
        for lease in made.leases[:20]:
            recorder.add_frame(lease)
        wait_for(lambda: recorder.status().waiting_frames == 0)
        shutil.rmtree(kit.folder)
        kit.folder.write_text("in the way")
        for lease, block in zip(made.leases[20:], made.blocks + [None] * 20, strict=False):
            recorder.add_frame(lease)
            if block is not None:
                recorder.add_sound(block)
        recorder.end(True)
        wait_for(lambda: bool(recorder.status().words))
        recorder.save_pending(kit.folder.with_name("other"))
        wait_for(lambda: recorder.drain(1.0))
        with StoredEvent.open(recorder.events[-1].path) as event:
            kit.assert_same(event, made)


@pytest.mark.slow
@pytest.mark.fault(
    "the disk refuses until the memory for waiting frames is full",
    says="frames of this event were not kept: memory is full",
    then="what fitted is kept, the rest is counted, the event is marked incomplete",
)
def test_what_memory_cannot_hold_is_counted_and_said(kit, fault: Fault) -> None:
    kit.folder.parent.mkdir(exist_ok=True)
    kit.folder.write_text("in the way")
    made = kit.make(30, (512, 1024))  # 0.5 MB each, 8 MB may wait
    with Elsewhere(Store(reserve_mb=0, ring_mb=8), kit.folder) as recorder:
        kit.feed(recorder, made)
        kept = recorder.status().waiting_frames
        assert 8 <= kept < 30
        assert any(f"{30 - kept} {fault.says}" in w for w in recorder.status().words)
        kit.folder.unlink()
        wait_for(lambda: recorder.drain(1.0))
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert len(event) == kept and not event.complete
            assert event.data["lost"]["store_frames"] == 30 - kept
    assert all(lease.released == 1 for lease in made.leases)


@pytest.mark.slow
def test_sound_that_memory_cannot_hold_is_said(kit) -> None:
    kit.folder.parent.mkdir(exist_ok=True)
    kit.folder.write_text("in the way")
    made = kit.make(2)
    block = SoundBlock(np.zeros((480_000, 2), np.float32), 48000.0, 12.4)  # 3.8 MB, 8 may wait
    with Elsewhere(Store(reserve_mb=0, ring_mb=8), kit.folder) as recorder:
        recorder.begin(made.start)
        for _ in range(4):
            recorder.add_sound(block)
        wait_for(lambda: any("some sound was not kept" in w for w in recorder.status().words))
        recorder.end(True)
        kit.folder.unlink()
        wait_for(lambda: recorder.drain(1.0))


def test_the_reserve_is_never_used(kit) -> None:
    free_mb = shutil.disk_usage(kit.folder.parent).free // 1_000_000
    made = kit.make(3)
    with Elsewhere(Store(reserve_mb=free_mb + 1000), kit.folder) as recorder:
        kit.feed(recorder, made)
        wait_for(lambda: bool(recorder.status().words))
        assert "disk is full" in recorder.status().words[-1]
        assert "reserve" in recorder.status().words[-1]
        assert recorder.status().waiting_frames == 3


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 64 MB."""
    place = tmp_path / "small"
    place.mkdir()
    mount = shutil.which("mount")
    if sys.platform != "linux" or os.geteuid() != 0 or mount is None:
        pytest.skip("mounting a small file system needs Linux and root")
    command = [mount, "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(place)]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("this machine does not allow mounting")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
@pytest.mark.fault(
    "the disk is full",
    says="the disk is full",
    then="frames wait in memory, the reserve stays free; saved elsewhere, the event is whole",
)
def test_a_full_disk_loses_nothing(kit, small_disk, fault: Fault) -> None:
    first, second = kit.make(40, (600, 800)), kit.make(110, (600, 800), blocks=0)
    store = Store(reserve_mb=2, ring_mb=128)
    with Elsewhere(store, small_disk) as recorder:
        kit.feed(recorder, first)
        wait_for(lambda: recorder.drain(1.0))
        earlier = recorder.events[-1].path
        recorder.begin(second.start)
        for lease in second.leases:
            recorder.add_frame(lease)
        recorder.end(True)
        wait_for(lambda: bool(recorder.status().words))
        assert fault.says in recorder.status().words[-1]
        assert shutil.disk_usage(small_disk).free >= 2_000_000
        with StoredEvent.open(earlier) as event:
            kit.assert_same(event, first)
        recorder.save_pending(kit.folder)
        wait_for(lambda: recorder.drain(1.0))
        with StoredEvent.open(recorder.events[-1].path) as event:
            kit.assert_same(event, second)
            assert event.path.parent == kit.folder and event.complete
        assert not list(small_disk.glob("*.part"))


@pytest.mark.slow
def test_a_disk_too_full_to_compress_keeps_the_raw_event_readable(kit, small_disk) -> None:
    made = kit.make(100, (600, 800), blocks=0)
    with Elsewhere(Store(reserve_mb=0, ring_mb=64), small_disk) as recorder:
        kit.feed(recorder, made)
        wait_for(lambda: any("kept as it is" in w for w in recorder.status().words))
        part = next(small_disk.glob("*.part"))
        with StoredEvent.open(part) as event:
            assert event.raw
            kit.assert_same(event, made)


@pytest.mark.parametrize("gone", ["frames.raw", "sound.raw"])
@pytest.mark.slow
@pytest.mark.fault(
    "a disk is pulled out in the middle of an event and takes what was written with it",
    says="stay on it as",
    then="the event goes on in the folder chosen next, marked incomplete; the words name what is "
    "left behind",
)
def test_a_disk_that_takes_its_frames_with_it(kit, fault: Fault, monkeypatch, gone: str) -> None:
    monkeypatch.setattr("liveview.recorder.writer.LOOK_EVERY_S", 0.0)
    made = kit.make(40, blocks=4)
    with Elsewhere(kit.store, kit.folder) as recorder:
        recorder.begin(made.start)
        for lease in made.leases[:20]:
            recorder.add_frame(lease)
        recorder.add_sound(made.blocks[0])
        recorder.add_frame(made.leases[20])  # the sound is on the disk when this one is
        wait_for(lambda: recorder.status().waiting_frames == 0)
        (raw,) = kit.folder.rglob(gone)
        os.truncate(raw, 1000)
        shutil.rmtree(kit.folder)
        kit.folder.write_text("in the way")
        for lease in made.leases[21:]:
            recorder.add_frame(lease)
        recorder.end(True)
        wait_for(lambda: bool(recorder.status().words))
        recorder.save_pending(kit.folder.with_name("other"))
        wait_for(lambda: recorder.drain(1.0))
        said = "\n".join(recorder.status().words)
        assert f"21 frames written before the disk went away {fault.says}" in said
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert not event.complete
            assert [frame.number for frame in event.frames()] == [
                f.number for f in made.frames[21:]
            ]
