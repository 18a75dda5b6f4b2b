"""What goes into an event comes back out of it, bit for bit."""

from __future__ import annotations

import csv
import dataclasses
import json
from collections.abc import Callable, Sequence
from pathlib import Path

import av
import numpy as np
import pytest

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Cause, SoundBlock, Spotted
from liveview.recorder import Recorder, StoredEvent, recover
from liveview.recorder.files import Room
from liveview.recorder.pictures import poster
from liveview.recorder.spool import SpoolWriter


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_codes_above_the_promised_white_are_kept(kit) -> None:
    made = kit.make(white=4095)
    for frame in made.frames:
        frame.pixels.flags.writeable = True
        frame.pixels[3, 3] = 40000
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)
        assert event.data["frames"]["pixel_format"] == "gray16le"


@pytest.mark.slow
def test_an_independent_reader_finds_rate_size_and_checksums(kit) -> None:
    made = kit.make(40, (72, 96))
    path = kit.record(made)
    with av.open(str(path / "frames.mkv")) as file:
        stream = file.streams.video[0]
        assert stream.codec_context.name == "ffv1"
        frames = list(file.decode(stream))
        unit = stream.time_base
        steps = np.diff([frame.time_s for frame in made.frames])
        # Other programs play and convert it at this rate, and leave frames out at a lower one.
        assert float(stream.average_rate) == pytest.approx(1 / np.median(steps), rel=1e-3)
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_no_sound_no_calibration_one_frame(kit) -> None:
    made = kit.make(1, blocks=0, calibrated=False)
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)
        assert event.start.calibration.dark is None
        assert event.rate_hz == 200.0


@pytest.mark.slow
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


@pytest.mark.slow
def test_description_is_strict_json(kit) -> None:
    path = kit.record(kit.make(3))

    def refuse(name: str) -> None:
        raise AssertionError(name)

    data = json.loads((path / "event.json").read_text("utf-8"), parse_constant=refuse)
    assert data["schema"] == 1 and data["program"]["name"] == "liveview"
    assert data["calibration"]["open"]["full_scale"] == 1.0


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
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


@pytest.mark.slow
@pytest.mark.parametrize("frame", [105, 109, None], ids=["lost", "named", "by time"])
@pytest.mark.parametrize("shape", [(720, 1300), (31, 47, 3)])
def test_the_picture_for_lists_is_there_before_the_conversion(kit, shape, frame) -> None:
    made = kit.make(shape=shape, blocks=0)
    start = dataclasses.replace(
        made.start, spotted=dataclasses.replace(made.start.spotted, frame=frame)
    )
    part = kit.folder / "one.part"
    part.mkdir(parents=True)
    spool = SpoolWriter(part, start, Room(kit.folder, 0))
    for one in made.frames:
        spool.add_frame(one)
    spool.end(True, 0)
    spool.write_poster()
    before = (part / "poster.png").read_bytes()
    (done,) = recover(kit.folder)
    assert done.path is not None
    assert (done.path / "poster.png").read_bytes() == before
    with StoredEvent.open(done.path) as event:
        shown = poster(event.frame(event.spark_index).pixels, 255)
    np.testing.assert_array_equal(cv2.imread(str(done.path / "poster.png"), -1), shown)


def stored(kit, blocks: Sequence[SoundBlock], damage: Callable[[Path], None] = lambda spool: None):
    """Blocks of sound through a spool: the event's description, and each block's times, seconds:
    when it was taken and where its place in the track says that it was."""
    made = kit.make(blocks=1)
    part = kit.folder / "one.part"
    part.mkdir(parents=True)
    spool = SpoolWriter(part, made.start, Room(kit.folder, 0))
    for frame in made.frames:
        spool.add_frame(frame)
    for block in blocks:
        spool.add_sound(block)
    spool.end(True, 0)
    damage(part / "spool")
    (done,) = recover(kit.folder)
    assert done.path is not None
    with (done.path / "sound.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    start_s = int(rows[0]["start_ns"]) / 1e9
    with StoredEvent.open(done.path) as event:
        taken = [block.start_s for block in event.sound()]
        return event, taken, [start_s + int(row["first_sample"]) / 48000 for row in rows]


def tone(start_s: float) -> SoundBlock:
    samples = np.full((4800, 1), 0.25, np.float32)
    return SoundBlock(samples, 48000.0, start_s, 1e-3)


def test_sound_keeps_step_when_the_microphone_was_opened_anew(kit) -> None:
    """Nobody counts what a source misses before it is opened: the times tell."""
    event, taken, places = stored(kit, [tone(t) for t in (0.0, 0.103, 0.7, 0.8)])
    assert taken == [0.0, 0.103, 0.7, 0.8]
    # 3 ms of a stamp's jitter are no hole.
    assert places == pytest.approx([0.0, 0.1, 0.697, 0.797], abs=1e-9)
    assert event.data["lost"]["sound_samples"] == round(0.497 * 48000)


def test_sound_keeps_step_over_a_damaged_block(kit) -> None:
    def damage(spool: Path) -> None:
        path = spool / "sound.raw"
        data = bytearray(path.read_bytes())
        data[4 * 4800 + 100] ^= 0xFF
        path.write_bytes(data)

    event, taken, places = stored(kit, [tone(t) for t in (0.0, 0.1, 0.2, 0.3)], damage)
    assert taken == [0.0, 0.2, 0.3]
    assert places == pytest.approx([0.0, 0.2, 0.3], abs=1e-9)
    assert not event.complete
    assert event.data["lost"]["sound_samples"] == 4800
    assert event.data["lost"]["damaged_sound_blocks"] == 1


def test_sound_of_another_rate_is_refused_in_words(kit) -> None:
    made = kit.make(blocks=1)
    part = kit.folder / "one.part"
    part.mkdir(parents=True)
    spool = SpoolWriter(part, made.start, Room(kit.folder, 0))
    with pytest.raises(ValueError, match="sound of 44100 Hz, the event began with 48000"):
        spool.add_sound(dataclasses.replace(tone(0.0), rate_hz=44100.0))
    spool.close()
