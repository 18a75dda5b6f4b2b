"""Sparks found, and nothing else, on a model of a rig that the detector was not built from."""

from __future__ import annotations

import numpy as np
import pytest
from support.flash_scenes import Bench, Spark

from liveview.model import Disc, Frame, FrameStamp, SourceInfo, SourceKind, Spotted
from liveview.trigger.flash import FlashDetector

ROLLING = {"readout_s": 0.015, "exposure_s": 0.002}
GLOBAL = {"readout_s": 0.0, "exposure_s": 0.002}
SHUTTERS = pytest.mark.parametrize("shutter", [ROLLING, GLOBAL], ids=["rolling", "global"])

CONFUSERS = {
    "quiet": {},
    "flicker": {"flicker": 0.05},
    "plume": {"plume": True},
    "exposure": {"drift": 0.08},
    "hunting": {"hunting": 0.8},
    "lamp": {"steps": ((3.0, 1.2), (4.5, 0.7), (6.0, 1.3))},
    "hand": {"hands": ((3.0, 1.2), (5.5, 0.8))},
    "knock": {"knocks": ((3.0, 2.0, 13.0), (4.7, 5.0, 27.0), (6.5, 1.0, 8.0))},
}
ALL = {
    key: value
    for name, part in CONFUSERS.items()
    if name != "hunting"
    for key, value in part.items()
}


def watch(bench: Bench, seconds: float, sigma: float = 6.0) -> list[Spotted]:
    detector = FlashDetector(bench.info, sigma)
    detector.set_disc(bench.disc)
    found: list[Spotted] = []
    for frame in bench.frames(seconds):
        found += detector.look(frame)
    return found + list(detector.flush())


def sparks(bench: Bench, seconds: float, every_s: float, **light: float) -> tuple[Spark, ...]:
    """Sparks at moments that some rows of a frame see whole."""
    rng = np.random.default_rng(4)
    span_s = bench.readout_s + bench.exposure_s
    times = np.arange(2.0, seconds - 0.5, every_s)
    frames = np.floor(times * bench.rate_hz) / bench.rate_hz
    return tuple(
        Spark(
            t + float(rng.uniform(0.1, 0.9)) * span_s,
            x=float(rng.uniform(0.4, 0.6)),
            y=float(rng.uniform(0.3, 0.7)),
            **light,
        )
        for t in frames
    )


def seen_fully(bench: Bench, spark: Spark) -> bool:
    first = int(spark.time_s * bench.rate_hz) - 1
    least = min(bench.height, bench.exposure_s / max(bench.row_time_s, 1e-9)) / 3
    return any(len(bench.rows_of(n, spark)) >= least for n in range(first, first + 3))


def matched(found: list[Spotted], wanted: list[Spark], within_s: float) -> list[float]:
    """Errors in time of the sparks that were found; fails for those that were not."""
    errors = []
    for spark in wanted:
        near = min(found, key=lambda s: abs(s.time_s - spark.time_s), default=None)
        assert near is not None, f"missed the spark at {spark.time_s:.4f} s"
        errors.append(near.time_s - spark.time_s)
        assert abs(errors[-1]) <= within_s, f"missed the spark at {spark.time_s:.4f} s"
    return errors


@pytest.mark.slow
@SHUTTERS
@pytest.mark.parametrize(
    "name",
    ["plume", *(pytest.param(n, marks=pytest.mark.slow) for n in CONFUSERS if n != "plume")],
)
def test_no_false_alarm(shutter, name):
    assert watch(Bench(**shutter, **CONFUSERS[name], seed=3), 8.0) == []


@pytest.mark.slow
@SHUTTERS
@pytest.mark.parametrize("glow", [0.05, pytest.param(0.001, marks=pytest.mark.slow)])
def test_glow_is_found_to_the_millisecond(shutter, glow):
    """0.001 of full light is one standard deviation of a single dark pixel here."""
    bench = Bench(**shutter, flicker=0.03, plume=True, seed=5)
    bench.sparks = sparks(bench, 9.0, 0.31, glow=glow)
    wanted = [s for s in bench.sparks if seen_fully(bench, s)]
    found = watch(bench, 9.0)
    # Half an exposure is what a global shutter leaves open; rows tell it to a band of four.
    errors = matched(found, wanted, 0.00101)
    assert len(found) <= len(bench.sparks)
    assert np.std(errors) < 0.0007


@pytest.mark.slow
def test_small_spark_without_glow_is_found():
    """The arc alone, five times the noise of its brightest pixel and more."""
    bench = Bench(**GLOBAL, seed=6, plume=True)
    bench.sparks = sparks(bench, 8.0, 0.4, arc=0.2)
    found = watch(bench, 8.0)
    matched(found, list(bench.sparks), 0.00101)
    assert len(found) == len(bench.sparks)


