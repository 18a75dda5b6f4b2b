"""A recording whose every value is known: dark, open, reference, a flow, and one flash.

::

    0      0.6 s   1.2 s       1.8 s              2.8 s
    | dark | open  | reference | flow, flash      |
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 30
HEIGHT, WIDTH = 96, 131
"""Not multiples of anything."""
CX, CY, RADIUS = 64.0, 47.0, 40.0
DARK, OPEN, REFERENCE = 0.02, 0.82, 0.42
"""Light, 1.0 is the top code; the uncut fraction of the reference is a half."""
UNCUT = (REFERENCE - DARK) / (OPEN - DARK)
FLOW_CONTRAST = 0.2
STEPS = {"dark": (0.0, 0.6), "open": (0.6, 1.2), "reference": (1.2, 1.8)}
SECONDS = 2.8
FRAMES = round(SECONDS * RATE_HZ)
FLASH_FRAME = 70
FLASH_ROWS = (30, 52)
NOISE = 0.002
STRETCHES = tuple(
    text
    for name, (since, until) in STEPS.items()
    for text in (f"--{name}", f"{since + 0.01}:{until - 0.01}")
)
"""Arguments of ``process`` that name the three stretches."""


@dataclass(frozen=True, slots=True)
class Known:
    """Frames as codes, and the contrast that is in them."""

    frames: list[NDArray[np.uint16]]
    white: int
    contrast: NDArray[np.float64]
    inside: NDArray[np.bool_]


def frame_at(step: str) -> int:
    """First frame of a step."""
    return round(STEPS[step][0] * RATE_HZ)


def known(bits: int = 8) -> Known:
    """The recording with linear codes of ``bits`` bits."""
    rng = np.random.default_rng(7)
    white = (1 << bits) - 1
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(float)
    inside = (x - CX) ** 2 + (y - CY) ** 2 <= RADIUS**2
    flow = FLOW_CONTRAST * np.exp(-(((x - CX - 12) / 6) ** 2) - ((y - CY) / 9) ** 2)
    frames = []
    for index in range(FRAMES):
        t = index / RATE_HZ
        level = DARK if t < 0.6 else OPEN if t < 1.2 else REFERENCE
        light = np.where(inside, level, DARK)
        if t >= 1.8:
            light = light + np.where(inside, flow * (REFERENCE - DARK), 0.0)
        if index == FLASH_FRAME:
            light[FLASH_ROWS[0] : FLASH_ROWS[1] + 1] += 0.3
        light = light + rng.normal(0, NOISE, light.shape)
        frames.append(np.rint(np.clip(light, 0, 1) * white).astype(np.uint16))
    return Known(frames, white, flow, inside)


def as_bytes(frames: list[NDArray[np.uint16]]) -> list[NDArray[np.uint8]]:
    """8-bit frames."""
    return [frame.astype(np.uint8) for frame in frames]


def as_colour(frames: list[NDArray[np.uint16]]) -> list[NDArray[np.uint8]]:
    """8-bit frames with three equal channels."""
    return [np.repeat(frame.astype(np.uint8)[..., None], 3, axis=2) for frame in frames]
