"""Faint plumes in front of a dusty, vignetted mirror, under a flickering lamp, shaken: with truth.

Written for the tests of the enhancement alone, apart from the simulated rig, so that the two
do not share mistakes. Linear camera, Poisson-like noise of known size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.imaging.background import PictureAverager
from liveview.model import (
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameStamp,
    Light,
    SourceInfo,
    SourceKind,
)

ROWS, COLUMNS = 252, 276
DISC = Disc(139.3, 124.8, 104.0)
RATE = 60.0
DARK = 0.02
_ELECTRONS = 9000.0
_READ = 3e-7
WITHIN_PX = 6.0


@dataclass(frozen=True)
class Weather:
    """What disturbs the pictures."""

    flicker: float = 0.0
    row_flicker: float = 0.0
    bands: float = 2.7
    shake_px: float = 0.0
    drift: float = 0.0
    frames: int = 40


class FaintRig:
    """Frames with a plume ``strength`` times the noise of one pixel's contrast strong (peak)."""

    def __init__(self, strength: float, weather: Weather, bits: int = 12, seed: int = 1) -> None:
        self.weather = weather
        self.white = 2**bits - 1
        self.bits = bits
        self.rng = np.random.default_rng(seed)
        self.dust = [
            (
                *(self.rng.uniform(-0.65, 0.65, 2) * DISC.radius),
                self.rng.uniform(1.0, 2.5),
                self.rng.uniform(0.1, 0.6),
            )
            for _ in range(40)
        ]
        y, x = np.mgrid[:ROWS, :COLUMNS].astype(np.float64)
        self.x, self.y = x, y
        self.within = np.hypot(x - DISC.cx, y - DISC.cy) < DISC.radius - WITHIN_PX
        self.still = self.mirror(0.0, 0.0)
        lit = self.still[self.within]
        self.sigma = float(np.median(self.noise_of(lit) / lit))
        across = (x - DISC.cx + 12) / 18
        self.along = np.exp(-(((y - DISC.cy) / 80) ** 2))
        self.shape = across * np.exp(0.5 - across**2 / 2)
        self.strength = strength
        self.number = 0

    def mirror(self, dx: float, dy: float) -> np.ndarray:
        """Light of the half-cut mirror moved by (dx, dy) pixels, without noise."""
        x, y = self.x - dx, self.y - dy
        r = np.hypot(x - DISC.cx, y - DISC.cy)
        # An optically blurred rim: an error function would do; a smooth step is as good.
        rim = 0.5 * (1 - np.tanh((r - DISC.radius) / 1.2))
        light = 0.4 * rim * (1 - 0.5 * (r / DISC.radius) ** 2)
        for px, py, size, depth in self.dust:
            row, column = round(DISC.cy + py + dy), round(DISC.cx + px + dx)
            near = (slice(row - 12, row + 13), slice(column - 12, column + 13))
            d2 = (x[near] - DISC.cx - px) ** 2 + (y[near] - DISC.cy - py) ** 2
            light[near] *= 1 - depth * np.exp(-d2 / (2 * size**2))
        return light

    @staticmethod
    def noise_of(light: np.ndarray) -> np.ndarray:
        return np.sqrt(np.maximum(light, 0) / _ELECTRONS + _READ)

    def truth(self, time_s: float) -> np.ndarray:
        """Contrast in the mirror's own coordinates; the plume sways slowly."""
        sway = 4 * np.sin(2 * np.pi * 0.7 * time_s)
        profile = np.interp(np.arange(COLUMNS) + sway, np.arange(COLUMNS), self.shape[0])
        return self.strength * self.sigma * profile * self.along

    def frame(self, plume: bool = True, shaken: bool = True) -> tuple[Frame, np.ndarray]:
        """The next frame and the true contrast in it."""
        weather, number = self.weather, self.number
        self.number += 1
        time_s = number / RATE
        moving = weather.shake_px if shaken else 0.0
        dx, dy = self.rng.uniform(-moving, moving, 2)
        truth = self.truth(time_s) if plume else np.zeros_like(self.shape)
        light = self.still if moving == 0 else self.mirror(dx, dy)
        seen = truth if moving == 0 else _moved(truth, dx, dy)
        phase = self.rng.uniform(0, 2 * np.pi)
        rows = np.sin(2 * np.pi * weather.bands * self.y[:, :1] / ROWS + phase)
        lamp = 1 + weather.flicker * self.rng.standard_normal() + weather.row_flicker * rows
        if plume:
            lamp = lamp * (1 - weather.drift * number / weather.frames)
        light = light * (1 + seen) * lamp
        noisy = DARK + light + self.noise_of(light) * self.rng.standard_normal(light.shape)
        codes = np.clip(np.rint(noisy * self.white), 0, self.white)
        dtype = np.uint8 if self.bits <= 8 else np.uint16
        return Frame(codes.astype(dtype), FrameStamp(number, time_s), self.white), truth

    @property
    def info(self) -> SourceInfo:
        return SourceInfo(
            SourceKind.SIMULATED, "faint plume", COLUMNS, ROWS, 1, self.bits, self.white, False,
            rate_hz=RATE, transfer="linear",
        )  # fmt: skip

    def light(self, frame: Frame) -> Light:
        return (frame.pixels / self.white).astype(np.float32)

    def calibration(self, frames: int = 48) -> Calibration:
        """Dark and reference as a user takes them: still, with flicker and noise in them."""
        calibration = Calibration()
        for kind in (CalibrationKind.DARK, CalibrationKind.REFERENCE):
            averager = PictureAverager(self.info.camera_state, kind)
            for _ in range(frames):
                if kind is CalibrationKind.DARK:
                    noise = _READ**0.5 * self.rng.standard_normal(self.still.shape)
                    averager.add((DARK + noise).astype(np.float32))
                else:
                    averager.add(self.light(self.frame(plume=False, shaken=False)[0]))
            calibration = calibration.with_picture(kind, averager.result(0.0, "", DISC))
        self.number = 0
        return calibration


def _moved(picture: np.ndarray, dx: float, dy: float) -> np.ndarray:
    """A smooth picture moved by (dx, dy), by cubic splines."""
    from scipy.ndimage import shift

    return np.asarray(shift(picture, (dy, dx), order=3, mode="nearest"))
