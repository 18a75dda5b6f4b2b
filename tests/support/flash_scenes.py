"""Sparks and everything that is none: a small independent model of a camera at a schlieren rig.

Light is linear, 1.0 the top code. Each row sees its own moment (rolling shutter) or all the same
one. The truth stands beside every frame. It shares nothing with the program's simulated rig, so
that a detector cannot be tuned to the peculiarities of one of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from liveview.model import Disc, Frame, FrameStamp, SourceInfo, SourceKind

WELL_E = 8000.0
READ_E = 5.0
PEDESTAL = 0.004


@dataclass(frozen=True)
class Spark:
    """A flash at ``time_s``: compact light ``arc`` (peak) at (x, y) and even light ``glow``."""

    time_s: float
    arc: float = 0.0
    glow: float = 0.0
    x: float = 0.55
    y: float = 0.45
    radius_px: float = 3.0


@dataclass
class Bench:
    """A rig and what disturbs it. Sizes are those of the picture; times in seconds."""

    width: int = 320
    height: int = 180
    rate_hz: float = 60.0
    readout_s: float = 0.015
    exposure_s: float = 0.002
    seed: int = 1
    sparks: tuple[Spark, ...] = ()
    flicker: float = 0.0
    room: float = 0.002
    room_flicker: float = 0.6
    mains_hz: float = 50.0
    lamp_noise: float = 0.0005
    steps: tuple[tuple[float, float], ...] = ()
    """(time, factor): the lamp is that much brighter from then on."""
    drift: float = 0.0
    """Auto-exposure's slow wander, amplitude."""
    hunting: float = 0.0
    """Auto-exposure that acts late: share of its error it takes back every third frame, measured
    three frames before. 0 is none, above 0.5 it rings, from 1 on for ever. Frames must be asked
    for in order then."""
    hands: tuple[tuple[float, float], ...] = ()
    """(when it reaches farthest, speed in picture widths a second)."""
    knocks: tuple[tuple[float, float, float], ...] = ()
    """(time, size in px, frequency in Hz)."""
    plume: bool = False
    kernels: bool = True
    transfer_srgb: bool = True
    _bank: list[np.ndarray] = field(default_factory=list, repr=False)

    @property
    def row_time_s(self) -> float:
        return self.readout_s / self.height

    @property
    def disc(self) -> Disc:
        return Disc(self.width / 2, self.height / 2, 0.45 * self.height)

    @property
    def info(self) -> SourceInfo:
        return SourceInfo(
            SourceKind.CAMERA,
            "bench",
            self.width,
            self.height,
            1,
            8,
            255,
            True,
            self.rate_hz,
            row_time_s=self.row_time_s,
            exposure_s=self.exposure_s,
        )

    def __post_init__(self) -> None:
        self._y, self._x = np.mgrid[: self.height, : self.width].astype(np.float32)
        rng = np.random.default_rng(self.seed)
        self._rng = rng
        d = self.disc
        r = np.hypot(self._x - d.cx, self._y - d.cy) / d.radius
        soft = np.clip((1.0 - r) * d.radius / 1.5 + 0.5, 0, 1)
        flaws = 1 + 0.03 * np.sin(self._x / 9.0) * np.cos(self._y / 7.0)
        for _ in range(25):
            x, y = rng.uniform(0, self.width), rng.uniform(0, self.height)
            dot = np.exp(-((self._x - x) ** 2 + (self._y - y) ** 2) / 4)
            flaws *= 1 - 0.4 * dot
        self._mirror = (0.38 * soft * flaws * (1 - 0.15 * r**2)).astype(np.float32)
        self._mirrors = np.concatenate([self._mirror] * 3, axis=1)  # to be cut out shifted
        bank = [
            rng.standard_normal((self.height, self.width)).astype(np.float32) for _ in range(24)
        ]
        self._bank = [np.concatenate([noise, noise]) for noise in bank]
        # The plume stays in these columns; its ripples' phase is a sum, so its sine is a product.
        low, high = round(0.35 * self.width) - 60, round(0.35 * self.width) + 60
        self._strip = slice(max(low, 0), high)
        phase = 0.5 * self._y[:, self._strip] + 0.3 * self._x[:, self._strip]
        self._ripple = np.sin(phase), np.cos(phase)
        codes = np.arange(65536) / 65535.0
        if self.transfer_srgb:
            codes = np.where(codes <= 0.0031308, 12.92 * codes, 1.055 * codes ** (1 / 2.4) - 0.055)
        self._gain, self._wanted, self._measured = 1.0, 0.0, 0.0
        self._codes = np.rint(255 * codes).astype(np.uint8)

    def row_times(self, number: int) -> np.ndarray:
        """Begin of each row's exposure."""
        return number / self.rate_hz + self.row_time_s * np.arange(self.height)

    def rows_of(self, number: int, spark: Spark) -> np.ndarray:
        """Rows of frame ``number`` that are exposed when the spark flashes."""
        begin = self.row_times(number)
        return np.flatnonzero((begin <= spark.time_s) & (spark.time_s < begin + self.exposure_s))

    def light(self, number: int) -> np.ndarray:
        """Light of one frame before the sensor."""
        begin = self.row_times(number)
        middle = begin + self.exposure_s / 2
        keep = abs(np.sinc(2 * self.mains_hz * self.exposure_s))
        wave = keep * np.sin(4 * math.pi * self.mains_hz * middle)
        now = float(middle.mean())
        lamp = (1 + self.flicker * wave) * (1 + self.drift * math.sin(2 * math.pi * 0.13 * now))
        lamp = lamp * math.prod(f for t, f in self.steps if t <= now)
        lamp = lamp * (1 + self.lamp_noise * float(self._rng.standard_normal()))
        shift, push = self._knocked(now)
        picture = self._shifted(shift) if shift else self._mirror.copy()
        if self.plume:
            picture[:, self._strip] *= self._plume(now)
        for spark in self.sparks:
            if self.kernels and 0 < now - spark.time_s < 0.6 and spark.arc:
                picture *= 1 + self._kernel(spark, now - spark.time_s)
        picture *= (lamp * (1 + push))[:, None].astype(np.float32)
        picture += (self.room * (1 + self.room_flicker * wave))[:, None].astype(np.float32)
        for middle, speed in self.hands:
            if abs(now - middle) * speed <= 0.9:
                self._put_hand_before(picture, middle, speed, now)
        for spark in self.sparks:
            if abs(spark.time_s - now) < 0.1:
                rows = self.rows_of(number, spark)
                if len(rows):
                    picture += self._flash(spark, rows)
        return picture

    def frame(self, number: int) -> Frame:
        """One frame as the camera gives it."""
        light = self.light(number)
        if self.hunting:
            light *= self._exposed(number, float(light[::4, ::4].mean()))
        noise = self._bank[int(self._rng.integers(len(self._bank)))]
        begin = self.height - int(self._rng.integers(self.height))
        seen = light * np.float32(1 / WELL_E)
        seen += np.float32((READ_E / WELL_E) ** 2)
        np.sqrt(seen, out=seen)
        seen *= noise[begin : begin + self.height]
        seen += light
        seen += np.float32(PEDESTAL)
        seen *= np.float32(65535)
        # An index of the machine's own size and no look at its range: twice as fast.
        pixels = self._codes.take(seen.astype(np.intp), mode="clip")
        return Frame(pixels, FrameStamp(number, number / self.rate_hz), 255)

    def _exposed(self, number: int, mean: float) -> np.float32:
        """Gain of an auto-exposure that hunts."""
        self._wanted = self._wanted or mean
        if number % 3 == 0:
            error = math.log(self._measured / self._wanted) if self._measured else 0.0
            self._measured = mean * self._gain
            self._gain = min(max(self._gain * math.exp(-self.hunting * error), 0.3), 3.0)
        return np.float32(self._gain)

    def frames(self, seconds: float) -> Iterator[Frame]:
        """The whole recording."""
        for number in range(round(seconds * self.rate_hz)):
            yield self.frame(number)

    def _flash(self, spark: Spark, rows: np.ndarray) -> np.ndarray:
        out = np.zeros((self.height, self.width), np.float32)
        x, y = spark.x * self.width, spark.y * self.height
        d2 = (self._x[rows] - x) ** 2 + (self._y[rows] - y) ** 2
        out[rows] = spark.glow + spark.arc * np.exp(-d2 / (2 * spark.radius_px**2))
        return out

    def _kernel(self, spark: Spark, age_s: float) -> np.ndarray:
        """Hot gas afterwards: bright on one side, dark on the other, rising and fading."""
        x, y = spark.x * self.width, spark.y * self.height - 0.3 * self.height * age_s
        s = 4 + 20 * math.sqrt(age_s)
        dx = (self._x - x) / s
        bump = dx * np.exp(-(dx**2) - ((self._y - y) / s) ** 2)
        return np.float32(0.5 * math.exp(-age_s / 0.25)) * bump

    def _plume(self, now: float) -> np.ndarray:
        """Factor of a candle's plume: upright, meandering, turbulent above."""
        up = 1 - self._y[:, :1] / self.height
        x0 = 0.35 * self.width + 6 * up * np.sin(9 * up - 21 * now) * (1 + math.sin(1.7 * now))
        dx = self._x[:, self._strip] - x0
        dx /= 4 + 8 * up
        rise, fall = self._ripple
        wild = rise * math.cos(40 * now)
        wild -= fall * math.sin(40 * now)
        wild *= 0.6 * up
        wild += 1
        wild *= dx
        wild *= 0.5
        np.square(dx, out=dx)
        np.negative(dx, out=dx)
        wild *= np.exp(dx, out=dx)
        wild += 1
        return wild

    def _put_hand_before(
        self, picture: np.ndarray, middle: float, speed: float, now: float
    ) -> None:
        """A forearm from the side with four fingers, dark before the mirror, bright beside it."""
        reach = self.width * (0.75 - speed * abs(now - middle))
        y = self._y[:, 0] - 0.55 * self.height - 0.12 * self.height * math.sin(9 * now)
        arm = np.flatnonzero(np.abs(y) < 0.2 * self.height)
        rows = slice(arm[0], arm[-1] + 1) if len(arm) else slice(0)
        fingers = 0.09 * self.height * np.cos(y[rows, None] * 2 * math.pi * 4 / (0.4 * self.height))
        edge = (reach + fingers).astype(np.float32)
        part = rows, slice(0, max(int(edge.max(initial=0)) + 20, 0))
        beyond = self._x[part] - edge
        cover = np.clip(0.5 - beyond / 2, 0, 1)
        warm = 0.25 * np.exp(-((beyond / 5) ** 2)) * (beyond > 0)
        picture[part] *= (1 - cover) * (1 + warm)
        picture[part] += cover * 0.006

    def _shifted(self, shift: float) -> np.ndarray:
        """The mirror moved right by a part of a pixel, too."""
        whole = math.floor(shift)
        part = np.float32(shift - whole)
        left = self.width - whole % self.width
        picture = self._mirrors[:, left : left + self.width] * (1 - part)
        picture += self._mirrors[:, left - 1 : left - 1 + self.width] * part
        return picture

    def _knocked(self, now: float) -> tuple[float, float]:
        shift = push = 0.0
        for time_s, size, hz in self.knocks:
            age = now - time_s
            if 0 <= age < 1.5:
                swing = math.exp(-age / 0.25) * math.sin(2 * math.pi * hz * age + 0.9)
                shift += size * swing
                push += 0.06 * size * swing
        return shift, max(push, -0.9)
