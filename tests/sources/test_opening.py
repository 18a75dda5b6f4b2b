"""One address, the right source; and recordings paced on the session's clock."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
import tifffile
from support.media import hear_all, noise, read_all, smooth, write_video

from liveview.errors import BadRequest, InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import SourceKind
from liveview.settings import Settings
from liveview.sources import Input, frame_source, sound_source

ODD = (31, 43)
PLAIN = Settings()


class Hands:
    """A clock that only moves when somebody waits."""

    def __init__(self, start_s: float = 40.0) -> None:
        self.now_s = start_s
        self.waits: list[float] = []

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.now_s += seconds


def open_kind(address: object, **more: object) -> SourceKind:
    hands = Hands()
    source = frame_source(str(address), PLAIN, clock=hands, live=False)
    try:
        return source.open().kind
    finally:
        source.close()


def test_the_kind_follows_from_what_is_there(tmp_path: Path) -> None:
    clip = write_video(tmp_path / "clip.mkv", noise(ODD, 2))
    tifffile.imwrite(
        tmp_path / "pages.tif", np.zeros((3, *ODD), np.uint16), photometric="minisblack"
    )
    folder = tmp_path / "stills"
    folder.mkdir()
    cv2.imwrite(str(folder / "a.png"), noise(ODD, 1)[0])
    assert open_kind(clip) is SourceKind.VIDEO
    assert open_kind(f"file://{clip}") is SourceKind.VIDEO
    assert open_kind(tmp_path / "pages.tif") is SourceKind.TIFF
    assert open_kind(folder) is SourceKind.IMAGES
    assert open_kind(folder / "*.png") is SourceKind.IMAGES
    assert open_kind(folder / "a.png") is SourceKind.IMAGES
    assert open_kind("simulated") is SourceKind.SIMULATED


def test_a_folder_with_one_video_is_that_video(tmp_path: Path) -> None:
    write_video(tmp_path / "recording.mkv", noise(ODD, 2))
    (tmp_path / "truth.json").write_text("{}")
    assert open_kind(tmp_path) is SourceKind.VIDEO
    write_video(tmp_path / "another.mkv", noise(ODD, 2))
    with pytest.raises(InputUnreadable, match="holds no pictures"):
        open_kind(tmp_path)


def test_odd_names_are_still_files(tmp_path: Path) -> None:
    for name in ("a:b.mkv", "with space.mkv", "[1].mkv", "ümlaut %20.mkv", "-dash.mkv"):
        write_video(tmp_path / "plain.mkv", noise(ODD, 1)).rename(tmp_path / name)
        assert open_kind(tmp_path / name) is SourceKind.VIDEO


def test_an_unknown_ending_is_tried_as_a_recording(tmp_path: Path) -> None:
    write_video(tmp_path / "clip.mkv", noise(ODD, 1)).rename(tmp_path / "clip.data")
    assert open_kind(tmp_path / "clip.data") is SourceKind.VIDEO


@pytest.mark.parametrize(
    ("address", "error", "words"),
    [
        ("", BadRequest, "no source is named"),
        ("gopher://somewhere/x", InputUnreadable, "this kind of address is not known"),
        ("/no/such/place.mkv", InputUnreadable, "no such file or folder"),
        ("/no/such/*.png", InputUnreadable, "no picture has such a name"),
        ("simulated:no-such-scene", BadRequest, "no-such-scene"),
        ("camera:99", InputUnreadable, "does not open"),
        ("camera:no such name at all", InputUnreadable, "no such camera"),
    ],
)
def test_addresses_that_lead_nowhere(address: str, error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words) as caught:
        read_all(frame_source(address, PLAIN, clock=Hands(), live=False))
    assert "\n" not in str(caught.value)


def test_a_live_recording_runs_on_the_sessions_clock(tmp_path: Path) -> None:
    times_us = [0, 20_000, 70_000, 100_000]
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 4), times_us=times_us)
    hands = Hands(40.0)
    source = frame_source(str(path), PLAIN, clock=hands, live=True, wait=hands.wait)
    info, stamps, _ = read_all(source)
    assert info.live
    assert [stamp.time_s for stamp in stamps] == pytest.approx([40.0, 40.02, 40.07, 40.1])
    assert hands.waits == pytest.approx([0.02, 0.05, 0.03])


def test_a_late_reader_catches_up_without_loss(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 10), rate_hz=10)
    hands = Hands()
    source = frame_source(str(path), PLAIN, clock=hands, live=True, wait=hands.wait)
    source.open()
    numbers = []
    while (stamp := source.grab()) is not None:
        numbers.append(stamp.number)
        if stamp.number == 3:
            hands.now_s += 0.45
    source.close()
    assert numbers == list(range(10))
    assert hands.now_s == pytest.approx(40.9)


def test_a_long_gap_is_cut_so_that_the_program_can_stop(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 3), times_us=[0, 30_000_000, 30_100_000])
    hands = Hands()
    source = frame_source(str(path), PLAIN, clock=hands, live=True, wait=hands.wait)
    _, stamps, _ = read_all(source)
    assert max(hands.waits) <= 1.0
    assert [stamp.time_s for stamp in stamps] == pytest.approx([40.0, 41.0, 41.1])


def test_not_live_nobody_waits(tmp_path: Path) -> None:
    path = write_video(tmp_path / "clip.mkv", noise(ODD, 3))
    hands = Hands()
    info, stamps, _ = read_all(
        frame_source(str(path), PLAIN, clock=hands, live=False, wait=hands.wait)
    )
    assert not info.live
    assert stamps[0].time_s == 0.0
    assert hands.waits == []


def test_pictures_and_sound_of_one_input_stay_together(tmp_path: Path) -> None:
    sound = np.zeros(48_000, np.float32)
    sound[24_000] = 0.9
    path = write_video(
        tmp_path / "a.mkv", smooth(48, 64, 30), form="yuv420p", codec="libx264", sound=sound
    )
    hands = Hands()
    both = Input(str(path), PLAIN, clock=hands, live=True, wait=hands.wait)
    assert both.has_sound
    frames, track = both.frames(), both.sound()
    frames.open()
    track.open()
    first = frames.grab()
    hands.now_s += 0.2  # the sound's thread is late to start
    block = track.read(1.0)
    frames.close()
    track.close()
    assert first is not None
    assert block is not None
    assert block.start_s == pytest.approx(first.time_s)


def test_the_sound_an_address_has(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), noise(ODD, 1)[0])
    soundfile.write(tmp_path / "a.wav", np.zeros(2000), 8000)
    hands = Hands()
    assert sound_source(str(tmp_path), PLAIN, clock=hands, live=False) is None
    assert sound_source(str(tmp_path / "a.png"), PLAIN, clock=hands, live=False) is None
    assert sound_source("camera:0", PLAIN, clock=hands, live=False) is None
    wav = sound_source(str(tmp_path / "a.wav"), PLAIN, clock=hands, live=False)
    assert wav is not None
    assert sum(len(block.samples) for block in hear_all(wav)) == 2000
    assert sound_source("microphone:any", PLAIN, clock=hands, live=True) is not None


def test_the_simulated_rig_shares_one_bench() -> None:
    hands = Hands(0.0)
    rig = Input("simulated", PLAIN, clock=hands, live=True, wait=hands.wait)
    assert rig.rig is not None
    assert rig.has_sound
    name = next(iter(rig.rig.limits()))
    low, high = rig.rig.limits()[name]
    rig.rig.set(name, (low + high) / 2)
    assert rig.rig.values()[name] is not None
    assert Input("camera:0", PLAIN, clock=hands, live=True).rig is None
