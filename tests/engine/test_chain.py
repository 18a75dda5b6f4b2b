"""The chain on frames whose truth is known: contrast, calibration, disc, blade."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.chain_rig import (
    ACROSS,
    COLUMNS,
    DISC,
    OPEN,
    PLUME,
    ROWS,
    WITHIN,
    Rig,
    X,
    calibration,
    chain_with,
    enhance,
    info,
)

from liveview.engine.chain import Chain
from liveview.model import (
    Average,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameStamp,
)
from liveview.settings import Settings, validated


def test_quiet_air() -> None:
    chain, rig = chain_with(), Rig()
    for _ in range(12):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.disc is not None
    assert (reading.disc.cx, reading.disc.cy) == pytest.approx((DISC.cx, DISC.cy), abs=0.3)
    assert reading.disc.radius == pytest.approx(DISC.radius, abs=0.3)
    assert reading.blade.uncut == pytest.approx(0.5, abs=0.005)
    assert reading.blade.tilt_across == pytest.approx(0, abs=0.01)
    assert reading.lamp_gain == pytest.approx(1, abs=0.002)
    assert reading.words == ()
    assert reading.view == "lifted"
    assert reading.picture.shape == (ROWS, COLUMNS, 4)
    names = [name for name, _ in reading.steps_ms]
    assert names == sorted(set(names), key=names.index)
    histogram = reading.histogram
    assert histogram is not None and histogram.above_noise is not None
    assert histogram.above_noise < 0.01
    assert (histogram.range_low, histogram.range_high) == pytest.approx((-1, 1), abs=0.02)
    assert histogram.counts.sum() == pytest.approx(np.pi * DISC.radius**2, rel=0.04)


def test_quiet_air_after_a_flash() -> None:
    chain, rig = chain_with(), Rig()
    for _ in range(12):
        before = chain.run(rig.frame(0.2 * OPEN))
    flash = chain.run(rig.frame(0.2 * OPEN * np.where(DISC.cx > X, 4.5, 1.0)))
    after = chain.run(rig.frame(0.2 * OPEN))
    shares = [r.histogram and r.histogram.above_noise for r in (before, flash, after)]
    assert shares[0] is not None and shares[1] is not None and shares[2] is not None
    assert flash.histogram is not None and flash.histogram.edges[-1] > 2
    assert shares[1] > 0.3
    # Two of frames of pure noise: 0.27 %, and as much again for that of the estimate of noise.
    assert shares[2] == pytest.approx(shares[0], abs=0.003)


def test_contrast_is_the_truth() -> None:
    chain, rig = chain_with(), Rig()
    frame = rig.frame(0.5 * OPEN * (1 + PLUME))
    for _ in range(12):
        reading = chain.run(rig.frame(0.5 * OPEN * (1 + PLUME)))
    chain.run(frame)
    contrast = chain.contrast(frame)
    assert contrast.dtype == np.float32 and contrast.shape == (ROWS, COLUMNS)
    assert np.isnan(contrast[0, 0])
    assert np.isfinite(contrast[WITHIN]).all()
    rest = contrast[WITHIN] - PLUME[WITHIN]
    assert reading.noise.contrast_sigma is not None
    assert rest.std() == pytest.approx(reading.noise.contrast_sigma, rel=0.05)
    # 17000 pixels of noise 0.03 against a plume of 0.014 rms: the slope scatters by 1.6 %.
    slope = (contrast * PLUME)[WITHIN].sum() / (PLUME**2)[WITHIN].sum()
    assert slope == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_depth_is_kept(bits: int) -> None:
    """A step far below one code of 8 bit is there in deeper pictures."""
    settings = enhance(lamp_correction="off")
    chain = chain_with(settings, bits=bits)
    rig = Rig(2**bits - 1, noise=0.0)
    faint = np.where(DISC.cx < X, 1e-3, 0.0)
    contrast = chain.contrast(rig.frame(0.5 * OPEN * (1 + faint)))
    right, left = WITHIN & (DISC.cx + 2 < X), WITHIN & (DISC.cx - 2 > X)
    step = np.median(contrast[right]) - np.median(contrast[left])
    # Half a code in a third of full light.
    assert step == pytest.approx(1e-3, abs=1.5 / 2**bits)
    if bits >= 12:
        assert step == pytest.approx(1e-3, rel=0.4)


def test_window_and_headless_agree() -> None:
    """``contrast`` before or after ``run`` of the same frame says the same."""
    one, two = chain_with(), chain_with()
    frames = [Rig(seed=i).frame(0.5 * OPEN) for i in range(3)]
    for frame in frames:
        one.run(frame)
        assert np.array_equal(one.contrast(frame), two.contrast(frame), equal_nan=True)


def test_clipped_pixels_have_no_contrast_and_are_counted() -> None:
    chain, rig = chain_with(), Rig()
    frame = rig.frame(0.5 * OPEN)
    frame.pixels[80:90, 100:120] = 255
    frame.pixels[100:105, 100:120] = 0
    reading = chain.run(frame)
    contrast = chain.contrast(frame)
    assert np.isnan(contrast[80:90, 100:120]).all()
    assert np.isnan(contrast[100:105, 100:120]).all()
    assert reading.histogram is not None
    pixels = np.pi * DISC.radius**2
    assert reading.histogram.clipped_bright == pytest.approx(200 / pixels, rel=0.05)
    assert reading.histogram.clipped_dark == pytest.approx(100 / pixels, rel=0.05)
    assert reading.blade.uncut == pytest.approx(0.5, abs=0.01)
    frame.pixels[60:120, 80:150] = 255
    assert any("clipped bright" in words for words in chain.run(frame).words)


def test_without_calibration_something_useful_is_shown() -> None:
    chain, rig = Chain(Settings(), info()), Rig()
    for _ in range(20):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.blade.uncut is None
    assert reading.blade.relative == pytest.approx(1, abs=0.02)
    assert any("first 16 frames" in words for words in reading.words)
    contrast = chain.contrast(rig.frame(0.5 * OPEN * (1 + PLUME)))
    slope = (contrast * PLUME)[WITHIN].sum() / (PLUME**2)[WITHIN].sum()
    assert slope == pytest.approx(1, abs=0.1)


def test_stale_reference_is_said() -> None:
    chain, rig = chain_with(), Rig()
    reading = chain.run(rig.frame(0.2 * OPEN))
    assert any("stale" in words for words in reading.words)


def test_pictures_of_another_size_are_left_out_in_words() -> None:
    chain, rig = Chain(Settings(), info()), Rig()
    small = Average(np.ones((10, 10), np.float32), 4, 0.0, "", info().camera_state)
    chain.set_calibration(Calibration(reference=small))
    reading = chain.run(rig.frame(0.5 * OPEN))
    assert any("reference" in words and "size" in words for words in reading.words)


def test_dark_alone_and_open_alone() -> None:
    for kinds in ({"open": False}, {"dark": False}, {"dark": False, "open": False}):
        chain, rig = Chain(Settings(), info()), Rig()
        chain.set_calibration(calibration(info(), **kinds))
        reading = chain.run(rig.frame(0.5 * OPEN))
        assert reading.blade.uncut is None
        assert reading.blade.relative is not None
        assert reading.histogram is not None and reading.histogram.range_low is None


def test_colour_frames_give_the_same_contrast() -> None:
    rig = Rig(noise=0.0)
    frame = rig.frame(0.5 * OPEN * (1 + PLUME))
    grey = chain_with().contrast(frame)
    chain = Chain(Settings(), info(channels=3))
    chain.set_calibration(calibration(info()))
    colour = replace(frame, pixels=np.repeat(frame.pixels[:, :, None], 3, axis=2))
    both = np.isfinite(grey) & np.isfinite(chain.contrast(colour))
    assert both.sum() > 15000
    # Weights that add up to 1 in float32.
    assert chain.contrast(colour)[both] == pytest.approx(grey[both], abs=1e-5)


def test_disc_by_hand_goes_first() -> None:
    chain, rig = chain_with(), Rig()
    chain.set_disc(Disc(100.0, 90.0, 30.0, by_hand=True))
    frame = rig.frame(0.5 * OPEN)
    assert chain.run(frame).disc == Disc(100.0, 90.0, 30.0, by_hand=True)
    assert np.isnan(chain.contrast(frame)[90, 140])
    chain.set_disc(None)
    found = chain.run(rig.frame(0.5 * OPEN)).disc
    assert found is not None and not found.by_hand
    chain.apply(validated({"disc": {"cx": 90, "cy": 80, "radius": 20}}, "test"))
    assert chain.run(rig.frame(0.5 * OPEN)).disc == Disc(90, 80, 20, by_hand=True)


def test_disc_that_appears_later_is_found() -> None:
    chain, rig = Chain(Settings(), info()), Rig()
    assert chain.run(rig.frame(0 * OPEN)).disc is None
    for _ in range(31):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.disc is not None


@pytest.mark.parametrize("disc", [Disc(-50, -50, 20), Disc(0, 0, 1.5), Disc(500, 90, 10)])
def test_disc_outside_or_tiny_does_no_harm(disc: Disc) -> None:
    chain, rig = chain_with(), Rig()
    chain.set_disc(disc)
    reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.picture.shape == (ROWS, COLUMNS, 4)


@pytest.mark.parametrize("shape", [(1, 1), (2, 3), (17, 31), (33, 16)])
def test_odd_sizes(shape: tuple[int, int]) -> None:
    rows, columns = shape
    for view in ("plain", "lifted", "signed"):
        chain = Chain(enhance(view=view), info(width=columns, height=rows))
        for number in range(3):
            pixels = np.full(shape, 90 + number, np.uint8)
            frame = Frame(pixels, FrameStamp(number, number / 60), 255)
            assert chain.run(frame).picture.shape == (rows, columns, 4)
            assert chain.contrast(frame).shape == shape


def test_axial_offset_of_a_tilted_disc() -> None:
    settings = validated(
        {
            "rig": {"mirror_diameter": 0.2, "focal_length": 1.5},
            "lamp": {"image_width": 0.001},
            "blade": {"side": "right"},
        },
        "test",
    )
    chain = chain_with(settings)
    tilted = OPEN * (0.5 - 0.5 * 0.066667 * ACROSS)
    reading = chain.run(Rig().frame(tilted))
    # D 0.2 m, L 3 m, a 1 mm: a tilt of 0.0667 is 1 mm off the focus (Settles 2001, ch. 3).
    assert reading.blade.tilt_across == pytest.approx(0.0667, abs=0.004)
    assert reading.blade.axial_offset_m == pytest.approx(1e-3, abs=6e-5)
    assert "right side is darker" in reading.blade.advice
    assert reading.blade.travel_m == pytest.approx(0.5e-3, abs=1e-5)


def test_fully_cut_blade() -> None:
    chain, rig = chain_with(), Rig(noise=0.3)
    reading = chain.run(rig.frame(0 * OPEN))
    assert reading.blade.uncut == pytest.approx(0, abs=0.01)
    assert "no light" in reading.blade.advice
    assert reading.blade.axial_offset_m is None


def test_to_light_of_the_whole_frame() -> None:
    chain = Chain(Settings(), info(transfer=None))
    frame = Rig().frame(OPEN)
    light = chain.to_light(frame)
    assert light.shape == (ROWS, COLUMNS)
    # Without the source knowing better the settings' curve is used: sRGB.
    assert light.max() == pytest.approx(((frame.pixels.max() / 255 + 0.055) / 1.055) ** 2.4)


def test_one_picture_alone_does_not_stop_calibration_kinds() -> None:
    chain = chain_with()
    chain.set_calibration(chain.calibration.with_picture(CalibrationKind.OPEN, None))
    assert chain.run(Rig().frame(0.5 * OPEN)).blade.uncut is None
