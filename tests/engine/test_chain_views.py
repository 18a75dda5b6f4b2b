"""What the chain paints, and in which unit."""

from __future__ import annotations

import numpy as np
import pytest
from support.chain_rig import (
    COLUMNS,
    OPEN,
    PLUME,
    ROWS,
    WITHIN,
    Rig,
    calibration,
    chain_with,
    enhance,
    info,
)

from liveview.engine.chain import Chain
from liveview.imaging.palettes import palette
from liveview.model import (
    Frame,
    FrameStamp,
)
from liveview.settings import Settings


@pytest.mark.parametrize("view", ["plain", "lifted", "signed"])
def test_views(view: str) -> None:
    chain, rig = chain_with(enhance(view=view, gain_contrast=0.1)), Rig()
    reading = chain.run(rig.frame(0.5 * OPEN * (1 + 4 * PLUME)))
    assert reading.view == view
    assert reading.scale == (None if view == "plain" else 0.1)
    bright, dark = (reading.picture[90, 118 + dx, :3].astype(int) for dx in (11, -11))
    if view == "signed":
        assert bright[2] > bright[0] + 50 and dark[0] > dark[2] + 50
        assert (reading.picture[5, 5] == 0).all() or (reading.picture[5, 5, :3] == 0).all()
    if view == "lifted":
        assert bright[0] > 180 and dark[0] < 80
        assert (np.diff(reading.picture[..., :3].astype(int), axis=2) == 0).all()


def test_plain_colour_is_the_frame() -> None:
    source = info(channels=3, transfer="srgb")
    chain = Chain(enhance(view="plain"), source)
    pixels = np.random.default_rng(0).integers(0, 256, (ROWS, COLUMNS, 3), dtype=np.uint8)
    reading = chain.run(Frame(pixels, FrameStamp(0, 0.0), 255))
    assert (reading.picture[..., :3] == pixels).all()
    assert any("not found" in words for words in reading.words)


def test_pictures_stay_for_three_readings() -> None:
    chain, rig = chain_with(), Rig()
    first = chain.run(rig.frame(0.5 * OPEN)).picture
    kept = first.copy()
    for _ in range(3):
        chain.run(rig.frame(0.4 * OPEN * (1 + PLUME)))
    assert (first == kept).all()


def test_nothing_of_an_earlier_view_is_left() -> None:
    chain, rig = chain_with(enhance(view="plain")), Rig()
    for _ in range(5):
        chain.run(rig.frame(0.5 * OPEN + 0.2))
    chain.apply(enhance(view="lifted"))
    for _ in range(5):
        assert (chain.run(rig.frame(0.5 * OPEN + 0.2)).picture[:10, :, :3] == 0).all()


@pytest.mark.slow
def test_units() -> None:
    rig = Rig()
    for unit in ("contrast", "arcsec", "sigma"):
        chain = chain_with(enhance(unit=unit, gain_contrast=0.1))
        for _ in range(6):
            reading = chain.run(rig.frame(0.5 * OPEN))
        assert reading.unit == unit
        assert reading.histogram is not None and reading.histogram.unit == unit
        if unit == "sigma":
            assert reading.histogram.noise_sigma == pytest.approx(1)
        if unit == "arcsec":
            # a T0/(N L) for the default rig: 1 mm, half cut, two arms of 2.4 m.
            arcsec = 0.1 * 1e-3 * 0.5 / 4.8 / 4.84814e-6
            assert reading.scale == pytest.approx(arcsec, rel=0.01)


def test_no_angles_without_dark_and_open() -> None:
    chain, rig = Chain(enhance(unit="arcsec"), info()), Rig()
    reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.unit == "contrast"
    assert any("no angles" in words for words in reading.words)


def test_the_palette_is_the_one_of_the_legend() -> None:
    chain, rig = chain_with(enhance(view="signed", gain_contrast=0.2)), Rig(noise=0.0)
    picture = chain.run(rig.frame(0.5 * OPEN)).picture
    centre = palette("signed")[126:131, :3].tolist()
    assert picture[92, 118, :3].tolist() in centre


@pytest.mark.parametrize("view", ["movement", "trail", "arrows", "significance"])
def test_further_views(view: str) -> None:
    chain, rig = chain_with(enhance(view=view)), Rig()
    for number in range(12):
        moving = np.roll(PLUME, 3 * number, axis=1)
        reading = chain.run(rig.frame(0.5 * OPEN * (1 + 4 * moving)))
    assert reading.view == view
    assert reading.scale is not None and reading.scale > 0
    inside = reading.picture[WITHIN][:, :3].astype(float)
    assert inside.std() > 5
    assert (reading.picture[:5, :, :3] == 0).all()
    assert reading.unit == ("sigma" if view == "significance" else "contrast")
    if view in ("arrows", "trail"):
        assert any(view in note for note in reading.notes)


@pytest.mark.parametrize(("rate_hz", "drawn"), [(8, False), (20, False), (24, True), (30, True)])
def test_arrows_are_left_out_in_words_when_frames_are_too_few(rate_hz: int, drawn: bool) -> None:
    pictures = {}
    for view in ("lifted", "arrows"):
        chain, rig = chain_with(enhance(view=view, gain_contrast=0.2)), Rig()
        for number in range(18):
            moving = np.roll(PLUME, 3 * number, axis=1)
            frame = rig.frame(0.5 * OPEN * (1 + 4 * moving))
            stamp = FrameStamp(number, number / rate_hz)
            reading = chain.run(Frame(frame.pixels, stamp, frame.white))
        pictures[view] = reading.picture
    assert np.array_equal(pictures["arrows"], pictures["lifted"]) is not drawn
    assert any("no arrows" in note for note in reading.notes) is not drawn
    if drawn:
        assert "arrows: way of the pattern in 200 ms" in reading.notes


def test_significance_counts_in_noise() -> None:
    chain, rig = chain_with(enhance(view="significance")), Rig()
    for _ in range(12):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.scale == 6.0
    assert reading.histogram is not None
    assert reading.histogram.noise_sigma == pytest.approx(1.0)


def test_without_pictures_the_readings_are_the_same() -> None:
    readings = []
    for pictures in (True, False):
        chain = Chain(Settings(), info(), pictures=pictures)
        chain.set_calibration(calibration(info()))
        rig = Rig()
        readings.append([chain.run(rig.frame(0.5 * OPEN * (1 + PLUME))) for _ in range(6)][-1])
    seen, blind = readings
    assert blind.picture.size == 0
    assert blind.blade == seen.blade
    assert blind.noise == seen.noise
    assert np.array_equal(blind.histogram.counts, seen.histogram.counts)
