"""The chain on frames whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from liveview.engine.chain import Chain
from liveview.imaging.palettes import palette
from liveview.model import (
    Average,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameStamp,
    Pixels,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings, validated

ROWS, COLUMNS = 180, 240
DISC = Disc(118.0, 92.0, 75.0)
Y, X = np.mgrid[:ROWS, :COLUMNS].astype(np.float64)
ACROSS = (X - DISC.cx) / DISC.radius
RIM = np.clip(DISC.radius - np.hypot(X - DISC.cx, Y - DISC.cy) + 0.5, 0, 1)
OPEN = RIM * (0.7 - 0.1 * ACROSS**2)
DARK = 0.02
WITHIN = np.hypot(X - DISC.cx, Y - DISC.cy) < DISC.radius - 3
PLUME = 0.08 * (ACROSS / 0.2) * np.exp(-((ACROSS / 0.2) ** 2)) * np.exp(-(((Y - 90) / 50) ** 2))


def info(bits: int = 8, **more: object) -> SourceInfo:
    plain = SourceInfo(
        SourceKind.SIMULATED, "test", COLUMNS, ROWS, 1, bits, 2**bits - 1, False, 60.0,
        transfer="linear",
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]


class Rig:
    """Makes frames: photons of 1/K codes each, read noise, dark level."""

    def __init__(self, white: int = 255, noise: float = 1.0, seed: int = 1) -> None:
        self.white = white
        self.noise = noise
        self.rng = np.random.default_rng(seed)
        self.number = 0

    def pixels(self, light: np.ndarray) -> Pixels:
        photons = 4000.0
        shot = self.noise * np.sqrt(np.maximum(light, 0) / photons + 3e-6)
        seen = DARK + light + shot * self.rng.standard_normal(light.shape)
        codes = np.clip(np.rint(seen * self.white), 0, self.white)
        return codes.astype(np.uint8 if self.white == 255 else np.uint16)

    def frame(self, light: np.ndarray) -> Frame:
        self.number += 1
        stamp = FrameStamp(self.number, self.number / 60.0)
        return Frame(self.pixels(light), stamp, self.white)


def calibration(chain_info: SourceInfo, uncut: float = 0.5, **without: bool) -> Calibration:
    """Noise-free pictures; ``dark=False`` and so on leave one out."""
    state = chain_info.camera_state

    def picture(light: np.ndarray) -> Average:
        return Average((DARK + light).astype(np.float32), 1000, 0.0, "", state)

    pictures = {"dark": 0 * OPEN, "open": OPEN, "reference": uncut * OPEN}
    return Calibration(
        **{kind: picture(p) for kind, p in pictures.items() if without.get(kind, True)}
    )


def chain_with(settings: Settings | None = None, uncut: float = 0.5, bits: int = 8) -> Chain:
    chain = Chain(settings or Settings(), info(bits))
    chain.set_calibration(calibration(info(bits), uncut))
    return chain


def enhance(**values: object) -> Settings:
    return validated({"enhance": values}, "test")


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


def test_the_lamps_gain_is_taken_out() -> None:
    chain, rig = chain_with(), Rig()
    frame = rig.frame(0.9 * 0.5 * OPEN * (1 + PLUME))
    assert chain.run(frame).lamp_gain == pytest.approx(0.9, abs=0.003)
    assert np.median(chain.contrast(frame)[WITHIN]) == pytest.approx(0, abs=0.005)
    chain.apply(enhance(lamp_correction="off"))
    assert np.median(chain.contrast(frame)[WITHIN]) == pytest.approx(-0.1, abs=0.005)


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


def test_a_first_background_is_taken_anew_when_the_blade_moves() -> None:
    chain, rig = Chain(Settings(), info()), Rig()
    for _ in range(20):
        chain.run(rig.frame(0.8 * OPEN))
    for _ in range(40):
        reading = chain.run(rig.frame(0.4 * OPEN))
    assert reading.lamp_gain == pytest.approx(1, abs=0.01)
    assert reading.blade.relative == pytest.approx(0.5, abs=0.05)


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


def test_the_palette_is_the_one_of_the_legend() -> None:
    chain, rig = chain_with(enhance(view="signed", gain_contrast=0.2)), Rig(noise=0.0)
    picture = chain.run(rig.frame(0.5 * OPEN)).picture
    centre = palette("signed")[126:131, :3].tolist()
    assert picture[92, 118, :3].tolist() in centre


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


def test_significance_counts_in_noise() -> None:
    chain, rig = chain_with(enhance(view="significance")), Rig()
    for _ in range(12):
        reading = chain.run(rig.frame(0.5 * OPEN))
    assert reading.scale == 6.0
    assert reading.histogram is not None
    assert reading.histogram.noise_sigma == pytest.approx(1.0)


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
