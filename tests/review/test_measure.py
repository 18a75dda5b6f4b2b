"""Measurements against laws that are known: zero, shape, analytic cases, coverage of intervals."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from liveview.errors import BadRequest, InputUnreadable, OutputFailed
from liveview.model import Average, Calibration, CameraState, Disc, Side
from liveview.optics.deflection import contrast_from_angle
from liveview.optics.gas import air_refractivity, ideal_density
from liveview.optics.scale import angle_scale
from liveview.review.measure import (
    Measurement,
    Quantity,
    Scale,
    add_measurement,
    find_peak,
    flow_speed,
    front_table,
    hand_point,
    load_measurements,
    measure_angle,
    measure_flicker,
    measure_front_speed,
    measure_length,
    measure_plume,
    measure_rise_speed,
    pattern_speed,
    radial_profile,
    rise,
    scale_from_disc,
    scale_from_length,
    space_time,
    spectrum,
    track_front,
    uncut_of,
)
from liveview.review.measure.fronts import FrontPoint, without_outliers
from liveview.settings import Settings

SHAPE = (240, 320)
CENTRE = (158.3, 121.7)


def ring(radius: float, *, noise: float, seed: int, side: Side = Side.LEFT) -> np.ndarray:
    """Contrast of a round front: a thin shell, bright on one side of the blade's normal."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    dx, dy = x - CENTRE[0], y - CENTRE[1]
    r = np.hypot(dx, dy)
    nx, ny = side.normal
    shading = (dx * nx + dy * ny) / np.maximum(r, 1e-6)
    kernel = 0.3 * np.exp(-((r / 8.0) ** 2)) * shading
    contrast = 0.05 * shading * np.exp(-0.5 * ((r - radius) / 1.8) ** 2) + kernel
    contrast += np.random.default_rng(seed).normal(0, noise, SHAPE)
    contrast[np.hypot(x - 160, y - 120) > 118] = np.nan
    return contrast.astype(np.float32)


def along(times, radii) -> list[FrontPoint]:
    return [FrontPoint(i, t, r, 0.3) for i, (t, r) in enumerate(zip(times, radii, strict=True))]


class TestGeometry:
    def test_scale_of_a_disc(self) -> None:
        scale = scale_from_disc(Disc(0, 0, 250.0), 0.150)
        assert scale.metres_per_px == pytest.approx(0.150 / 500)
        assert scale.relative_sigma == pytest.approx(0.5 / 250)

    def test_length_and_its_interval(self) -> None:
        scale = scale_from_length((0, 0), (100, 0), 0.1)
        length = measure_length((10, 10), (40, 50), scale).results["length"]
        assert length.value == pytest.approx(0.05)
        # pointing: 0.5 sqrt 2 px of 50; scale: 0.5 sqrt 2 px of 100
        expected = 0.05 * math.hypot(math.sqrt(0.5) / 50, math.sqrt(0.5) / 100)
        assert length.sigma == pytest.approx(expected)

    @pytest.mark.parametrize("degrees", [0.0, 30.0, 90.0, 179.0])
    def test_angles(self, degrees) -> None:
        a = math.radians(degrees)
        m = measure_angle((5, 5), (105, 5), (5 + 80 * math.cos(a), 5 + 80 * math.sin(a)))
        assert m.results["angle"].value == pytest.approx(a, abs=1e-12)

    def test_angle_interval_by_trial(self) -> None:
        rng = np.random.default_rng(1)
        points = np.array([[0.0, 0.0], [60.0, 10.0], [-20.0, 70.0]])
        values = [
            measure_angle(*map(tuple, points + rng.normal(0, 0.5, (3, 2)))).results["angle"].value
            for _ in range(4000)
        ]
        told = measure_angle(*map(tuple, points)).results["angle"].sigma
        assert np.std(values) == pytest.approx(told, rel=0.05)  # 4000 draws: 1.1 % each sigma

    @pytest.mark.parametrize(
        "wrong",
        [
            lambda: scale_from_length((1, 1), (1, 1), 0.1),
            lambda: scale_from_disc(Disc(0, 0, 10), 0.0),
            lambda: measure_angle((1, 1), (1, 1), (2, 2)),
        ],
    )
    def test_nothing_from_nothing(self, wrong) -> None:
        with pytest.raises(ValueError):
            wrong()


