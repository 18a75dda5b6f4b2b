"""Every flow: nothing where nothing is, its documented profile, the sign of its gas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from liveview.bench.flows.candle import Candle, CandleSettings
from liveview.bench.flows.cold_gas import ColdGas, ColdGasSettings
from liveview.bench.flows.door import DoorSettings, knock, slams_between
from liveview.bench.flows.eddies import Wander, displacement
from liveview.bench.flows.hand import Hand, HandSettings
from liveview.bench.flows.jet import Jet, JetSettings
from liveview.bench.flows.lighter import Lighter, LighterSettings
from liveview.bench.flows.spark import BlastFront, Spark, SparkSettings, shell_path
from liveview.bench.sparks import SparkTimes
from liveview.optics.air import Air
from liveview.optics.fronts import blast_radius, normal_shock
from liveview.optics.plume import gaussian_plume_angle

AIR = Air()
X = np.linspace(-0.075, 0.075, 601, dtype=np.float32)[None, :]
Y = np.linspace(0.075, -0.075, 301, dtype=np.float32)[:, None]


def at(seconds: float) -> np.ndarray:
    return np.full((len(Y), 1), seconds)


def test_warm_air_bends_less_and_the_change_ends_at_a_vacuum() -> None:
    assert AIR.warmed(0.0) == 0.0
    assert AIR.warmed(10.0) < 0.0
    assert AIR.warmed(1e9) == pytest.approx(-AIR.refractivity, rel=1e-6)


def test_quiet_candle_is_the_closed_form_of_a_round_plume() -> None:
    settings = CandleSettings(x_m=0, puffing=0, turbulence=0, draught=0, y_m=-0.06)
    candle = Candle(settings, AIR)
    path = candle.path(X, Y, at(3.0))
    row = 40
    h = float(Y[row, 0]) + 0.06
    ratio = 1 + h / settings.stretch_m
    excess = settings.excess_k / ratio
    index = AIR.refractivity * excess / (AIR.temperature_k + excess)
    angle = np.gradient(path[row].astype(np.float64), X[0].astype(np.float64))
    # Steps of s/25: second-order differences are good to 0.1 %.
    assert np.abs(angle).max() == pytest.approx(gaussian_plume_angle(index), rel=0.01)
    width = settings.width_m * math.sqrt(ratio)
    assert abs(X[0, np.argmax(np.abs(angle))]) == pytest.approx(width / math.sqrt(2), abs=3e-4)


def test_puffs_and_eddies_leave_the_laminar_foot_alone() -> None:
    settings = CandleSettings(draught=0, y_m=-0.06, laminar_m=0.05)
    wild = Candle(settings, AIR).path(X, Y, at(2.3))
    quiet = Candle(settings.model_copy(update={"puffing": 0.0, "turbulence": 0.0}), AIR).path(
        X, Y, at(2.3)
    )
    foot = (Y[:, 0] > -0.058) & (Y[:, 0] < -0.048)
    top = Y[:, 0] > 0.04
    scale = np.abs(quiet).max()
    assert np.abs(wild - quiet)[foot].max() < 0.03 * scale
    assert np.abs(wild - quiet)[top].max() > 0.1 * scale


@pytest.mark.slow
@pytest.mark.parametrize("flame_m", [0.008, 0.012, 0.02])
def test_the_plume_flickers_at_its_set_frequency(flame_m: float) -> None:
    settings = CandleSettings(x_m=0, flame_m=flame_m, draught=0, turbulence=0, y_m=-0.06)
    candle = Candle(settings, AIR, seed=3)
    rate, seconds = 120.0, 8.0
    x = np.array([[0.007]], np.float32)
    y = np.array([[0.01]], np.float32)
    times = np.arange(0, seconds, 1 / rate)
    signal = np.array([candle.path(x, y, np.array([[t]]))[0, 0] for t in times])
    power = np.abs(np.fft.rfft((signal - signal.mean()) * np.hanning(len(signal)))) ** 2
    peak = np.fft.rfftfreq(len(signal), 1 / rate)[np.argmax(power)]
    # Resolution of 8 s with a Hann window.
    assert peak == pytest.approx(settings.puffs_hz, abs=0.25)


def test_eddies_have_unit_rms_no_jumps_in_time_and_no_divergence() -> None:
    kwargs = {"eddy_m": 0.02, "rise_m_s": 0.5, "life_s": 0.1, "seed": 4}
    step = displacement(X, Y, at(1.0), **kwargs)  # type: ignore[arg-type]
    # 7 by 7 of the largest eddies: a tenth or so of scatter.
    assert np.sqrt(np.mean(step**2)) == pytest.approx(1.0, abs=0.35)
    moved = displacement(X, Y, at(1.0001), **kwargs)  # type: ignore[arg-type]
    # 0.05 mm further in eddies whose smallest are about 4 mm.
    assert np.abs(moved - step).max() < 0.12
    dx, dy = float(X[0, 1] - X[0, 0]), float(Y[1, 0] - Y[0, 0])
    stretch = np.gradient(step[..., 0], dx, axis=1)
    spread = stretch + np.gradient(step[..., 1], dy, axis=0)
    # Between the tile's samples it is interpolated, so not quite zero.
    assert spread.std() < 0.25 * stretch.std()


def test_wander_is_smooth_with_unit_rms() -> None:
    t = np.linspace(0, 400, 40001)
    value = Wander(1, 0.5, 2.0).at(t)
    assert value.std() == pytest.approx(1.0, abs=0.1)
    assert np.abs(np.diff(value)).max() < 0.5


def test_front_starts_as_a_strong_blast_and_ends_as_sound() -> None:
    front = BlastFront(0.05, AIR)
    early = np.array([2e-8, 5e-8])
    wanted = blast_radius(early, 0.05, AIR.density)
    # R is a hundredth of R_s and more: the sound term adds up to a few per cent there.
    np.testing.assert_allclose(front.radius(early), wanted, rtol=0.02)
    late = np.array([1.5e-3, 2.0e-3])
    speed = float(np.diff(front.radius(late))[0]) / 5e-4
    assert speed == pytest.approx(AIR.sound_speed, rel=2e-3)


def test_front_follows_its_law() -> None:
    front = BlastFront(0.02, AIR)
    start = 1e-4
    solved = solve_ivp(
        lambda _, r: front.speed(r), (0, 3e-4), [start], rtol=1e-8, t_eval=[1e-5, 1e-4, 3e-4]
    )
    offset = float(
        np.interp(start, front.radius(np.linspace(0, 1e-6, 4001)), np.linspace(0, 1e-6, 4001))
    )
    np.testing.assert_allclose(front.radius(solved.t + offset), solved.y[0], rtol=1e-3)


def test_density_behind_the_front_is_that_of_a_shock() -> None:
    front = BlastFront(0.02, AIR)
    radius = 0.01
    mach = float(front.speed(np.array(radius))) / AIR.sound_speed
    assert front.density_jump(radius) == pytest.approx(normal_shock(mach).density - 1)
    assert 0 < front.density_jump(0.5) < 0.01


@pytest.mark.parametrize("seen", [0.0, 0.004, 0.0093, 0.0099, 0.02])
def test_shell_path_is_the_integral(seen: float) -> None:
    outer, inner = 0.01, 0.009

    def share(z: float) -> float:
        r = math.hypot(seen, z)
        return (r - inner) / (outer - inner) if inner < r < outer else 0.0

    wanted = (
        2 * quad(share, 0, 0.0101, points=[math.sqrt(max(0, inner**2 - seen**2))], limit=200)[0]
    )
    got = shell_path(np.array([[seen]], np.float32), np.array([[outer]]), np.array([[inner]]))[0, 0]
    assert got == pytest.approx(wanted, rel=2e-3, abs=1e-9)


def spark(**values: object) -> tuple[Spark, SparkTimes]:
    settings = SparkSettings(**values)  # type: ignore[arg-type]
    times = SparkTimes(0.5, 1.0, 0.0, 1, 1, lambda _: True)
    return Spark(settings, AIR, times), times


def test_nothing_before_the_spark_and_a_light_kernel_after_it() -> None:
    flow, _ = spark(x_m=0.0, y_m=0.0)
    assert not flow.path(X, Y, at(0.4999)).any()
    after = flow.path(X, Y, at(0.52))
    assert after.min() < 0
    assert abs(float(after.sum())) > 0


def test_ring_radius_in_the_path_follows_the_law() -> None:
    flow, _ = spark(x_m=0.0, y_m=0.0)
    for since in (4e-5, 8e-5, 1.5e-4):
        path = flow.path(X, Y, at(0.5 + since))[150]
        wanted = float(flow.front.radius(np.array(since)))
        outside = X[0][np.abs(path) > 0.02 * path.max()]
        # One sample of 0.25 mm.
        assert outside.max() == pytest.approx(wanted, abs=4e-4)


def test_the_kernel_rises_spreads_and_fades() -> None:
    flow, _ = spark(x_m=0.0, y_m=-0.03)
    heights, depths = [], []
    for since in (0.03, 0.1, 0.2):
        path = flow.path(X, Y, at(0.5 + since)).astype(np.float64)
        heights.append(float((path * Y).sum() / path.sum()))
        depths.append(float(path.min()))
    assert heights == sorted(heights)
    assert heights[2] - heights[1] == pytest.approx(0.022, rel=0.15)
    assert depths == sorted(depths)


@pytest.mark.parametrize(
    ("gas", "sign"), [("helium", -1), ("carbon dioxide", 1), ("argon", -1), ("butane", 1)]
)
def test_the_jets_gas_sets_the_sign(gas: str, sign: int) -> None:
    jet = Jet(JetSettings(gas=gas), AIR)  # type: ignore[arg-type]
    path = jet.path(X, Y, at(1.0))
    assert sign * path.sum() > 0
    assert (sign * path).min() >= 0


def test_the_jet_has_not_come_far_just_after_it_starts_and_stops_when_shut() -> None:
    jet = Jet(JetSettings(every_s=10, lasts_s=2), AIR)
    early, later = jet.path(X, Y, at(0.004)), jet.path(X, Y, at(0.5))
    reach = [float(X[0][np.abs(p).max(axis=0) > 1e-9].max()) for p in (early, later)]
    assert reach[0] < reach[1]
    assert not jet.path(X, Y, at(9.0)).any()


def test_poured_gas_is_dense_falls_and_ends() -> None:
    flow = ColdGas(ColdGasSettings(every_s=6, lasts_s=3), AIR)
    early, later = flow.path(X, Y, at(0.15)), flow.path(X, Y, at(1.5))
    assert later.sum() > 0
    low = [float(Y[:, 0][p.max(axis=1) > 1e-9].min()) for p in (early, later)]
    assert low[1] < low[0]
    assert not flow.path(X, Y, at(5.5)).any()


def test_the_lighter_gives_dense_gas_then_hot_air_then_nothing() -> None:
    flow = Lighter(LighterSettings(every_s=6, gas_s=1.0, burns_s=2.0), AIR)
    assert flow.path(X, Y, at(0.8)).sum() > 0
    assert flow.path(X, Y, at(2.0)).sum() < 0
    assert not flow.path(X, Y, at(5.0)).any()
    assert flow.burning(np.array([0.8, 2.0, 5.0])).tolist() == [0.0, 1.0, 0.0]


def test_the_hand_comes_warms_shades_and_leaves() -> None:
    hand = Hand(HandSettings(every_s=9, stays_s=4), AIR)
    size = (200, 200)
    assert hand.shade(-0.075, 0.075, 1333, size, 0.05) is None
    assert not hand.path(X, Y, at(0.05)).any()
    assert hand.path(X, Y, at(3.0)).sum() < 0
    shade = hand.shade(-0.075, 0.075, 1333, size, 3.0)
    assert shade is not None
    assert 0.2 < float(1 - shade.mean()) < 0.7
    assert hand.shade(-0.075, 0.075, 1333, size, 8.8) is None


def test_a_slam_knocks_and_dies_away() -> None:
    assert knock(-0.01) == (0.0, 0.0)
    assert max(abs(knock(t)[0]) for t in np.linspace(0, 0.2, 200)) > 0.4
    assert abs(knock(2.0)[0]) < 0.01
    settings = DoorSettings(first_s=2.5, every_s=8)
    assert slams_between(settings, 0.0, 20.0) == [2.5, 10.5, 18.5]
    assert slams_between(settings, 2.6, 10.5) == []
