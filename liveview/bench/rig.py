"""The simulated rig: renders frames at given moments, with the truth beside them.

Everything depends on the seed, the frame's number and what the knobs were turned to, never on the
order of the calls (except with the camera's auto-exposure, which looks at its own last frame).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.bodies import bodies_of, twice
from liveview.bench.controls import knobs_of
from liveview.bench.flows.base import Field, Flow
from liveview.bench.flows.candle import Candle
from liveview.bench.flows.cold_gas import ColdGas
from liveview.bench.flows.door import knock, slams_between
from liveview.bench.flows.eddies import Wander
from liveview.bench.flows.hand import Hand
from liveview.bench.flows.jet import Jet
from liveview.bench.flows.lighter import Lighter
from liveview.bench.flows.spark import Spark
from liveview.bench.knobs import Knobs
from liveview.bench.lighting import Lighting
from liveview.bench.lightpath import LightPath, row_times
from liveview.bench.mirror import Map, mirror_maps, place_of
from liveview.bench.scene import Scene
from liveview.bench.sensor import SensorChip
from liveview.bench.shutter import Shutter
from liveview.bench.sparks import SparkAt, SparkTimes
from liveview.imaging.cv import cv2
from liveview.model import Pixels
from liveview.optics.air import Air

LIVE_CELL_PX = 4
EXACT_CELL_PX = 2
BLADE_SHAKE_M_PER_PX = 3e-6
"""How far the lamp's image moves on the blade when the picture moves by a pixel."""


@dataclass(frozen=True, slots=True)
class SparkSeen:
    """A spark whose flash a frame saw: its time and the rows lit (inclusive)."""

    time_s: float
    first_row: int
    last_row: int


@dataclass(frozen=True, slots=True)
class FrameTruth:
    """What is true of one frame.

    ``uncut`` is the mean uncut fraction in still air; ``blade_x_m`` the travel, ``lamp_light``
    the lamp's brightness in the middle row, ``shift_px`` the picture's shift (x, y).
    """

    number: int
    time_s: float
    uncut: float
    blade_x_m: float
    exposure_s: float
    gain: float
    lamp_light: float
    shift_px: tuple[float, float]
    lens_capped: bool
    blade_out: bool
    sparks: tuple[SparkSeen, ...] = ()