@pytest.mark.slow
@SHUTTERS
def test_sparks_among_all_confusers(shutter):
    bench = Bench(**shutter, **ALL, seed=8)
    bench.sparks = sparks(bench, 8.0, 0.37, glow=0.02, arc=2.0)
    found = watch(bench, 8.0)
    wanted = [s for s in bench.sparks if seen_fully(bench, s)]
    matched(found, wanted, 1.2 / bench.rate_hz)
    assert len(found) <= len(bench.sparks)


@pytest.mark.slow
@SHUTTERS
def test_most_sparks_are_found_while_an_exposure_hunts_as_well(shutter):
    """Its jumps are noise: a spark beside one may be weaker than the threshold."""
    bench = Bench(**shutter, **ALL, hunting=0.8, seed=8)
    bench.sparks = sparks(bench, 8.0, 0.37, glow=0.02, arc=2.0)
    found = watch(bench, 8.0)
    wanted = [s for s in bench.sparks if seen_fully(bench, s)]
    seen = {s.frame for s in found} & {int(s.time_s * bench.rate_hz) for s in wanted}
    assert len(seen) >= 0.85 * len(wanted)
    assert len(found) <= len(bench.sparks)


def test_band_split_over_two_frames_is_one_spark():
    """With an exposure near the frame period each spark's band wraps into the next frame."""
    bench = Bench(readout_s=0.015, exposure_s=0.014, seed=9)
    bench.sparks = sparks(bench, 8.0, 0.31, glow=0.02)
    found = watch(bench, 8.0)
    assert len(found) == len(bench.sparks)
    matched(found, list(bench.sparks), 0.001)


def test_coil_at_a_hundred_a_second_is_seen_from_the_first_spark_on():
    rng = np.random.default_rng(2)
    times = 3.0 + np.cumsum(0.01 + rng.uniform(-0.001, 0.001, 40))
    bench = Bench(**ROLLING, seed=10, sparks=tuple(Spark(float(t), glow=0.02) for t in times))
    found = watch(bench, 5.0)
    seen = [t for t in times if any(len(bench.rows_of(n, Spark(t))) > 8 for n in range(170, 220))]
    assert found[0].time_s == pytest.approx(seen[0], abs=0.001)
    # Two sparks in one frame make one spot; each frame with a spark has one.
    frames = {n for t in seen for n in range(170, 240) if len(bench.rows_of(n, Spark(t))) > 8}
    assert len(found) >= 0.7 * len(frames)


def test_rows_and_frame_are_those_of_the_flash():
    bench = Bench(**ROLLING, seed=11)
    bench.sparks = (Spark(3.0 + 0.008, glow=0.05),)
    (spot,) = watch(bench, 4.0)
    rows = bench.rows_of(180, bench.sparks[0])
    assert spot.frame == 180
    assert spot.rows is not None
    assert spot.rows[0] == pytest.approx(rows[0], abs=4)
    assert spot.rows[1] == pytest.approx(rows[-1], abs=4)
    assert spot.strength > 50
    assert spot.error_s < 0.0005


def test_without_a_disc_the_whole_picture_is_watched():
    bench = Bench(**GLOBAL, seed=12)
    bench.sparks = (Spark(3.001, glow=0.01),)
    detector = FlashDetector(bench.info, 6.0)
    found = [s for frame in bench.frames(4.0) for s in detector.look(frame)]
    assert [s.frame for s in found] == [180]


