"""The aids for setting up, on frames made here."""

from __future__ import annotations

import numpy as np
import pytest
from support.plain_frames import RATE, X, Y, frame, info, reading

from liveview.engine.aids import AlignAids, BladeSmoother, Target
from liveview.imaging.spot import Walk
from liveview.model import Frame, FrameStamp
from liveview.settings import Settings


def test_good_exposure_no_marks_and_sharp_rim() -> None:
    aids = AlignAids(Settings(), info())
    found = None
    for number in range(60):
        of = frame(number, 0.4)
        found = aids.see(of, reading(of))
    assert found is not None
    assert found.levels is not None
    assert found.levels.mean == pytest.approx(0.4, abs=0.005)
    # Half cut at 0.4 means 0.8 with the blade out: as wanted.
    assert found.exposure_words == "exposure is good"
    assert found.clipped is None
    assert found.mains is None
    assert found.focus is not None
    assert found.focus.share > 0.9
    assert found.focus_inset is not None
    assert found.uncut is not None
    assert found.uncut.steady


@pytest.mark.parametrize(("level", "dark"), [(0.0, True), (0.03, False), (0.4, False)])
def test_at_the_dark_level_there_is_no_advice(level: float, dark: bool) -> None:
    aids = AlignAids(Settings(), info())
    gain = 0.0 if dark else 1.0
    of = frame(0, level, gain)
    if dark:
        of.pixels[:] = np.clip(of.pixels + 3, 0, 9)  # a black level and its noise
        of.pixels[20:22, 40] = 255  # hot pixels
    found = aids.see(of, reading(of))
    assert found.dark is dark
    assert ("no light" in found.exposure_words) is dark
    assert ("expose" in found.exposure_words) is (level == 0.03)


def test_the_mirror_is_no_spot_on_a_card() -> None:
    aids = AlignAids(Settings(), info())
    of = frame(0, 0.4)
    aids.see(of, reading(of))
    aids.look_at(Target.CARD)
    found = aids.see(of, reading(of))
    assert found.no_spot
    assert found.spot is None
    assert found.smallest is None
    smaller = 0.4 * np.exp(-8 * ((X - 160) ** 2 + (Y - 120) ** 2) / 60**2)
    codes = np.rint(255 * (smaller + 0.02)).astype(np.uint8)
    found = aids.see(Frame(codes, FrameStamp(1, 1 / RATE), 255), reading(of))
    assert not found.no_spot
    assert found.spot is not None


def test_one_clipped_pixel_is_marked_where_it_is() -> None:
    aids = AlignAids(Settings(), info())
    of = frame(0, 0.4)
    of.pixels[100, 150] = 255
    clipped = aids.see(of, reading(of)).clipped
    assert clipped is not None
    rows, columns = np.nonzero(clipped.marks == 255)
    places = {
        (clipped.x + c * clipped.cell, clipped.y + r * clipped.cell)
        for r, c in zip(rows.tolist(), columns.tolist(), strict=True)
    }
    assert places
    assert all(abs(x - 150) <= 4 and abs(y - 100) <= 4 for x, y in places)


@pytest.mark.slow
def test_mains_ripple_in_the_frames() -> None:
    aids = AlignAids(Settings(), info())
    for number in range(240):
        ripple = 1 + 0.05 * np.sin(2 * np.pi * 100 * number / RATE)
        of = frame(number, 0.4 * ripple)
        found = aids.see(of, reading(of))
    assert found.mains is not None
    assert found.mains.ripple_hz == 100


def test_mains_ripple_in_the_rows_where_the_frames_stand_still() -> None:
    """120 Hz at 60 frames a second is the same in every frame, but for a slow drift of the mains;
    the rows of a frame then differ from their running mean as the bands creep."""
    row_time = 0.014 / 240
    aids = AlignAids(Settings(), info(row_time))
    for number in range(120):
        t = number / RATE + np.arange(240) * row_time
        ripple = (1 + 0.06 * np.sin(2 * np.pi * 119.4 * t))[:, None]
        of = frame(number, 0.4, ripple)
        found = aids.see(of, reading(of))
    assert found.mains is not None
    # One and a quarter periods in a frame do not tell 120 from 100 Hz, and it says so.
    assert not found.mains.sure
    assert "100 or 120 Hz" in found.mains.advice
    assert found.mains.depth == pytest.approx(0.06, rel=0.15)


@pytest.mark.slow
def test_a_plume_is_no_mains_ripple_in_the_rows() -> None:
    """Bands cross the picture; puffs that rise in a part of it do not."""
    row_time = 0.014 / 240
    aids = AlignAids(Settings(), info(row_time))
    rng = np.random.default_rng(5)
    plume = np.abs(X - 150) < 20
    found_any = []
    for number in range(240):
        slow = np.interp(Y, np.linspace(0, 240, 7), rng.normal(0, 0.2, 7))
        of = frame(number, 0.4, np.where(plume, 1 + slow, 1.0))
        found_any.append(aids.see(of, reading(of)).mains)
    assert found_any == [None] * 240


def test_card() -> None:
    aids = AlignAids(Settings(), info())
    aids.look_at(Target.CARD)
    walks = []
    for number, width in enumerate([60, 50, 40, 30, 36]):
        spot = 0.7 * np.exp(-8 * ((X - 200) ** 2 + (Y - 90) ** 2) / width**2)
        codes = np.rint(255 * (spot + 0.02)).astype(np.uint8)
        of = Frame(codes, FrameStamp(number, number / RATE), 255)
        found = aids.see(of, reading(of))
        walks.append(found.walk)
    assert walks == [Walk.UNKNOWN, Walk.ON, Walk.ON, Walk.ON, Walk.BACK]
    assert found.smallest is not None
    # Codes are rounded, which cuts off the foot of the Gaussian at half a code.
    assert found.smallest.mean_px == pytest.approx(30, rel=0.03)
    aids.forget_best()
    assert aids.see(of, reading(of)).walk is Walk.UNKNOWN


def test_smoother_states_its_delay() -> None:
    smoother = BladeSmoother(0.2)
    for k in range(240):
        found = smoother.see(0.001 * k, k / RATE)
    late = (0.001 * 239 - found.value) / (0.001 * RATE)
    # Sampled at 60 Hz the filter lags half a frame less than its time constant.
    assert late == pytest.approx(found.delay_s, abs=0.6 / RATE)
    assert not found.steady
    for k in range(240, 360):
        found = smoother.see(0.239, k / RATE)
    assert found.steady
    assert found.value == pytest.approx(0.239, abs=1e-4)
    assert smoother.see(0.8, 0.0).value == 0.8


def test_no_smoothing_no_delay() -> None:
    smoother = BladeSmoother(0.0)
    smoother.see(0.2, 0.0)
    assert smoother.see(0.9, 0.1).value == pytest.approx(0.9)
