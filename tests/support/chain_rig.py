"""Frames whose truth is known, and a chain for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liveview.engine.chain import Chain
from liveview.model import (
    Average,
    Calibration,
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