@pytest.mark.slow
def test_colour_and_sixteen_bits():
    bench = Bench(**GLOBAL, seed=13)
    bench.sparks = (Spark(3.001, glow=0.02),)
    info = bench.info
    for channels, bits in ((3, 8), (1, 16), (3, 16)):
        white = 2**bits - 1
        said = type(info)(
            info.kind, "x", info.width, info.height, channels, bits, white, True, info.rate_hz
        )
        detector = FlashDetector(said, 6.0)
        detector.set_disc(bench.disc)
        found = []
        for frame in bench.frames(3.4):
            pixels = frame.pixels.astype(said.dtype) * (white // 255)
            pixels = np.repeat(pixels[..., None], 3, axis=2) if channels == 3 else pixels
            found += detector.look(Frame(pixels, frame.stamp, white))
        assert [s.frame for s in found] == [180]


@pytest.mark.parametrize("shape", [(1, 1), (3, 5), (17, 333), (200, 4)])
def test_odd_sizes_do_not_matter(shape):
    info = Bench(width=shape[1], height=shape[0]).info
    detector = FlashDetector(info, 6.0)
    rng = np.random.default_rng(1)
    for number in range(80):
        pixels = rng.integers(90, 100, shape, dtype=np.uint8)
        assert detector.look(Frame(pixels, FrameStamp(number, number / 60), 255)) == ()
    detector.set_disc(Disc(shape[1] / 2, shape[0] / 2, max(min(shape) / 2, 1)))


def test_still_picture_without_noise_is_quiet():
    detector = FlashDetector(Bench().info, 6.0)
    pixels = np.full((180, 320), 77, np.uint8)
    found = [
        s for n in range(200) for s in detector.look(Frame(pixels, FrameStamp(n, n / 60), 255))
    ]
    assert found == []


@pytest.mark.slow
@SHUTTERS
def test_looking_at_frames_together_changes_nothing(shutter):
    """A block of frames done at once gives what going through them one by one gives."""
    bench = Bench(**shutter, **ALL, seed=14)
    bench.sparks = sparks(bench, 7.0, 0.37, glow=0.02, arc=2.0)
    together = FlashDetector(bench.info, 4.0)
    one_by_one = FlashDetector(bench.info, 4.0, gate=False)
    found: tuple[list[Spotted], list[Spotted]] = ([], [])
    for frame in bench.frames(7.0):
        found[0].extend(together.look(frame))
        found[1].extend(one_by_one.look(frame))
        # Sums are added up in another order: the last digits differ.
        assert together.strongest == pytest.approx(one_by_one.strongest, rel=1e-3, abs=1e-3)
    assert len(found[0]) > 3
    assert [(s.frame, s.rows, s.time_s) for s in found[0]] == [
        (s.frame, s.rows, s.time_s) for s in found[1]
    ]
    assert together.opened < 0.6 * one_by_one.opened


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize(("minutes", "hunting"), [(7, 0.0), (3, 0.8)], ids=["fixed", "hunting"])
@SHUTTERS
def test_ten_minutes_of_all_confusers(shutter, minutes, hunting):
    """Seven at a fixed exposure, three while an auto-exposure hunts after each step and hand."""
    steps = tuple((5 + 7.3 * i, 1.2 if i % 2 else 1 / 1.2) for i in range(82))
    hands = tuple((4 + 9.1 * i, 0.5 + 0.2 * (i % 7)) for i in range(66))
    knocks = tuple((4.4 + 3.7 * i, 1 + i % 5, 7 + 6.3 * (i % 7)) for i in range(162))
    common = {"flicker": 0.04, "plume": True, "drift": 0.05, "hunting": hunting}
    bench = Bench(**shutter, **common, steps=steps, hands=hands, knocks=knocks, seed=3)
    assert watch(bench, 60.0 * minutes) == []


MIRROR = np.hypot(*np.meshgrid(np.arange(240) - 120, np.arange(180) - 90)) < 75


def still(level: float, rng: np.random.Generator) -> np.ndarray:
    """A mirror at this level, dark around it, 12 bit."""
    mean = 80.0 + level * MIRROR
    return mean + rng.normal(0, 4, mean.shape)


@pytest.mark.parametrize("begins", [6, 30, 38, 46])
def test_a_lamp_switched_while_it_learns_does_not_blind_it(begins: int) -> None:
    """Cap off at ``begins``, the blade comes in 36 frames later, a flash 70 after that."""
    info = SourceInfo(
        SourceKind.VIDEO, "test", 240, 180, 1, 12, 4095, False, 25.0, transfer="linear"
    )
    detector = FlashDetector(info, 6.0)
    detector.set_disc(Disc(120, 90, 75))
    rng = np.random.default_rng(begins)
    found = []
    for number in range(begins + 140):
        at = number - begins
        frame = still(0 if at < 0 else 2200 if at < 36 else 900, rng)
        if at == 106:
            frame += 100 * MIRROR
        pixels = np.clip(np.rint(frame), 0, 4095).astype(np.uint16)
        found += detector.look(Frame(pixels, FrameStamp(number, number / 25.0), 4095))
    assert [spot.frame for spot in [*found, *detector.flush()]] == [begins + 106]


@pytest.mark.parametrize(("rows", "is_one"), [(24, True), (12, True), (8, False)])
def test_a_band_lower_than_the_exposure_is_no_flash(rows: int, is_one: bool) -> None:
    """2 ms of exposure at 83 us a row: a flash lights 24 rows."""
    info = SourceInfo(
        SourceKind.VIDEO, "test", 240, 180, 1, 12, 4095, False, 60.0, transfer="linear",
        row_time_s=0.015 / 180, exposure_s=0.002,
    )  # fmt: skip
    detector = FlashDetector(info, 6.0)
    detector.set_disc(Disc(120, 90, 75))
    rng = np.random.default_rng(rows)
    found = []
    for number in range(120):
        frame = still(900, rng)
        if number == 90:
            frame[80 : 80 + rows] += 60
        pixels = np.clip(np.rint(frame), 0, 4095).astype(np.uint16)
        found += detector.look(Frame(pixels, FrameStamp(number, number / 60.0), 4095))
    assert [spot.frame for spot in [*found, *detector.flush()]] == ([90] if is_one else [])
