"""The camera's delay from flashes that were seen and heard."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.model import SoundBlock
from liveview.trigger.clock import Moment, find_delay
from liveview.trigger.onset import OnsetDetector

FRAME_S = 1 / 60


def seen_and_heard(
    delay_s: float, path_s: float, count: int, seed: int = 1, every_s: float = 2.0
) -> tuple[list[Moment], list[Moment]]:
    """Flashes somewhere in a frame, and their sounds."""
    rng = np.random.default_rng(seed)
    moments = np.arange(count) * every_s + rng.uniform(0, 0.3, count)
    within = rng.uniform(-0.5, 0.5, count) * FRAME_S
    seen = [
        Moment(t + delay_s + e, FRAME_S / 12**0.5) for t, e in zip(moments, within, strict=True)
    ]
    heard = [Moment(t + path_s, 1e-4) for t in moments]
    return seen, heard


def test_nothing_is_found_in_nothing() -> None:
    assert find_delay([], [], 0.0) is None
    assert find_delay([Moment(1, 0.01)] * 2, [Moment(1, 0.01)] * 2, 0.0) is None


def test_a_camera_that_is_not_late() -> None:
    seen = [Moment(t, 1e-4) for t in (1.0, 3.0, 5.0)]
    found = find_delay(seen, seen, 0.0)
    assert found is not None
    assert found.delay_s == pytest.approx(0.0, abs=1e-9)
    assert found.pairs == 3


@pytest.mark.parametrize("delay_s", [-0.05, 0.0, 0.031, 0.4])
def test_a_set_delay_is_found_within_its_own_uncertainty(delay_s: float) -> None:
    off = []
    for seed in range(30):
        found = find_delay(*seen_and_heard(delay_s, 0.0029, 8, seed), 0.0029)
        assert found is not None
        off.append((found.delay_s - delay_s) / found.error_s)
        # eight flashes somewhere in a frame: its length over root 12 over root 8, and some spread
        assert found.error_s < 2 * FRAME_S / 12**0.5 / 8**0.5
    # the stated uncertainty is a true one: the root mean square of 30 is 1 within 13 % (1 sigma)
    assert 0.4 < np.sqrt(np.mean(np.square(off))) < 1.5


def test_flashes_and_sounds_without_a_partner_do_no_harm() -> None:
    seen, heard = seen_and_heard(0.08, 0.001, 6)
    del heard[1], seen[4]
    seen.append(Moment(40.0, 0.005))
    heard += [Moment(t, 1e-4) for t in (0.9, 7.31, 33.0)]
    found = find_delay(seen, sorted(heard, key=lambda m: m.time_s), 0.001)
    assert found is not None
    assert found.pairs == 4
    assert found.delay_s == pytest.approx(0.08, abs=0.006)


def test_a_row_of_sparks_that_fits_everywhere_is_refused() -> None:
    # every tenth of a second: a delay of 0 and one of 0.1 s explain it equally well
    moments = [Moment(0.1 * k, 1e-4) for k in range(20)]
    assert find_delay(moments, moments, 0.0) is None


def test_distance_and_sound_stamps_limit_what_repetition_mends() -> None:
    seen, heard = seen_and_heard(0.02, 0.003, 40)
    rough = find_delay(seen, [Moment(m.time_s, 0.01) for m in heard], 0.003, path_error_s=0.002)
    assert rough is not None
    assert rough.error_s >= (0.01**2 + 0.002**2) ** 0.5


def blocks(sound: np.ndarray, rate_hz: float = 48_000.0, size: int = 960) -> list[SoundBlock]:
    return [
        SoundBlock(sound[k : k + size, None].astype(np.float32), rate_hz, k / rate_hz)
        for k in range(0, len(sound), size)
    ]


def heard_in(sound: np.ndarray) -> list[float]:
    detector = OnsetDetector()
    return [time_s for block in blocks(sound) for time_s in detector.hear(block)]


def test_steady_sound_has_no_beginning() -> None:
    rng = np.random.default_rng(2)
    hum = 0.1 * np.sin(2 * np.pi * 50 * np.arange(96_000) / 48_000)
    assert heard_in(np.zeros(96_000)) == []
    assert heard_in(hum + rng.normal(0, 0.003, 96_000)) == []


@pytest.mark.parametrize("at", [30_000, 30_719, 30_720, 31_001])
def test_a_click_and_a_clap_are_timed_at_their_beginning(at: int) -> None:
    rng = np.random.default_rng(3)
    for length in (12, 2400):
        sound = rng.normal(0, 0.002, 96_000)
        sound[at : at + length] += 0.5 * rng.normal(0, 1, length) * np.exp(-np.arange(length) / 400)
        found = heard_in(sound)
        assert len(found) == 1
        # a few samples of a twentieth of a millisecond
        assert found[0] == pytest.approx(at / 48_000, abs=2e-4)


def test_a_hole_in_the_sound_is_no_click() -> None:
    detector = OnsetDetector()
    rng = np.random.default_rng(4)
    found: list[float] = []
    for k, block in enumerate(blocks(rng.normal(0, 0.01, 96_000))):
        lost = 4800 if k == 30 else 0
        found += detector.hear(
            SoundBlock(block.samples + 0.2 * (k >= 30), 48_000.0, k / 50, 0.0, lost)
        )
    assert found == []
