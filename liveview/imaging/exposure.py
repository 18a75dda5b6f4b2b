"""Is the exposure right? Raw levels of the disc, clipped pixels, a suggestion in stops.

Judged on code values as they came from the camera, before anything is done to them: a picture
that has been lifted can hide that it is clipped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes, Pixels

BINS = 64
TARGET_TOP = 0.80
"""Linear light wanted for the brightest thousandth of the open picture: a third of a stop spare."""
_BRIGHTEST = 0.999
_TYPICAL = 0.9
_CUT = 0.9
"""Uncut fraction below which flows brighten parts of the picture, as the blade does not."""
FEW = 0.003
"""Share of clipped pixels (hot pixels, glints, a small flame) that is not worth a word."""
NO_LIGHT = "no light: nothing to judge the exposure by"
"""What is said of a picture that :func:`is_dark`."""
_DARK_TOP = 0.05
"""Linear light that hardly any pixel of a dark picture exceeds."""
_DARK_SPREAD = 0.004
"""Differences between a dark picture's parts, of the top code: one code of eight bits."""
_PARTS = (16, 9)
_EVEN_STOPS = 1.0 / 3.0
"""A step that no exposure dial is finer than."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Raw levels inside the disc.

    ``counts`` has ``BINS`` entries over the codes 0..white. Shares are 0..1 of the disc's pixels.
    ``brightest`` is the linear light (0..1) below which 99.9 % of the pixels lie, ``typical`` that
    below which 90 % lie, ``mean`` the mean linear light. The first two leave out the clipped pixels
    where these are few.
    """

    counts: NDArray[np.int64]
    clipped_dark: float
    clipped_bright: float
    brightest: float
    typical: float
    mean: float


def clipped_pixels(pixels: Pixels, white: int, bottom: bool = True) -> Bytes:
    """Mark pixels at the top (255) or at the bottom code (1); colour: any channel.

    Parameters
    ----------
    pixels : ndarray, uint8 or uint16, (rows, columns) or (rows, columns, 3)
    white : int
        Top code.
    bottom : bool
        Mark those at code 0 too.

    Returns
    -------
    ndarray, uint8, (rows, columns): 0, 1 or 255
    """
    highest = pixels.max(axis=2) if pixels.ndim == 3 else pixels
    marks: Bytes = np.where(highest >= white, 255, 0).astype(np.uint8)
    if bottom:
        marks[highest == 0] = 1
    return marks


def read_levels(pixels: Pixels, white: int, transfer: Transfer, mask: Bytes) -> Levels | None:
    """Raw levels where ``mask`` is not 0; None for an empty mask.

    A colour picture is judged by its brightest channel, which clips first.
    """
    highest = pixels.max(axis=2) if pixels.ndim == 3 else pixels
    top = max(int(white), 1)
    histogram = cv2.calcHist(
        [np.ascontiguousarray(highest)], [0], mask, [top + 1], [0.0, float(top + 1)]
    ).ravel()
    above = int(np.count_nonzero((highest > top) & (mask > 0))) if highest.dtype != np.uint8 else 0
    histogram[top] += above
    total = float(histogram.sum())
    if total == 0:
        return None
    light = transfer.decode(np.arange(top + 1) / top)
    counted = histogram.copy()
    if histogram[top] <= FEW * total:
        counted[top] = 0.0
    share = np.cumsum(counted) / max(float(counted.sum()), 1.0)
    brightest, typical = (
        float(light[min(int(np.searchsorted(share, part)), top)]) for part in (_BRIGHTEST, _TYPICAL)
    )
    counts = np.add.reduceat(histogram, np.arange(BINS) * (top + 1) // BINS)
    return Levels(
        counts.astype(np.int64),
        float(histogram[0] / total),
        float(histogram[top] / total),
        brightest,
        typical,
        float(histogram @ light / total),
    )


def is_dark(pixels: Pixels, white: int, levels: Levels) -> bool:
    """True for a whole picture at the camera's dark level: no part of it is lit.

    A mirror shows as a step between its inside and the dark around it, however short the exposure.

    Parameters
    ----------
    pixels : ndarray, uint8 or uint16, (rows, columns) or (rows, columns, 3)
    white : int
        Top code.
    levels : Levels
        Of the same frame.
    """
    if levels.brightest > _DARK_TOP:
        return False
    # Without hot pixels, which stand alone.
    some = cv2.medianBlur(np.ascontiguousarray(pixels[::2, ::2]), 3).astype(np.float32)
    parts = cv2.resize(some, _PARTS, interpolation=cv2.INTER_AREA)
    return float(np.ptp(parts, axis=(0, 1)).max()) <= _DARK_SPREAD * white


def stops_to_target(levels: Levels, uncut: float | None = None) -> float | None:
    """Change of exposure that brings the open picture's brightest part to ``TARGET_TOP``.

    Parameters
    ----------
    levels : Levels
        Of the frame as it is now.
    uncut : float, optional
        Uncut fraction now, 0..1: with the blade in, the open picture would be brighter by its
        inverse; then the typical level counts, for a flow makes parts of the picture as bright as
        the open one already. Taken as 1 when absent.

    Returns
    -------
    float or None
        Stops: +1 means twice the light. When the picture is clipped, how much too bright it is
        cannot be known: then -1 at least. None for a black picture.
    """
    if levels.brightest <= 0.0:
        return None
    if uncut is None or uncut > _CUT:
        open_top = levels.brightest
    else:
        open_top = levels.typical / max(uncut, 0.02)
    stops = math.log2(TARGET_TOP / open_top)
    return min(stops, -1.0) if levels.clipped_bright > FEW else stops


def exposure_advice(levels: Levels, uncut: float | None = None) -> str:
    """A sentence for the person at the rig."""
    stops = stops_to_target(levels, uncut)
    if stops is None:
        return "no light at all: is the lamp on and the lens open?"
    if levels.clipped_bright > FEW:
        return (
            f"{100 * levels.clipped_bright:.2g} % of the disc is too bright to be measured: "
            "expose at least 1 stop less"
        )
    if abs(stops) < _EVEN_STOPS:
        return "exposure is good"
    direction = "longer" if stops > 0 else "shorter"
    return f"expose {abs(stops):.1f} stops {direction} (× {float(f'{2.0**stops:.2g}'):g})"
