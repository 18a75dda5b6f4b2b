"""Backgrounds that follow, steadying, averaging, lamp: each with its cost in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.chain_rig import (
    ACROSS,
    OPEN,
    PLUME,
    WITHIN,
    Rig,
    Y,
    chain_with,
    enhance,
    info,
)

from liveview.engine.chain import Chain
from liveview.settings import Settings


def test_the_lamps_gain_is_taken_out() -> None:
    chain, rig = chain_with(), Rig()
    frame = rig.frame(0.9 * 0.5 * OPEN * (1 + PLUME))
    assert chain.run(frame).lamp_gain == pytest.approx(0.9, abs=0.003)
    assert np.median(chain.contrast(frame)[WITHIN]) == pytest.approx(0, abs=0.005)
    chain.apply(enhance(lamp_correction="off"))
    assert np.median(chain.contrast(frame)[WITHIN]) == pytest.approx(-0.1, abs=0.005)


def test_a_first_background_is_taken_anew_when_the_blade_moves() -> None:
    chain, rig = Chain(Settings(), info()), Rig()
    for _ in range(20):
        chain.run(rig.frame(0.8 * OPEN))
    for _ in range(40):
        reading = chain.run(rig.frame(0.4 * OPEN))
    assert reading.lamp_gain == pytest.approx(1, abs=0.01)
    assert reading.blade.relative == pytest.approx(0.5, abs=0.05)


def test_verdict_of_the_histogram() -> None:
    chain, rig = chain_with(), Rig()
    for _ in range(12):
        quiet = chain.run(rig.frame(0.5 * OPEN))
    assert quiet.histogram is not None and "nothing above" in quiet.histogram.verdict
    held = chain.run(rig.frame(0.5 * OPEN * (1 + 4 * PLUME)))
    assert held.histogram is not None and "nothing above" in held.histogram.verdict
    rig.number += 15
    flow = chain.run(rig.frame(0.5 * OPEN * (1 + 4 * PLUME)))
    assert flow.histogram is not None and "something is there" in flow.histogram.verdict


def test_costs_are_said() -> None:
    chain, rig = chain_with(enhance(average_frames=7, smooth_px=2, background="running")), Rig()
    for _ in range(30):
        reading = chain.run(rig.frame(0.5 * OPEN))
    notes = "; ".join(reading.notes)
    assert "average of 7 frames: noise / 2.6, 0.05 s behind" in notes
    assert "faint detail below 5 px fades" in notes
    assert "follows in 20 s" in notes
    assert reading.noise.averaged == 7


def test_shake_is_undone_and_told() -> None:
    chain, rig = chain_with(enhance(steady=True)), Rig()
    rolled = np.roll(0.5 * OPEN, (2, -3), axis=(0, 1))
    reading = chain.run(rig.frame(rolled))
    assert reading.shift_px == pytest.approx((-3, 2), abs=0.1)
    contrast = chain.contrast(rig.frame(rolled))
    assert abs(np.nanmean(contrast[WITHIN])) < 0.005
    assert not any("not steadied" in words for words in reading.words)
    blank = chain.run(rig.frame(np.full_like(OPEN, 0.3)))
    assert blank.shift_px is None
    assert any("not steadied" in words for words in blank.words)


def test_steady_without_a_reference() -> None:
    chain, rig = Chain(enhance(steady=True), info()), Rig()
    for number in range(20):
        rolled = np.roll(0.5 * OPEN, number % 3, axis=1)
        reading = chain.run(rig.frame(rolled))
    assert reading.shift_px is not None
    assert reading.shift_px[0] == pytest.approx(19 % 3, abs=0.2)


def test_the_same_frame_again_counts_once() -> None:
    chain, rig = chain_with(enhance(average_frames=4)), Rig()
    frames = [rig.frame(0.5 * OPEN) for _ in range(3)]
    for frame in frames:
        chain.run(frame)
    before = chain.contrast(frames[-1])
    for _ in range(5):
        chain.run(frames[-1])
    assert np.array_equal(chain.contrast(frames[-1]), before, equal_nan=True)


def test_an_average_begins_anew_after_a_jump() -> None:
    chain, rig = chain_with(enhance(average_frames=16)), Rig()
    for _ in range(10):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.noise.averaged > 8
    frame = rig.frame(0.5 * OPEN)
    late = replace(frame, stamp=replace(frame.stamp, time_s=500.0))
    assert chain.run(late).noise.averaged == 1


@pytest.mark.slow
@pytest.mark.parametrize("background", ["running", "median"])
def test_backgrounds_that_follow(background: str) -> None:
    chain = chain_with(enhance(background=background, background_time_s=0.5, lamp_correction="off"))
    rig = Rig()
    tilted = 0.5 * OPEN * (1 + 0.04 * ACROSS)
    for _ in range(150):
        chain.run(rig.frame(tilted))
    frame = rig.frame(tilted)
    chain.run(frame)
    contrast = chain.contrast(frame)[WITHIN]
    slope = np.polyfit(ACROSS[WITHIN], contrast, 1)[0]
    assert abs(slope) < 0.008


@pytest.mark.slow
def test_late_steps_are_left_out_in_words() -> None:
    ticking = iter(np.arange(0, 1e6, 0.002))
    chain = Chain(enhance(smooth_px=2), info(live=True), clock=lambda: float(next(ticking)))
    rig = Rig()
    for _ in range(60):
        reading = chain.run(rig.frame(0.5 * OPEN))
    # Every step takes two milliseconds of this clock: more than 13 in all.
    assert reading.budget_ms == pytest.approx(13.3, abs=0.1)
    assert "smooth" in reading.skipped
    assert any("short of time: without smoothing" in words for words in reading.words)
    assert reading.histogram is not None


def test_row_gains_of_a_rolling_shutter() -> None:
    rig = Rig()
    bands = 1 + 0.1 * np.sin(2 * np.pi * 2.5 * Y / 150 + 1)
    left = []
    for correction in ("frame", "rows"):
        chain = chain_with(enhance(lamp_correction=correction))
        frame = rig.frame(0.5 * OPEN * bands)
        chain.run(frame)
        means = np.nanmean(np.where(WITHIN, chain.contrast(frame), np.nan)[25:160], axis=1)
        left.append(means.std())
    assert left[0] > 0.05
    assert left[1] < 0.01