class TestFronts:
    @pytest.mark.parametrize("side", list(Side))
    @pytest.mark.parametrize("radius", [30.2, 61.5, 97.4])
    def test_a_ring_is_found_where_it_is(self, side, radius) -> None:
        profile = radial_profile(ring(radius, noise=0.02, seed=1, side=side), CENTRE, side)
        points = track_front([(0, 0.0, ring(radius, noise=0.02, seed=1, side=side))], CENTRE, side)
        # rounding radii to whole pixels and noise: a fifth of a pixel
        assert points[0].radius_px == pytest.approx(radius, abs=0.2)
        assert profile.amplitude[round(radius)] > 0.035

    def test_no_ring_no_front(self) -> None:
        rng = np.random.default_rng(2)
        for seed in range(5):
            noise = rng.normal(0, 0.02, SHAPE).astype(np.float32)
            assert track_front([(seed, 0.0, noise)], CENTRE, Side.LEFT) == ()

    @pytest.mark.slow
    def test_speed_within_one_percent_and_its_interval_covers(self) -> None:
        """Known law r = 12 mm + v t; radius from noisy pictures, interval from their scatter."""
        scale = Scale(0.5e-3, 0.0, "known")
        truth, covered, worst = 400.0, 0, 0.0
        times = np.arange(10) / 100e3
        for seed in range(20):
            frames = [
                (i, t, ring((0.012 + truth * t) / 0.5e-3, noise=0.03, seed=1000 * seed + i))
                for i, t in enumerate(times)
            ]
            points = track_front(frames, CENTRE, Side.LEFT)
            speed = measure_front_speed(points, scale).results["speed"]
            covered += speed.low <= truth <= speed.high
            worst = max(worst, abs(speed.value / truth - 1))
        assert worst < 0.01
        # 20 draws at 95 %: fewer than 16 happens once in 400 runs of a right interval
        assert covered >= 16

    @pytest.mark.slow
    def test_stated_confidence_covers_the_truth(self) -> None:
        rng = np.random.default_rng(3)
        true_scale, covered = 0.5e-3, 0
        for _ in range(1000):
            scale = Scale(true_scale * (1 + rng.normal(0, 0.004)), 0.004, "disc")
            times = np.arange(12) / 50e3
            radii = (0.01 + 380.0 * times) / true_scale + rng.normal(0, 0.3, 12)
            points = [
                FrontPoint(i, t, r, 0.3) for i, (t, r) in enumerate(zip(times, radii, strict=True))
            ]
            speed = measure_front_speed(points, scale).results["speed"]
            covered += speed.low <= 380.0 <= speed.high
        assert (
            930 <= covered <= 985
        )  # 95 %, binomial scatter of 7 in 1000; adding in squares is mild

    def test_mach_and_shock_ratios(self) -> None:
        times = np.linspace(0, 1e-4, 8)
        sound = 331.3 * math.sqrt(293.15 / 273.15)
        points = [FrontPoint(i, t, 20 + 1.5 * sound * t / 1e-3, 0.1) for i, t in enumerate(times)]
        results = measure_front_speed(points, Scale(1e-3, 0.0, "known")).results
        assert results["mach"].value == pytest.approx(1.5, rel=1e-9)
        assert results["pressure_ratio"].value == pytest.approx(2.45833, abs=1e-5)
        assert results["density_ratio"].value == pytest.approx(1.86207, abs=1e-5)

    def test_a_sound_wave_has_no_shock(self) -> None:
        points = [FrontPoint(i, i * 1e-4, 20 + 30.0 * i, 0.1) for i in range(6)]
        assert "pressure_ratio" not in measure_front_speed(points, Scale(1e-3, 0, "k")).results

    def test_blast_energy_comes_back(self) -> None:
        energy, density = 200.0, ideal_density(293.15, 101325.0)
        times = np.linspace(1e-6, 6e-6, 8)
        radii = (energy * times**2 / (0.851072 * density)) ** 0.2
        points = [
            FrontPoint(i, t, r / 1e-4, 0.1)
            for i, (t, r) in enumerate(zip(times, radii, strict=True))
        ]
        done = measure_front_speed(points, Scale(1e-4, 0.0, "known"), since_s=0.0)
        assert done.results["blast_exponent"].value == pytest.approx(0.4, abs=1e-6)
        assert done.results["blast_energy"].value == pytest.approx(energy, rel=1e-6)
        assert "slows down" in done.words and "not valid" not in done.words

    @pytest.mark.parametrize(
        ("pressure_pa", "temperature_k"),
        [(101325.0, 293.15), (75000.0, 293.15), (101325.0, 313.15)],
    )
    def test_blast_energy_knows_the_room(self, pressure_pa, temperature_k) -> None:
        density = pressure_pa / (287.05 * temperature_k)  # dry air as an ideal gas
        times = np.linspace(1e-6, 3e-6, 8)
        radii = (10.0 * times**2 / (0.851072 * density)) ** 0.2
        points = [
            FrontPoint(i, t, r / 1e-4, 0.1)
            for i, (t, r) in enumerate(zip(times, radii, strict=True))
        ]
        room = {"pressure_pa": pressure_pa, "temperature_k": temperature_k}
        done = measure_front_speed(points, Scale(1e-4, 0.0, "known"), since_s=0.0, **room)
        # the gas constant of dry air in four digits
        assert done.results["blast_energy"].value == pytest.approx(10.0, rel=2e-4)
        assert done.inputs["density_kg_m3"] == pytest.approx(density, rel=2e-4)
        assert done.inputs["pressure_pa"] == pressure_pa
        (said,) = (words for words in done.assumptions if "blast" in words)
        assert "from a point" in said and f"{pressure_pa / 100:.4g} hPa" in said
        assert f"{done.inputs['density_kg_m3']:.4g} kg/m3" in said
        without = measure_front_speed(points, Scale(1e-4, 0.0, "known"), **room)
        assert not any("blast" in words for words in without.assumptions)

    @pytest.mark.parametrize("since_s", [None, -1e-3])
    def test_points_of_one_radius_have_a_proper_interval(self, tmp_path, since_s) -> None:
        """Clicked on the same pixel they do not scatter at all, and are kept like any other."""
        points = [FrontPoint(i, i * 1e-4, 20.0, 0.7, by_hand=True) for i in range(3)]
        done = measure_front_speed(points, Scale(1e-3, 0.0, "known"), since_s=since_s)
        speed = done.results["speed"]
        # two points 2e-4 s apart, each known to 0.7 mm; the one between them does not count
        reach = 1.96 * 0.7e-3 * math.sqrt(2) / 2e-4
        assert (speed.low, speed.value, speed.high) == pytest.approx((-reach, 0, reach), rel=1e-3)
        for quantity in done.results.values():
            assert all(map(math.isfinite, (quantity.low, quantity.value, quantity.high)))
        add_measurement(tmp_path, done)

    def test_outliers_are_left_out(self) -> None:
        points = [FrontPoint(i, i * 1e-5, 20 + 5.0 * i, 0.1) for i in range(12)]
        points[4] = FrontPoint(4, 4e-5, 95.0, 0.1)
        kept = without_outliers(points)
        assert [p.frame for p in kept] == [0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11]

    def test_points_by_hand_and_table(self) -> None:
        point = hand_point(3, 0.5, (10, 10), (13, 14))
        assert point.radius_px == 5.0 and point.by_hand
        table = front_table([point], Scale(1e-3, 0, "k")).splitlines()
        assert table[1] == "3,0.500000000,5.0000,0.005,0.000707,1"


