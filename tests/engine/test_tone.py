"""The blade meter for the ear."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.signal import periodogram

from liveview.engine.tone import (
    LOUDNESS,
    LOW_HZ,
    OCTAVES,
    PULSES_HZ,
    RATE_HZ,
    TICK_EVERY_S,
    Tone,
    ToneMaker,
    pitch_hz,
)
from liveview.errors import SoundUnavailable


def strongest_hz(wave: np.ndarray) -> float:
    frequency, power = periodogram(wave.astype(np.float64), RATE_HZ)
    return float(frequency[np.argmax(power)])


def settled(distance: float | None, inside: bool = False) -> ToneMaker:
    maker = ToneMaker()
    maker.aim(distance, inside)
    maker.render(24000)
    return maker


def test_pitch_rises_towards_the_target() -> None:
    assert pitch_hz(0.5) == pytest.approx(LOW_HZ)
    assert pitch_hz(-0.9) == pytest.approx(LOW_HZ)
    assert pitch_hz(0.0) == pytest.approx(LOW_HZ * 2**OCTAVES)
    assert pitch_hz(0.3) < pitch_hz(0.2) < pitch_hz(-0.1)


@pytest.mark.parametrize("distance", [0.4, 0.1])
def test_too_open_is_a_steady_tone_of_that_pitch(distance: float) -> None:
    wave = settled(distance).render(48000)
    # One second of samples resolves 1 Hz.
    assert strongest_hz(wave) == pytest.approx(pitch_hz(distance), abs=1.0)
    parts = np.abs(wave).reshape(100, -1).max(axis=1)
    assert parts.min() > 0.95 * LOUDNESS


def test_too_far_cut_is_pulsed() -> None:
    wave = settled(-0.2).render(48000)
    loud = np.abs(wave).reshape(200, -1).max(axis=1)
    assert loud.min() < 0.05 * LOUDNESS
    assert loud.max() > 0.95 * LOUDNESS
    rising = np.count_nonzero(np.diff((loud > LOUDNESS / 2).astype(int)) == 1)
    assert rising == pytest.approx(PULSES_HZ, abs=1)


def test_silent_inside_but_for_ticks() -> None:
    wave = settled(0.01, inside=True).render(round(3 * RATE_HZ * TICK_EVERY_S))
    blocks = np.abs(wave).reshape(300, -1).max(axis=1) > 1e-4
    assert np.count_nonzero(np.diff(blocks.astype(int)) == 1) == pytest.approx(3, abs=1)
    assert blocks.mean() < 0.05


def test_nothing_known_is_silence() -> None:
    assert np.abs(settled(None).render(48000)).max() < 1e-6


def test_no_jumps_where_blocks_join_or_the_aim_changes() -> None:
    maker, waves = ToneMaker(), []
    for distance in (0.4, 0.4, -0.3, 0.05, None, 0.2):
        maker.aim(distance)
        waves += [maker.render(480) for _ in range(7)]
    wave = np.concatenate(waves)
    steepest = LOUDNESS * 2 * np.pi * LOW_HZ * 2**OCTAVES / RATE_HZ
    # The steepest a sine of the highest pitch gets; a click would be far steeper.
    assert np.abs(np.diff(wave)).max() < 1.1 * steepest


class Outputs:
    """The sound library of a computer with one output, or none."""

    class PortAudioError(Exception):
        pass

    def __init__(self, works: bool) -> None:
        self.works = works
        self.opened = self.closed = 0

    def OutputStream(self, **options: Any) -> Outputs:
        if not self.works:
            raise self.PortAudioError("no default output device")
        self.opened += 1
        self.callback = options["callback"]
        return self

    def start(self) -> None:
        pass

    def close(self) -> None:
        self.closed += 1


def test_the_output_is_opened_and_closed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    library = Outputs(works=True)
    monkeypatch.setattr("liveview.engine.tone.sound_library", lambda: library)
    tone = Tone()
    tone.stop()
    tone.start()
    tone.start()
    assert tone.playing
    tone.maker.aim(0.3, False)
    out = np.zeros((24000, 1), np.float32)
    library.callback(out, 24000, None, None)
    assert strongest_hz(out[12000:, 0]) == pytest.approx(pitch_hz(0.3), rel=0.02)
    tone.stop()
    tone.stop()
    assert not tone.playing
    assert (library.opened, library.closed) == (1, 1)


def test_without_an_output_there_are_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("liveview.engine.tone.sound_library", lambda: Outputs(works=False))
    tone = Tone()
    with pytest.raises(SoundUnavailable, match="no sound output"):
        tone.start()
    assert not tone.playing
