"""Events through the recorder and back, bit for bit; what a disk may do to it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import pytest
from support.fault_table import Fault
from support.waiting import wait_for

from liveview.errors import BadRequest, InputUnreadable, OutputFailed
from liveview.model import Cause, SoundBlock, Spotted
from liveview.recorder import Recorder, StoredEvent, recover
from liveview.settings import Store


@pytest.mark.parametrize(
    ("shape", "white", "form"),
    [
        ((48, 64), 255, "gray"),
        ((47, 61), 255, "gray"),
        ((48, 64), 4095, "gray12le"),
        ((33, 65), 65535, "gray16le"),
        ((48, 64, 3), 255, "bgr0"),
        ((31, 47, 3), 4095, "gbrp16le"),
        ((1, 2), 255, "gray"),
    ],
)
def test_every_form_comes_back_bit_for_bit(kit, shape, white, form) -> None:
    made = kit.make(shape=shape, white=white)
    path = kit.record(made)
    assert path.name == "2031-05-06_07-08-10_flash"
    with StoredEvent.open(path) as event:
        kit.assert_same(event, made)
        assert event.complete and not event.raw
        assert event.data["frames"]["pixel_format"] == form
        assert event.lost_before[5] == 3
        assert [s.cause for s in event.spotted] == [Cause.FLASH, Cause.SOUND]
        assert event.start.settings == made.start.settings
        assert event.start.disc == made.start.disc
        assert event.start.source == made.start.source
    assert all(lease.released == 1 for lease in made.leases)
    names = {entry.name for entry in path.iterdir()}
    assert names == {
        "event.json",
        "frames.mkv",
        "times.csv",
        "sound.csv",
        "dark.png",
        "open.png",
        "reference.png",
        "clipped.png",
        "poster.png",
    }


@pytest.mark.parametrize(("bits", "codec"), [(16, "flac"), (24, "flac"), (32, "pcm_f32le")])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_sound_is_kept_exactly(kit, bits, codec, channels) -> None:
    made = kit.make(bits=bits, channels=channels)
    path = kit.record(made)
    with StoredEvent.open(path) as event:
        kit.assert_same(event, made)
        assert event.data["sound_track"]["codec"] == codec
    with av.open(str(path / "frames.mkv")) as file:
        samples = sum(frame.samples for frame in file.decode(audio=0))
    assert samples == 6 * 480 + 96  # the gap holds silence so that sound and pictures keep step


def test_codes_above_the_promised_white_are_kept(kit) -> None:
    made = kit.make(white=4095)
    for frame in made.frames:
        frame.pixels.flags.writeable = True
        frame.pixels[3, 3] = 40000
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)
        assert event.data["frames"]["pixel_format"] == "gray16le"


def test_an_independent_reader_finds_rate_size_and_checksums(kit) -> None:
    made = kit.make(40, (72, 96))
    path = kit.record(made)
    with av.open(str(path / "frames.mkv")) as file:
        stream = file.streams.video[0]
        assert stream.codec_context.name == "ffv1"
        frames = list(file.decode(stream))
        unit = stream.time_base
    assert len(frames) == 40
    np.testing.assert_array_equal(frames[7].to_ndarray(format="gray"), made.frames[7].pixels)
    want = [frame.time_s - 12.34 for frame in made.frames]
    got = [float(frame.pts * unit) for frame in frames]
    np.testing.assert_allclose(got, want, atol=1.1e-3)  # Matroska keeps milliseconds
    pixels_at = int((path / "times.csv").read_text().splitlines()[20].split(",")[6]) + 200
    raw = bytearray((path / "frames.mkv").read_bytes())
    raw[pixels_at] ^= 0x40
    (path / "frames.mkv").write_bytes(raw)
    with StoredEvent.open(path) as event:
        event.frame(18), event.frame(20)
        with pytest.raises(InputUnreadable, match=r"frame 19.*damaged"):
            event.frame(19)


def test_calibration_returns_within_half_a_code(kit) -> None:
    made = kit.make()
    with StoredEvent.open(kit.record(made)) as event:
        for kind in ("dark", "open", "reference"):
            got, put = (getattr(c, kind) for c in (event.start.calibration, made.start.calibration))
            # half a code of 65535, and one rounding to float32
            np.testing.assert_allclose(got.light, put.light, atol=0.5 / 65535 + 1e-7)
            assert (got.frames, got.taken_s, got.camera) == (16, 1.5, put.camera)
            clipped = np.zeros_like(put.light, bool) if put.clipped is None else put.clipped
            np.testing.assert_array_equal(got.clipped, clipped)


def test_no_sound_no_calibration_one_frame(kit) -> None:
    made = kit.make(1, blocks=0, calibrated=False)
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)
        assert event.start.calibration.dark is None
        assert event.rate_hz == 200.0


def test_names_never_collide(kit) -> None:
    paths = [kit.record(kit.make(2)).name for _ in range(3)]
    stem = "2031-05-06_07-08-10_flash"
    assert paths == [stem, f"{stem}_2", f"{stem}_3"]


def test_times_that_stand_still_or_go_back_are_kept(kit) -> None:
    made = kit.make(4)
    stamps = [5.0, 5.0, 4.9, 5.0000000017]
    frames = [
        type(f)(f.pixels, type(f.stamp)(f.number, t, 0.0, None), f.white)
        for f, t in zip(made.frames, stamps, strict=True)
    ]
    made.frames[:] = frames
    made.leases[:] = [kit.lease(frame) for frame in frames]
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)


def test_an_event_cut_short_says_so(kit) -> None:
    with StoredEvent.open(kit.record(kit.make(), complete=False)) as event:
        assert not event.complete


def test_calls_out_of_order_are_refused(kit) -> None:
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        made = kit.make(2)
        with pytest.raises(RuntimeError):
            recorder.add_frame(made.leases[0])
        assert made.leases[0].released == 1
        recorder.begin(made.start)
        with pytest.raises(RuntimeError):
            recorder.begin(made.start)
    finally:
        recorder.close()


def test_a_wrong_pattern_is_refused_at_once(kit) -> None:
    with pytest.raises(BadRequest, match="unknown field"):
        Recorder(Store(name="{when}"), folder=kit.folder)


class Elsewhere:
    """A recorder in trouble, closed at the end whatever the test did."""

    def __init__(self, store: Store, folder: Path) -> None:
        self.recorder = Recorder(store, folder=folder, retry_s=0.05)

    def __enter__(self) -> Recorder:
        return self.recorder

    def __exit__(self, *_: object) -> None:
        self.recorder.close()


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


def test_a_recording_waits_instead_of_losing_frames(kit) -> None:
    made = kit.make(60, (512, 1024), blocks=0)
    store = Store(reserve_mb=0, ring_mb=8)
    recorder = Recorder(store, folder=kit.folder, when_full="wait")
    try:
        recorder.begin(made.start)
        for lease in made.leases:
            recorder.add_frame(lease)
        recorder.end(True)
        assert recorder.drain(60.0)
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert len(event) == 60
    finally:
        recorder.close()


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


def test_a_disk_too_full_to_compress_keeps_the_raw_event_readable(kit, small_disk) -> None:
    made = kit.make(100, (600, 800), blocks=0)
    with Elsewhere(Store(reserve_mb=0, ring_mb=64), small_disk) as recorder:
        kit.feed(recorder, made)
        wait_for(lambda: any("kept as it is" in w for w in recorder.status().words))
        part = next(small_disk.glob("*.part"))
        with StoredEvent.open(part) as event:
            assert event.raw
            kit.assert_same(event, made)


def test_close_leaves_spools_for_the_next_start(kit) -> None:
    made = kit.make(150, (400, 600))
    recorder = Recorder(kit.store, folder=kit.folder)
    kit.feed(recorder, made)
    wait_for(lambda: recorder.status().waiting_frames == 0 and bool(recorder.events))
    recorder.close()
    assert [e.name.endswith(".part") for e in kit.folder.iterdir()] == [True]
    (done,) = recover(kit.folder)
    assert done.path is not None
    with StoredEvent.open(done.path) as event:
        kit.assert_same(event, made)
        assert event.complete


def test_description_is_strict_json(kit) -> None:
    path = kit.record(kit.make(3))

    def refuse(name: str) -> None:
        raise AssertionError(name)

    data = json.loads((path / "event.json").read_text("utf-8"), parse_constant=refuse)
    assert data["schema"] == 1 and data["program"]["name"] == "liveview"
    assert data["calibration"]["open"]["full_scale"] == 1.0


def test_sound_only_is_kept_too(kit) -> None:
    made = kit.make(0, blocks=4)
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        recorder.begin(made.start)
        for block in made.blocks:
            recorder.add_sound(block)
        recorder.end(True)
        assert recorder.drain(20.0), recorder.status()
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert len(event) == 0 and len(event.sound()) == 4
            assert isinstance(event.sound()[0], SoundBlock)
    finally:
        recorder.close()


def test_marks_are_kept_in_order(kit) -> None:
    made = kit.make(3)
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        recorder.begin(made.start)
        recorder.add_frame(made.leases[0])
        for number in range(50):
            recorder.mark(Spotted(13 + number / 100, 1e-3, Cause.FLASH, 6.0, number))
        recorder.end(True)
        assert recorder.drain(20.0)
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert [s.frame for s in event.spotted] == [105, *range(50)]
    finally:
        recorder.close()


@pytest.mark.fault(
    "a frame of another size inside an event",
    says="left out of the event",
    then="the others are kept",
)
def test_a_frame_of_another_size_is_left_out_and_said(kit, fault: Fault) -> None:
    made, other = kit.make(4), kit.make(1, (20, 30))
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        recorder.begin(made.start)
        recorder.add_frame(made.leases[0])
        recorder.add_frame(other.leases[0])
        recorder.add_frame(made.leases[1])
        recorder.end(True)
        assert recorder.drain(20.0)
        assert f"{fault.says}: frame 100 is (20, 30)" in recorder.status().words[-1]
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert [f.number for f in event.frames()] == [100, 101]
    finally:
        recorder.close()


def test_a_writer_that_fails_says_so_and_takes_nothing_more(kit, monkeypatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr("liveview.recorder.writer.EventWriter.handle", broken)
    made = kit.make(3)
    recorder = Recorder(kit.store, folder=kit.folder)
    recorder.begin(made.start)
    wait_for(lambda: bool(recorder.status().words))
    assert "no longer kept" in recorder.status().words[-1]
    recorder.add_frame(made.leases[0])
    assert made.leases[0].released == 1
    with pytest.raises(ZeroDivisionError):
        recorder.close()


def test_sound_of_too_many_channels_stays_raw_and_readable(kit) -> None:
    made = kit.make(4, channels=9)
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        kit.feed(recorder, made)
        assert not recorder.drain(20.0)
        assert "9 channels" in recorder.status().words[-1]
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert event.raw
            kit.assert_same(event, made)
    finally:
        recorder.close()


@pytest.mark.fault(
    "a disk is pulled out in the middle of an event and takes what was written with it",
    says="stay on it as",
    then="the event goes on in the folder chosen next, marked incomplete; the words name what is "
    "left behind",
)
def test_a_disk_that_takes_its_frames_with_it(kit, fault: Fault, monkeypatch) -> None:
    monkeypatch.setattr("liveview.recorder.writer.LOOK_EVERY_S", 0.0)
    made = kit.make(40, blocks=0)
    with Elsewhere(kit.store, kit.folder) as recorder:
        recorder.begin(made.start)
        for lease in made.leases[:20]:
            recorder.add_frame(lease)
        wait_for(lambda: recorder.status().waiting_frames == 0)
        (raw,) = kit.folder.rglob("frames.raw")
        os.truncate(raw, 1000)
        shutil.rmtree(kit.folder)
        kit.folder.write_text("in the way")
        for lease in made.leases[20:]:
            recorder.add_frame(lease)
        recorder.end(True)
        wait_for(lambda: bool(recorder.status().words))
        recorder.save_pending(kit.folder.with_name("other"))
        wait_for(lambda: recorder.drain(1.0))
        said = "\n".join(recorder.status().words)
        assert f"20 frames written before the disk went away {fault.says}" in said
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert not event.complete
            assert [frame.number for frame in event.frames()] == [
                f.number for f in made.frames[20:]
            ]


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


def test_calls_without_an_event_are_refused_and_give_the_frame_back(kit) -> None:
    made = kit.make(1)
    with Elsewhere(kit.store, kit.folder) as recorder:
        with pytest.raises(RuntimeError, match="no event is open"):
            recorder.add_frame(made.leases[0])
        assert made.leases[0].released == 1
        for call in (lambda: recorder.add_sound(made.blocks[0]), lambda: recorder.end(True)):
            with pytest.raises(RuntimeError, match="no event is open"):
                call()


class TestWordsOfAnEmptyEvent:
    """An event without a frame is removed; the words about it do not stay for good."""

    def empty(self, recorder: Recorder, made) -> None:
        recorder.begin(made.start)
        recorder.end(complete=False)
        wait_for(lambda: any("held nothing" in words for words in recorder.status().words), 10)

    def test_they_go_after_a_while(self, kit, monkeypatch) -> None:
        monkeypatch.setattr("liveview.recorder.recorder.PASSING_S", 0.3)
        recorder = Recorder(kit.store, folder=kit.folder)
        try:
            self.empty(recorder, kit.make())
            wait_for(lambda: not recorder.status().words, 10)
            assert recorder.status().newest is None
        finally:
            recorder.close()

    def test_they_go_with_the_next_event(self, kit) -> None:
        recorder, made = Recorder(kit.store, folder=kit.folder), kit.make()
        try:
            self.empty(recorder, made)
            recorder.begin(made.start)
            assert not recorder.status().words
            for lease in made.leases:
                recorder.add_frame(lease)
            recorder.end(complete=True)
            assert recorder.drain(20)
            assert recorder.status().events_kept == 1
            assert [event.path.is_dir() for event in recorder.events] == [True]
        finally:
            recorder.close()