def kernel(place: float, size: float = 9.0) -> np.ndarray:
    """A warm blob at height ``place``, with the up-down shading of a horizontal blade."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    dy = y - (SHAPE[0] - place)
    blob = np.exp(-((x - 160.0) ** 2 + dy**2) / size**2)
    return (0.15 * dy / size * blob).astype(np.float32)


class TestRise:
    def frames(self, speed_px_s: float, noise: float, seed: int = 4, rate: float = 120.0):
        rng = np.random.default_rng(seed)
        times = np.arange(30) / rate + rng.uniform(0, 1e-3, 30)
        return [
            (t, (kernel(40 + speed_px_s * t) + rng.normal(0, noise, SHAPE)).astype(np.float32))
            for t in times
        ]

    @pytest.mark.slow
    @pytest.mark.parametrize("speed", [60.0, 260.0, 520.0])
    def test_a_kernel_within_five_percent(self, speed) -> None:
        done = measure_rise_speed(
            self.frames(speed, 0.03), (160, 230), (160, 10), Scale(1e-3, 0.002, "k")
        )
        value = done.results["speed"]
        assert value.value == pytest.approx(speed * 1e-3, rel=0.05)
        assert value.low <= speed * 1e-3 <= value.high
        assert done.results["speed_by_flow"].value == pytest.approx(speed * 1e-3, rel=0.1)

    def test_the_other_way_is_negative(self) -> None:
        diagram = space_time(self.frames(200.0, 0.02), (160, 10), (160, 230))
        assert pattern_speed(diagram)[0] == pytest.approx(-200.0, rel=0.05)

    def test_what_stands_still(self) -> None:
        still = [(i / 100, kernel(60)) for i in range(8)]
        with pytest.raises(ValueError, match="nothing moves"):
            pattern_speed(space_time(still, (160, 230), (160, 10)))
        speed, _ = flow_speed(still, (160, 230), (160, 10))
        assert abs(speed) < 1.0  # px/s: a hundredth of a pixel a frame

    def test_a_speed_of_nothing_has_an_interval(self, monkeypatch) -> None:
        """Half of the difference to the flow is its uncertainty, however slow it is."""
        monkeypatch.setattr(rise, "pattern_speed", lambda *_, **__: (0.0, -1.0, 1.0))
        frames = self.frames(100.0, 0.02)
        done = measure_rise_speed(frames, (160, 230), (160, 10), Scale(1e-3, 0.0, "k"))
        speed, flow = done.results["speed"], done.results["speed_by_flow"]
        reach = math.hypot(1e-3, 1.96 * flow.value / 2)
        assert (speed.low, speed.high) == pytest.approx((-reach, reach), rel=1e-3)

    def test_lines_and_frames_that_cannot_do(self) -> None:
        with pytest.raises(ValueError, match="8 pixels"):
            space_time([(0.0, kernel(10))], (5, 5), (8, 8))
        with pytest.raises(ValueError, match="4 frames"):
            pattern_speed(space_time(self.frames(100, 0.1)[:3], (160, 230), (160, 10)))


class TestFlicker:
    def signal(self, f: float, *, noise: float, seed: int = 5, depth: float = 0.1):
        rng = np.random.default_rng(seed)
        t = np.arange(240) / 60.0 + rng.normal(0, 2e-4, 240)
        keep = rng.uniform(size=240) > 0.1  # lost frames
        t = np.sort(t)[keep]
        return t, 1.0 + 0.02 * t + depth * np.sin(2 * np.pi * f * t + 0.3) + rng.normal(
            0, noise, len(t)
        )

    @pytest.mark.slow
    @pytest.mark.parametrize("f", [3.3, 11.7, 26.4])
    def test_a_sine_within_its_width_and_interval(self, f) -> None:
        inside = 0
        for seed in range(20):
            peak = find_peak(*self.signal(f, noise=0.05, seed=seed))
            assert peak is not None
            assert abs(peak.frequency_hz - f) < peak.width_hz / 2
            inside += abs(peak.frequency_hz - f) < 1.96 * peak.sigma_hz
        assert inside >= 15  # 95 % of 20 is 19; below 15 once in 10^4 runs

    def test_amplitude_and_resolution(self) -> None:
        t, x = self.signal(10.0, noise=0.0)
        shown = spectrum(t, x)
        at = int(np.argmax(shown.amplitude))
        assert shown.frequency_hz[at] == pytest.approx(10.0, abs=shown.resolution_hz / 2)
        assert shown.amplitude[at] == pytest.approx(0.1, rel=0.1)  # lost frames thin the window
        assert shown.resolution_hz == pytest.approx(1.44 / 4.0, rel=0.02)

    @pytest.mark.slow
    def test_noise_has_no_peak(self) -> None:
        rng = np.random.default_rng(6)
        t = np.arange(200) / 50
        found = [find_peak(t, 1 + rng.normal(0, 0.1, 200)) for _ in range(50)]
        assert sum(peak is not None for peak in found) <= 1
        with pytest.raises(ValueError, match="no flicker"):
            measure_flicker(t, np.ones(200), (0, 0, 5, 5))

    @pytest.mark.slow
    def test_slow_drift_is_no_flicker(self) -> None:
        """A bend, a slow wave and a random walk, each large, none of which comes back in time."""
        rng = np.random.default_rng(7)
        t = np.arange(240) / 60.0
        for drift in (0.4 * (t - 2) ** 2, 0.3 * np.sin(2 * np.pi * 0.4 * t), 0.5 * np.exp(-t)):
            assert find_peak(t, 1 + drift + rng.normal(0, 0.01, 240)) is None
        walks = [1 + np.cumsum(rng.normal(0, 0.05, 240)) for _ in range(40)]
        assert sum(find_peak(t, walk) is not None for walk in walks) <= 2

    def test_flicker_on_top_of_a_larger_drift(self) -> None:
        rng = np.random.default_rng(8)
        t = np.arange(240) / 60.0
        for f in (3.1, 12.5):
            walk = np.cumsum(rng.normal(0, 0.01, 240)) + 0.3 * (t - 2) ** 2
            peak = find_peak(t, 1 + walk + 0.08 * np.sin(2 * np.pi * f * t))
            assert peak is not None
            assert abs(peak.frequency_hz - f) < peak.width_hz / 2

    def test_measurement(self) -> None:
        done = measure_flicker(*self.signal(11.7, noise=0.02), (1, 2, 3, 4))
        assert done.results["frequency"].value == pytest.approx(11.7, abs=0.05)
        assert done.results["depth"].value == pytest.approx(0.1, rel=0.1)


class TestPlume:
    settings = Settings().replaced("blade", side="left")
    scale = Scale(0.25e-3, 0.002, "k")

    def contrasts(self, hot_k: float, noise: float, side: Side, frames: int = 16):
        """A Gaussian plume of known temperature through this rig, with noise."""
        settings = self.settings.replaced("blade", side=side)
        angles = angle_scale(settings, 0.5)
        y = (np.arange(400) - 203.7) * self.scale.metres_per_px
        s = 8e-3
        ambient = air_refractivity(293.15, 101325.0, 550e-9)
        drop = ambient * (293.15 / hot_k - 1.0)
        # path = sqrt(pi) s dn exp(-y^2/s^2); the angle is its slope
        eps = math.sqrt(math.pi) * s * drop * (-2 * y / s**2) * np.exp(-((y / s) ** 2))
        towards = -1.0 if side in (Side.RIGHT, Side.BOTTOM) else 1.0
        row = contrast_from_angle(
            towards * eps, angles.arm_sum_m, angles.image_width_m, 0.5, "slit"
        )
        rng = np.random.default_rng(7)
        picture = np.repeat(np.asarray(row)[None, :], 40, axis=0)
        stack = [
            (picture + rng.normal(0, noise, picture.shape)).astype(np.float32)
            for _ in range(frames)
        ]
        return settings, stack if side in (Side.LEFT, Side.RIGHT) else [c.T for c in stack]

    @pytest.mark.parametrize("side", list(Side))
    def test_temperature_within_its_uncertainty(self, side) -> None:
        settings, stack = self.contrasts(360.0, 0.01, side)
        done, profile = measure_plume(stack, settings, 0.5, self.scale, 20, 40, 370, width_px=5)
        value = done.results["temperature"]
        assert value.low <= 360.0 <= value.high
        assert value.value == pytest.approx(360.0, abs=6.0)
        assert profile.temperature_k[-1] == pytest.approx(293.15, abs=1.0)
        assert any("air" in words for words in done.assumptions)

    def test_no_plume_no_heat(self) -> None:
        settings, stack = self.contrasts(293.15, 0.005, Side.LEFT)
        value = measure_plume(stack, settings, 0.5, self.scale, 20, 40, 370)[0].results
        assert value["temperature"].low <= 293.15 <= value["temperature"].high

    def test_without_the_uncut_fraction(self) -> None:
        settings, stack = self.contrasts(350.0, 0.01, Side.LEFT)
        with pytest.raises(BadRequest, match="uncut fraction"):
            measure_plume(stack, settings, None, self.scale, 20, 40, 370)
        with pytest.raises(ValueError, match="inside"):
            measure_plume(stack, settings, 0.5, self.scale, 99, 40, 370)
        with pytest.raises(ValueError, match="inside"):
            measure_plume(stack, settings, 0.5, self.scale, -1, 40, 370)
        with pytest.raises(ValueError, match="no frame"):
            measure_plume([], settings, 0.5, self.scale, 20, 40, 370)

    def test_uncut_of_calibration(self) -> None:
        camera = CameraState("c", 64, 48, 255)

        def flat(level: float) -> Average:
            return Average(np.full((48, 64), level, np.float32), 16, 0.0, "", camera)

        full = Calibration(flat(0.02), flat(0.82), flat(0.34))
        assert uncut_of(full, Disc(32, 24, 20)) == pytest.approx(0.4, abs=1e-6)
        assert uncut_of(Calibration(flat(0.02), None, flat(0.3)), None) is None


class TestSaving:
    one = Measurement("length", {"length": Quantity.normal(0.05, 1e-4, "m")}, {"a": [1, 2]}, ("x",))

    def test_round_trip_and_order(self, tmp_path) -> None:
        assert load_measurements(tmp_path) == ()
        add_measurement(tmp_path, self.one)
        both = add_measurement(tmp_path, self.one)
        loaded = load_measurements(tmp_path)
        assert len(loaded) == 2 and loaded[0].results == self.one.results
        assert loaded[0].made_at and both[1].kind == "length"

    @pytest.mark.parametrize(
        ("place", "value"),
        [
            ((), []),
            (("measurements",), {}),
            (("measurements", 0), "x"),
            (("measurements", 0, "kind"), 3),
            (("measurements", 0, "results"), []),
            (("measurements", 0, "results", "length"), 0.05),
            (("measurements", 0, "results", "length", "value"), "far"),
            (("measurements", 0, "results", "length", "value"), None),
            (("measurements", 0, "results", "length", "low"), math.nan),
            (("measurements", 0, "results", "length", "high"), 10**400),
            (("measurements", 0, "results", "length", "unit"), 1),
            (("measurements", 0, "inputs"), "x"),
            (("measurements", 0, "assumptions"), 1),
            (("measurements", 0, "assumptions"), [1]),
            (("measurements", 0, "words"), None),
        ],
    )
    def test_anything_in_any_place_is_said(self, tmp_path, place, value) -> None:
        add_measurement(tmp_path, self.one)
        path = tmp_path / "measurements.json"
        data = {"": json.loads(path.read_text())}
        at, *deeper = ("", *place)
        inside = data
        for name in deeper:
            inside, at = inside[at], name
        inside[at] = value
        path.write_text(json.dumps(data[""]))
        with pytest.raises(InputUnreadable, match="damaged"):
            load_measurements(tmp_path)

    def test_damaged_is_said_and_not_overwritten(self, tmp_path) -> None:
        (tmp_path / "measurements.json").write_text("{")
        with pytest.raises(InputUnreadable, match="damaged"):
            add_measurement(tmp_path, self.one)
        assert (tmp_path / "measurements.json").read_text() == "{"

    def test_folder_that_cannot_be_written(self, tmp_path) -> None:
        with pytest.raises(OutputFailed):
            add_measurement(tmp_path / "gone", self.one)

    @pytest.mark.parametrize("value", [math.nan, math.inf])
    def test_what_is_no_number_is_refused_in_words(self, tmp_path, value) -> None:
        add_measurement(tmp_path, self.one)
        bad = Measurement("front speed", {"speed": Quantity(0.0, value, value, "m/s")})
        with pytest.raises(BadRequest, match=r"front speed: .*not a number"):
            add_measurement(tmp_path, bad)
        assert len(load_measurements(tmp_path)) == 1

    def test_intervals(self) -> None:
        q = Quantity.normal(10.0, 0.3, "m").widened(0.04)
        assert q.sigma == pytest.approx(0.5)
        assert q.times(1000, "mm").sigma == pytest.approx(500)
