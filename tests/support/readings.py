"""Readings with known contents, for tests of what shows them."""

from __future__ import annotations

import numpy as np

from liveview.model import (
    BladeReading,
    Disc,
    FrameStamp,
    Histogram,
    NoiseReading,
    Reading,
    Side,
)

WIDTH, HEIGHT = 320, 180
DISC = Disc(170.0, 88.0, 70.0)
INSIDE = (40, 160, 220)
"""Blue, green, red inside the disc."""
OUTSIDE = (90, 20, 30)


def picture(disc: Disc = DISC, width: int = WIDTH, height: int = HEIGHT) -> np.ndarray:
    """One colour inside the disc, another outside, BGRA."""
    y, x = np.mgrid[0:height, 0:width]
    inside = (x - disc.cx) ** 2 + (y - disc.cy) ** 2 <= disc.radius**2
    pixels = np.empty((height, width, 4), np.uint8)
    pixels[..., 3] = 255
    for channel in range(3):
        pixels[..., channel] = np.where(inside, INSIDE[channel], OUTSIDE[channel])
    return pixels


def histogram(sigma: float = 0.01, above: float = 0.002, **more: object) -> Histogram:
    """A bell of contrasts with a standard deviation of 0.02."""
    edges = np.linspace(-0.25, 0.25, 513)
    middles = (edges[:-1] + edges[1:]) / 2
    counts = np.round(5000 * np.exp(-0.5 * (middles / 0.02) ** 2)).astype(np.int64)
    shares = {"clipped_dark": 0.0, "clipped_bright": 0.0, **more}
    return Histogram("contrast", edges, counts, sigma, above, **shares)  # type: ignore[arg-type]


def reading(
    number: int = 0,
    *,
    disc: Disc | None = DISC,
    blade: BladeReading | None = None,
    view: str = "lifted",
    scale: float | None = 0.08,
    words: tuple[str, ...] = (),
    time_s: float | None = None,
) -> Reading:
    """A reading of a still picture."""
    return Reading(
        stamp=FrameStamp(number, number / 60 if time_s is None else time_s),
        picture=picture(),
        view=view,
        disc=disc,
        blade=blade or BladeReading(Side.LEFT, uncut=0.48, tilt_across=0.0, tilt_sigma=0.002),
        noise=NoiseReading(contrast_sigma=0.01),
        histogram=histogram(),
        scale=scale,
        lamp_gain=1.0,
        words=words,
    )
