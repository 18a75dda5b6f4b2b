"""Frames of a plain disc and readings to go with them, for the aids."""

from __future__ import annotations

import numpy as np

from liveview.model import (
    BladeReading,
    Disc,
    Frame,
    FrameStamp,
    NoiseReading,
    Reading,
    Side,
    SourceInfo,
    SourceKind,
)

RATE = 60.0
DISC = Disc(160, 120, 90)
Y, X = np.mgrid[:240, :320]
INSIDE = (X - DISC.cx) ** 2 + (Y - DISC.cy) ** 2 <= DISC.radius**2


def info(row_time_s: float | None = 0.0) -> SourceInfo:
    return SourceInfo(
        SourceKind.IMAGES,
        "made here",
        320,
        240,
        1,
        8,
        255,
        False,
        RATE,
        row_time_s=row_time_s,
        transfer="linear",
    )


def frame(number: int, level: float, gain: np.ndarray | float = 1.0) -> Frame:
    rng = np.random.default_rng(number)
    light = np.where(INSIDE, level, 0.01) * gain
    codes = np.clip(np.rint(255 * light + rng.normal(0, 1.0, light.shape)), 0, 255)
    return Frame(codes.astype(np.uint8), FrameStamp(number, number / RATE), 255)


def reading(of: Frame, uncut: float | None = 0.5) -> Reading:
    return Reading(
        of.stamp,
        np.zeros((1, 1, 4), np.uint8),
        "plain",
        DISC,
        BladeReading(Side.LEFT, uncut),
        NoiseReading(),
        None,
    )
