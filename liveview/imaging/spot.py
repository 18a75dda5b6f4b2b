"""The lamp's image on a card: how wide it is, and which way to walk with the card.

Widths follow ISO 11146-1:2021: four times the square root of the second central moment along the
principal axes, integrated over a window three widths wide that is found by repeating; the
background is subtracted first (ISO 11146-3), or a pedestal of one per cent of the peak would
widen the result several times.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import Light

_WINDOW = 3.0
"""Width of the integration window in widths of the spot (ISO 11146-1, 3 beam widths)."""
_TURNS = 30
_LEAST_PEAK_SIGMA = 8.0
"""A spot's smoothed peak must stand this far above the background's noise."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A bright spot in a picture.

    ``cx, cy`` is its centroid, ``major_px >= minor_px`` the D4-sigma widths along the principal
    axes, ``angle_rad`` that of the major axis (from x towards y, -pi/2..pi/2). ``peak`` and
    ``background`` are linear light, ``clipped`` is True when the top code was reached inside: the
    widths are then too large and the peak too small.
    """

    cx: float
    cy: float
    major_px: float
    minor_px: float
    angle_rad: float
    peak: float
    background: float
    clipped: bool

    @property
    def mean_px(self) -> float:
        """Effective diameter: root mean square of the two widths (ISO 11146-1, 3.4)."""
        return math.sqrt((self.major_px**2 + self.minor_px**2) / 2)


def measure_spot(light: Light, top: float = 0.999) -> Spot | None:
    """Measure the brightest spot of a picture.

    Parameters
    ----------
    light : ndarray, float32, (rows, columns)
        Linear light, 1.0 the top code.
    top : float
        Light from which a pixel counts as clipped.

    Returns
    -------
    Spot or None
        None when nothing stands out of the background, or the spot fills the picture.
    """
    rows, columns = light.shape
    if min(rows, columns) < 8:
        return None
    smooth: Light = cv2.GaussianBlur(light, (0, 0), 1.5).astype(np.float32, copy=False)
    background, sigma = _background(light)
    _, peak, _, (px, py) = cv2.minMaxLoc(smooth)
    if peak - background < max(_LEAST_PEAK_SIGMA * sigma / 4.0, 1e-5):
        return None
    above = light.astype(np.float64) - background
    start = _half_maximum(smooth, background, peak, (int(px), int(py)))
    moments = _settled(above, start)
    if moments is None:
        return None
    cx, cy, xx, yy, xy = moments
    major, minor, angle = _principal(xx, yy, xy)
    window = _window(light.shape, cx, cy, xx, yy)
    inside = light[window]
    return Spot(
        cx, cy, major, minor, angle, float(inside.max()), background, bool((inside >= top).any())
    )


def _background(light: Light) -> tuple[float, float]:
    """Level and noise of the border, a tenth of the picture wide on all sides."""
    rows, columns = light.shape
    edge_y, edge_x = max(2, rows // 10), max(2, columns // 10)
    border = np.concatenate(
        [
            light[:edge_y].ravel(),
            light[-edge_y:].ravel(),
            light[edge_y:-edge_y, :edge_x].ravel(),
            light[edge_y:-edge_y, -edge_x:].ravel(),
        ]
    )
    level = float(np.median(border))
    sigma = 1.4826 * float(np.median(np.abs(border - level)))
    near = border[np.abs(border - level) <= 3.0 * sigma] if sigma > 0 else border[border == level]
    return float(near.mean()), sigma


def _half_maximum(
    smooth: Light, background: float, peak: float, at: tuple[int, int]
) -> tuple[float, float, float, float, float]:
    """First moments guess from the region above half the peak around it."""
    level = background + 0.5 * (peak - background)
    _, labels, stats, centres = cv2.connectedComponentsWithStats((smooth >= level).astype(np.uint8))
    label = int(labels[at[1], at[0]])
    _, _, width, height, _ = stats[label]
    cx, cy = centres[label]
    return float(cx), float(cy), (width / 2.0) ** 2, (height / 2.0) ** 2, 0.0


def _window(
    shape: tuple[int, ...], cx: float, cy: float, xx: float, yy: float
) -> tuple[slice, slice]:
    def span(centre: float, variance: float, size: int) -> slice:
        half = max(3.0, 0.5 * _WINDOW * 4.0 * math.sqrt(variance))
        first = max(0, math.floor(centre - half))
        return slice(first, min(size, math.ceil(centre + half) + 1))

    return span(cy, yy, shape[0]), span(cx, xx, shape[1])


def _settled(
    above: NDArray[np.float64], start: tuple[float, float, float, float, float]
) -> tuple[float, float, float, float, float] | None:
    """Centroid and central moments, repeated until the window no longer moves."""
    cx, cy, xx, yy, xy = start
    for _ in range(_TURNS):
        window = _window(above.shape, cx, cy, xx, yy)
        part = above[window]
        total = float(part.sum())
        if total <= 0.0:
            return None
        x = np.arange(window[1].start, window[1].stop, dtype=np.float64)
        y = np.arange(window[0].start, window[0].stop, dtype=np.float64)
        in_x, in_y = part.sum(axis=0), part.sum(axis=1)
        new_x, new_y = float(in_x @ x) / total, float(in_y @ y) / total
        new_xx = float(in_x @ (x - new_x) ** 2) / total
        new_yy = float(in_y @ (y - new_y) ** 2) / total
        xy = float((y - new_y) @ part @ (x - new_x)) / total
        if new_xx <= 0.0 or new_yy <= 0.0:
            return None
        moved = abs(new_x - cx) + abs(new_y - cy) + abs(new_xx - xx) + abs(new_yy - yy)
        cx, cy, xx, yy = new_x, new_y, new_xx, new_yy
        if moved < 1e-6:
            break
    return cx, cy, xx, yy, xy


def _principal(xx: float, yy: float, xy: float) -> tuple[float, float, float]:
    """Widths along the principal axes and the angle of the larger (ISO 11146-1, 3.3)."""
    middle, half = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    angle = 0.5 * math.atan2(2 * xy, xx - yy)
    return 4 * math.sqrt(middle + half), 4 * math.sqrt(max(middle - half, 0.0)), angle


class Walk(str, Enum):
    """What to do with the card."""

    UNKNOWN = "unknown"
    ON = "walk on"
    BACK = "go back"
    HERE = "here"


class SpotSearch:
    """Holds the smallest and brightest image seen and says which way to walk.

    ::

                     narrower than before           wider than the smallest by 8 %
        UNKNOWN ------------------------> ON -----------------------------------> BACK
                                           ^      within 4 % of the smallest,       |
                                           '--- HERE <--- after having been past ---'

    Parameters
    ----------
    past, close : float
        Relative widths: more than ``past`` above the smallest means walked past it; within
        ``close`` of it after that means arrived. Measured widths scatter by a per cent or two.
    """

    def __init__(self, past: float = 0.08, close: float = 0.04) -> None:
        self._past = past
        self._close = close
        self.forget()

    def forget(self) -> None:
        """Start anew, for another card or lamp."""
        self.smallest: Spot | None = None
        self.brightest: Spot | None = None
        self._went_past = False
        self._widest = 0.0
        self._walk = Walk.UNKNOWN

    def see(self, spot: Spot) -> Walk:
        """Take in one measurement; clipped spots count for neither record."""
        width = spot.mean_px
        self._widest = max(self._widest, width)
        if not spot.clipped:
            if self.smallest is None or width < self.smallest.mean_px:
                self.smallest = spot
            if self.brightest is None or spot.peak > self.brightest.peak:
                self.brightest = spot
        self._walk = self._judged(width)
        return self._walk

    def _judged(self, width: float) -> Walk:
        if self.smallest is None:
            return Walk.UNKNOWN
        best = self.smallest.mean_px
        if width > best * (1 + self._past):
            self._went_past = True
            return Walk.BACK
        if self._went_past and width <= best * (1 + self._close):
            return Walk.HERE
        if self._widest > best * (1 + self._past):
            return Walk.HERE if self._walk is Walk.HERE else Walk.ON
        return Walk.UNKNOWN