class SimulatedRig:
    """One rig in one scene.

    Parameters
    ----------
    scene : Scene
    seed : int
        Fixes everything random.
    exact : bool
        For recordings and tests: true Poisson numbers, a finer grid, sub-exposures, all rows'
        flicker. Otherwise fast enough to run live.
    """

    def __init__(self, scene: Scene, seed: int = 1, *, exact: bool = False) -> None:
        self.scene = scene
        self.seed = seed
        self.exact = exact
        self.air = Air(scene.rig.temperature_k, scene.rig.pressure_pa, scene.lamp.wavelength_m)
        self.place = place_of(scene)
        self._mirror = mirror_maps(scene, self.place)
        self._bodies = bodies_of(scene, self.place)
        cell = EXACT_CELL_PX if exact else LIVE_CELL_PX
        self.light = LightPath(scene, self.place, self._mirror, cell)
        self.knobs = Knobs(knobs_of(scene, self.light))
        self.chip = SensorChip(scene.sensor, seed, exact=exact)
        spark = scene.flows.spark
        self.spark_times = SparkTimes(
            spark.first_s,
            spark.rate_hz,
            spark.jitter,
            spark.count,
            seed,
            lambda t: self.knobs.at("flow_spark", t) > 0.5,
        )
        sheets = 4 if exact else 2
        self.hand = Hand(scene.flows.hand, self.air, seed)
        self.lighter = Lighter(scene.flows.lighter, self.air, seed, sheets=sheets)
        self.flows: dict[str, Flow] = {
            "candle": Candle(scene.flows.candle, self.air, seed, sheets=sheets),
            "hand": self.hand,
            "lighter": self.lighter,
            "cold_gas": ColdGas(scene.flows.cold_gas, self.air, seed, sheets=sheets),
            "jet": Jet(scene.flows.jet, self.air, seed, sheets=sheets),
            "spark": Spark(spark, self.air, self.spark_times),
        }
        self._lighting = Lighting(scene, seed)
        self._shake_x, self._shake_y = (Wander(seed + 62 + k, 4.0, 22.0) for k in range(2))
        self._open: dict[tuple[str, ...], Map] = {}
        shape = (self.place.rows, self.place.columns)
        self._passed = np.empty(shape, np.float32)
        self._work = np.empty(shape, np.float32)
        self._hot_inside = self._hot_in_box()

    @property
    def rate_hz(self) -> float:
        """Frames per second."""
        return self.scene.sensor.rate_hz

    def time_of(self, number: int) -> float:
        """Begin of a frame's first row, seconds."""
        return number / self.rate_hz

    def shutter(self, exposure_s: float) -> Shutter:
        """Timing of a frame with this exposure."""
        sensor = self.scene.sensor
        return Shutter(sensor.height, exposure_s, sensor.row_time_s)

    def deflection(self, time_s: float) -> Field:
        """Angle of one pass away from the blade at one moment, radians, on the coarse grid."""
        self.light.move_blade(
            self.knobs.at("blade_z_m", time_s), self.knobs.at("blade_angle_rad", time_s)
        )
        times = np.full((self.light.y.shape[0], 1), time_s)
        return self.light.deflection(self.light.path(self.flows, self._flow_sizes(time_s), times))

    def render(self, number: int, out: Pixels) -> FrameTruth:
        """Frame ``number`` into ``out``, (height, width) of the chip's type."""
        start = self.time_of(number)
        values = self.knobs.all_at(start)
        shutter = self.shutter(min(values["exposure_s"], 1.0 / self.rate_hz))
        middle = start + 0.5 * shutter.seconds
        truth = self._truth(number, start, values, shutter, middle)
        if truth.lens_capped:
            self._finish(np.zeros_like(self._work), 0.0, None, truth, shutter, out)
            return truth
        box = self._lamp_light(truth, shutter, values)
        self._add_flames(truth, values, middle, box)
        glare = self._add_flashes(truth, shutter, box)
        room = self._lighting.room_e(truth.exposure_s, middle)
        self._finish(box, room, glare, truth, shutter, out)
        if values["auto_exposure"] > 0.5:
            self._adapt_exposure(out, truth)
        return truth

    def _truth(
        self, number: int, start: float, values: Any, shutter: Shutter, middle: float
    ) -> FrameTruth:
        self.light.move_blade(values["blade_z_m"], values["blade_angle_rad"])
        shift = self._shake(middle, values["shake"])
        travel = values["blade_x_m"] + BLADE_SHAKE_M_PER_PX * shift[0]
        blade_out = values["blade_out"] > 0.5
        lamp = values["lamp_brightness"] * self._lighting.lamp(np.array(middle), shutter.exposure_s)
        truth = FrameTruth(
            number,
            start,
            1.0 if blade_out else self.light.still_uncut(travel),
            travel,
            shutter.exposure_s,
            values["gain"],
            float(lamp),
            shift,
            values["lens_capped"] > 0.5,
            blade_out,
        )
        return replace(truth, sparks=self._flashes(truth, shutter))

    def _flashes(self, truth: FrameTruth, shutter: Shutter) -> tuple[SparkSeen, ...]:
        if truth.lens_capped:
            return ()
        lasts = self.scene.flows.spark.flash_s
        seen = []
        for spark in self._sparks_near(truth.time_s, shutter):
            rows = shutter.rows_lit(truth.time_s, spark.time_s, lasts)
            if rows is not None:
                seen.append(SparkSeen(spark.time_s, *rows))
        return tuple(seen)

    def _sparks_near(self, start: float, shutter: Shutter) -> list[SparkAt]:
        lasts = self.scene.flows.spark.flash_s
        return self.spark_times.between(start - lasts, start + shutter.seconds)

    def _flow_sizes(self, time_s: float) -> dict[str, float]:
        # A spark's front and kernel live on after the coil is switched off.
        return {
            name: 1.0 if name == "spark" else self.knobs.at(f"flow_{name}", time_s)
            for name in self.flows
        }

    def _lamp_light(self, truth: FrameTruth, shutter: Shutter, values: Any) -> Map:
        """Electrons from the lamp over the box."""
        passed = self._passed
        if truth.blade_out:
            passed.fill(1.0)
        else:
            self._pass_blade(truth, shutter, passed)
        scale = self._lighting.open_e(truth.exposure_s) * values["lamp_brightness"]
        rows = np.arange(self.place.top, self.place.top + self.place.rows)
        times = truth.time_s + 0.5 * shutter.exposure_s + rows * shutter.row_time_s
        cv2.multiply(passed, self._unhidden(values), dst=self._work, scale=scale)
        if values["flow_hand"] > 0.5:
            self._hide_by_hand(truth.time_s + 0.5 * shutter.seconds)
        if not self._lighting.steady:
            gains = self._lighting.lamp(times, shutter.exposure_s).astype(np.float32)
            np.multiply(self._work, gains[:, None], out=self._work)
        if truth.shift_px != (0.0, 0.0):
            move = np.array([[1, 0, truth.shift_px[0]], [0, 1, truth.shift_px[1]]], np.float64)
            size = (self.place.columns, self.place.rows)
            return np.asarray(cv2.warpAffine(self._work, move, size, flags=cv2.INTER_LINEAR))
        return self._work

    def _unhidden(self, values: Any) -> Map:
        """The mirror's light behind the bodies of the flows that are set up."""
        names = tuple(
            name
            for name in self._bodies.clear
            if getattr(self.scene.flows, name).on or values[f"flow_{name}"] > 0.5
        )
        if names not in self._open:
            light = self._mirror.reflects.copy()
            for name in names:
                light *= self._bodies.clear[name]
            self._open = {**dict(list(self._open.items())[-3:]), names: light}
        return self._open[names]

    def _hide_by_hand(self, time_s: float) -> None:
        place = self.place
        left, top = (
            (place.left - place.cx) / place.px_per_m,
            (place.cy - place.top) / place.px_per_m,
        )
        size = (place.columns, place.rows)
        shade = self.hand.shade(left, top, place.px_per_m, size, time_s)
        if shade is not None:
            offset = self.scene.view.pass_offset_m * place.px_per_m
            if len(self.light.geometry.arms_m) > 1 and self.exact:
                shade = twice(shade, offset)
            cv2.multiply(self._work, shade, dst=self._work)

    def _add_flames(self, truth: FrameTruth, values: Any, middle: float, box: Map) -> None:
        flicker = self._lighting.flame(middle)
        burning = {
            "candle": values["flow_candle"],
            "lighter": values["flow_lighter"] * float(self.lighter.burning(np.array(middle))),
        }
        for name, size in burning.items():
            if size > 0.0:
                light = self._lighting.open_e(truth.exposure_s) * size * flicker
                cv2.scaleAdd(self._bodies.flames[name], light, box, dst=box)

    def _pass_blade(self, truth: FrameTruth, shutter: Shutter, out: Map) -> None:
        moments = self._moments(truth, shutter)
        for index, offset in enumerate(moments):
            times = row_times(
                self.light.grid_rows, truth.time_s + float(offset), shutter.row_time_s
            )
            sizes = self._flow_sizes(truth.time_s)
            shift = None
            if any(size > 0.0 for size in sizes.values()):
                path = self.light.path(self.flows, sizes, times)
                shift = self.light.shift(self.light.deflection(path))
            if index == 0:
                self.light.passed(shift, truth.blade_x_m, out)
            else:
                out += self.light.passed(shift, truth.blade_x_m, self._work)
        if len(moments) > 1:
            out *= np.float32(1.0 / len(moments))

    def _moments(self, truth: FrameTruth, shutter: Shutter) -> NDArray[np.float64]:
        """Moments of the exposure at which the flow is looked at, from its begin."""
        count = self.scene.sensor.sub_exposures if self.exact else 1
        recent = self.spark_times.between(truth.time_s - 0.0015, truth.time_s + shutter.seconds)
        if self.exact and recent and shutter.exposure_s > 2e-5:
            # A front crosses many pixels during an exposure.
            count = max(count, min(64, math.ceil(shutter.exposure_s / 1.5e-5)))
        return np.asarray((np.arange(count) + 0.5) / count * shutter.exposure_s)

    def _add_flashes(
        self, truth: FrameTruth, shutter: Shutter, box: Map
    ) -> NDArray[np.float32] | None:
        """Add the sparks' light to the box; returns the electrons added to every row."""
        if not truth.sparks:
            return None
        lasts = self.scene.flows.spark.flash_s
        share = np.zeros(shutter.rows)
        for seen in truth.sparks:
            share += shutter.shares(truth.time_s, seen.time_s, lasts)
        full = self._lighting.flash_e
        inside = share[self.place.top : self.place.top + self.place.rows, None]
        box += self._bodies.arc * (full * inside).astype(np.float32)
        return (full * self._bodies.glare * share).astype(np.float32)

    def _finish(
        self,
        box: Map,
        room: float,
        glare: NDArray[np.float32] | None,
        truth: FrameTruth,
        shutter: Shutter,
        out: Pixels,
    ) -> None:
        """From electrons to the codes of the whole picture."""
        sensor, place = self.scene.sensor, self.place
        even = self._lighting.dark_e(truth.exposure_s) if truth.lens_capped else room
        hot = self.chip.hot_e_s * np.float32(truth.exposure_s)
        if glare is None and not self.exact:
            np.add(box, np.float32(even), out=box)
            inside, rows, columns = self._hot_inside
            box[rows, columns] += hot[inside]
            self.chip.surroundings(even, truth.gain, truth.number, place.box, out)
            self.chip.expose(box, place.top, place.left, truth.gain, truth.number, out[place.box])
            self._hot_outside(out, even, hot, truth)
            return
        whole = np.full((sensor.height, sensor.width), even, np.float32)
        if glare is not None:
            whole += glare[:, None]
        whole[place.box] += box
        whole[self.chip.hot_rows, self.chip.hot_columns] += hot
        self.chip.expose(whole, 0, 0, truth.gain, truth.number, out)

    def _hot_in_box(self) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
        place, chip = self.place, self.chip
        rows, columns = chip.hot_rows - place.top, chip.hot_columns - place.left
        inside = (rows >= 0) & (rows < place.rows) & (columns >= 0) & (columns < place.columns)
        return inside, rows[inside], columns[inside]

    def _hot_outside(
        self, out: Pixels, even: float, hot: NDArray[np.float32], truth: FrameTruth
    ) -> None:
        outside = ~self._hot_inside[0]
        self.chip.expose_spots(
            self.chip.hot_rows[outside],
            self.chip.hot_columns[outside],
            hot[outside] + np.float32(even),
            truth.gain,
            truth.number,
            out,
        )

    def _shake(self, time_s: float, size_px: float) -> tuple[float, float]:
        """Shift of the picture, pixels: the rig's own trembling and the door's knocks."""
        x = y = 0.0
        if size_px > 0.0:
            at = np.array(time_s)
            x, y = size_px * float(self._shake_x.at(at)), size_px * float(self._shake_y.at(at))
        door = self.scene.flows.door
        scale = door.knock_px * self.scene.sensor.height / 720.0
        for slam in slams_between(door, time_s - 2.5, time_s):
            if self.knobs.at("flow_door", slam) > 0.5:
                dx, dy = knock(time_s - slam)
                x, y = x + scale * dx, y + scale * dy
        return (x, y)

    def _adapt_exposure(self, out: Pixels, truth: FrameTruth) -> None:
        """A plain auto-exposure: bring the box's mean code to 0.45 of the top code, slowly."""
        mean = float(out[self.place.box][::16, ::16].mean()) / self.scene.sensor.white
        low, high = self.knobs.limits()["exposure_s"]
        wanted = truth.exposure_s * (0.45 / max(mean, 0.02)) ** 0.12
        self.knobs.turn("exposure_s", min(max(wanted, low), high), self.time_of(truth.number + 1))
