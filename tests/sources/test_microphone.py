"""The microphone: on a real sound server, and what is said where there is none."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.sound_server import SoundServer

from liveview.errors import SoundUnavailable, SourceStalled
from liveview.sources import listing, microphone
from liveview.sources.microphone import BlockQueue, MicrophoneSource, match_device

LISTENER = Path(__file__).with_name("listener.py")


@pytest.mark.slow
def test_clicks_played_are_heard_at_their_distance() -> None:
    with SoundServer() as server:
        done = subprocess.run(
            [sys.executable, str(LISTENER)],
            env=server.environment,
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
    report = json.loads(done.stdout.splitlines()[-1])
    assert report["fault"] == ""
    assert any(report["answers"])
    assert len(report["heard"]) == 12
    # the first ones fall into the time in which the line under the arrivals is found
    steps = np.diff(report["heard"][3:])
    assert np.allclose(steps, 0.1, atol=0.005), "the sound clock is steady within milliseconds"
    assert report["lost"] == 0
    assert 0.01 <= report["error_s"] < 0.1
    assert report["warnings"] == []


@pytest.mark.slow
def test_a_sound_system_that_dies_is_noticed() -> None:
    with (
        SoundServer() as server,
        subprocess.Popen(
            [sys.executable, str(LISTENER), "then-end"],
            env=server.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        ) as child,
    ):
        assert child.stdout is not None
        try:
            assert child.stdout.readline().strip() == "heard"
            server.end()
            report = json.loads(child.stdout.readline())
        finally:
            child.kill()
    assert report["fault"].startswith("SourceStalled: microphone: no sound came for 1 s")


def test_without_the_library_there_are_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    source = MicrophoneSource("", clock=lambda: 0.0)
    with pytest.raises(SoundUnavailable, match="install libportaudio2"):
        source.open()
    source.close()
    (answer,) = listing.list_microphones()
    assert not answer.answers
    assert "sound library is missing" in answer.words


class SilentLibrary:
    """A sound library with one input that refuses all but one rate."""

    class PortAudioError(Exception):
        pass

    def __init__(self, accepts_hz: float | None) -> None:
        self.accepts_hz = accepts_hz
        self.tried: list[float] = []
        self.callback: Any = None

    def query_devices(self, index: object = None, kind: str | None = None) -> Any:
        if self.accepts_hz is None:
            raise self.PortAudioError("Error querying device -1")
        return {"name": "desk", "max_input_channels": 1, "default_samplerate": 96000.0}

    def InputStream(self, **options: Any) -> SilentLibrary:
        self.tried.append(options["samplerate"])
        if options["samplerate"] != self.accepts_hz:
            raise self.PortAudioError("Invalid sample rate")
        self.callback, self.samplerate = options["callback"], options["samplerate"]
        return self

    def start(self) -> None:
        pass

    def close(self) -> None:
        pass


class Flags:
    """Status of a callback."""

    def __init__(self, overflow: bool = False) -> None:
        self.input_overflow = overflow


def listening(
    monkeypatch: pytest.MonkeyPatch, accepts_hz: float | None, **more: Any
) -> tuple[SilentLibrary, MicrophoneSource, list[float]]:
    library = SilentLibrary(accepts_hz)
    monkeypatch.setattr(microphone, "sound_library", lambda: library)
    now = [10.0]
    return library, MicrophoneSource("", clock=lambda: now[0], **more), now


def test_rates_are_tried_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    library, source, _ = listening(monkeypatch, 44100.0, rate_hz=192000.0)
    info = source.open()
    assert library.tried == [192000.0, 96000.0, 48000.0, 44100.0]
    assert info.rate_hz == 44100.0
    assert "192000 Hz refused, 44100 Hz used" in info.note


def test_no_input_and_no_rate(monkeypatch: pytest.MonkeyPatch) -> None:
    _, source, _ = listening(monkeypatch, None)
    with pytest.raises(SoundUnavailable, match="there is no microphone"):
        source.open()
    _, source, _ = listening(monkeypatch, 1.0)
    with pytest.raises(SoundUnavailable, match="does not open"):
        source.open()


def test_gaps_are_counted_and_silence_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    library, source, now = listening(monkeypatch, 48000.0)
    source.open()
    block = np.zeros((480, 1), np.float32)
    for _ in range(220):
        now[0] += 0.01
        library.callback(block, 480, None, Flags())
        source.read(0.0)
    assert "exact silence" in source.warnings[0]
    now[0] += 0.06  # five blocks never came
    library.callback(block + 0.1, 480, None, Flags(overflow=True))
    after = source.read(0.0)
    assert after is not None
    assert after.lost_before == pytest.approx(2400, abs=50)
    assert after.start_s == pytest.approx(now[0] - 0.01, abs=0.002)
    assert source.warnings == ()
    with pytest.raises(SourceStalled):
        source.read(0.0)


def test_sound_after_a_sleep_is_on_time_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    library, source, now = listening(monkeypatch, 48000.0)
    source.open()
    block = np.full((480, 1), 0.1, np.float32)
    library.callback(block, 480, None, Flags(overflow=True))
    first = source.read(0.0)
    assert first is not None
    assert first.lost_before == 1, "how much was missing before the first block is not known"
    for _ in range(500):
        now[0] += 0.01
        library.callback(block, 480, None, Flags())
        source.read(0.0)
    now[0] += 3600.0  # nobody marks the hole
    for number in range(50):
        now[0] += 0.01
        library.callback(block, 480, None, Flags())
        after = source.read(0.0)
        assert after is not None
        assert after.start_s == pytest.approx(now[0] - 0.01, abs=0.001)
        lost_s = after.lost_before / 48000.0
        assert lost_s == pytest.approx(3600.0 if number == 0 else 0.0, abs=0.01)


def test_a_channel_a_delay_and_an_uncertainty_can_be_chosen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    library, plain, now = listening(monkeypatch, 48000.0)
    assert plain.open().channels == 1
    _, source, _ = listening(monkeypatch, 48000.0, channel=1, delay_s=0.2, error_s=0.003)
    monkeypatch.setattr(microphone, "sound_library", lambda: library)
    assert source.open().channels == 1
    both = np.stack([np.full(480, 0.25), np.full(480, 0.75)], axis=1).astype(np.float32)
    library.callback(both, 480, None, Flags())
    block = source.read(0.0)
    assert block is not None
    assert block.samples.shape == (480, 1)
    assert block.samples[0, 0] == 0.25
    assert block.start_s == pytest.approx(now[0] - 0.01 - 0.2, abs=1e-6)
    assert block.error_s == pytest.approx(0.003, abs=1e-6)
    _, third, _ = listening(monkeypatch, 48000.0, channel=3)
    with pytest.raises(SoundUnavailable, match="it has 1 channels, not 3"):
        third.open()


def test_the_queue_is_bounded_and_counts() -> None:
    queue = BlockQueue(2)
    for value in range(4):
        queue.put(np.full((10, 1), value, np.float32), float(value), gap=False)
    assert queue.dropped == 20
    kept = [queue.get(0.0), queue.get(0.0)]
    assert [item[0][0, 0] for item in kept if item] == [0.0, 1.0]
    queue.put(np.full((10, 1), 9, np.float32), 9.0, gap=False)
    last = queue.get(0.0)
    assert last is not None
    assert last[2] == 20, "the loss is told with the next block that fits"
    assert queue.get(0.01) is None


def test_the_queue_copies_and_wakes_the_reader() -> None:
    queue = BlockQueue(4)
    samples = np.ones((10, 1), np.float32)
    got: list[Any] = []
    reader = threading.Thread(target=lambda: got.append(queue.get(5.0)))
    reader.start()
    queue.put(samples, 1.0, gap=True)
    samples[:] = 7
    reader.join(5.0)
    assert got[0][0].max() == 1.0
    assert got[0][3] is True


def test_names_of_microphones() -> None:
    entries = [
        {"name": "speakers", "max_input_channels": 0},
        {"name": "desk microphone", "max_input_channels": 1},
        {"name": "desk microphone 2", "max_input_channels": 2},
    ]
    assert match_device("desk microphone", entries) == 1
    assert match_device("phone 2", entries) == 2
    with pytest.raises(SoundUnavailable, match="2 microphones have such a name"):
        match_device("desk", entries)
    with pytest.raises(SoundUnavailable, match="no such microphone"):
        match_device("speakers", entries)
