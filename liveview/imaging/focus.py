"""Is the camera's lens sharp on the mirror? Contrast of edges in a patch, freed of noise.

The measure is the mean squared gradient over the squared mean light (the Tenengrad measure:
Krotkov 1988, "Focusing", Int. J. Comput. Vis. 1:223, made independent of brightness). Squares of
one picture's gradient would count its noise as sharpness, so gradients of two successive frames
are multiplied instead: the scene is the same in both, the noise is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.imaging.cv import cv2
from liveview.model import Disc, Light

Patch = tuple[slice, slice]


def rim_patch(shape: tuple[int, ...], disc: Disc, share: float = 0.25) -> Patch:
    """A patch on the mirror's rim: where the rim is vertical on the right, else on the left.

    Parameters
    ----------
    shape : tuple
        Rows and columns of the picture.
    disc : Disc
        The mirror in the picture.
    share : float
        Side of the patch as a share of the disc's diameter.
    """
    side = max(8.0, share * 2 * disc.radius)
    right = disc.cx + disc.radius + side / 2 < shape[1]
    return patch_around(shape, disc.cx + (disc.radius if right else -disc.radius), disc.cy, side)


def patch_around(shape: tuple[int, ...], x: float, y: float, side: float) -> Patch:
    """A square patch around a point, kept inside the picture and at least 8 pixels wide."""

    def span(centre: float, size: int) -> slice:
        width = int(min(max(8, round(side)), size))
        first = int(np.clip(round(centre - width / 2), 0, size - width))
        return slice(first, first + width)

    return span(y, shape[0]), span(x, shape[1])


def sharpness(first: Light, second: Light) -> float | None:
    """Sharpness of a still scene from two frames of it.

    Parameters
    ----------
    first, second : ndarray, float32, (rows, columns)
        The same patch of two successive frames, linear light.

    Returns
    -------
    float or None
        Mean squared gradient per pixel over the squared mean, 1/pixel^2; about 0 for an even
        patch whatever its noise (then also slightly negative). None for a dark patch.
    """
    level = float(first.mean(dtype=np.float64)) * float(second.mean(dtype=np.float64))
    if level < 1e-8 or min(first.shape) < 3:
        return None
    total = 0.0
    for dx, dy in ((1, 0), (0, 1)):
        one = cv2.Sobel(first, cv2.CV_32F, dx, dy, scale=0.125)
        two = cv2.Sobel(second, cv2.CV_32F, dx, dy, scale=0.125)
        total += float(np.vdot(one[1:-1, 1:-1], two[1:-1, 1:-1]))
    pixels = (first.shape[0] - 2) * (first.shape[1] - 2)
    return float(total / pixels / level)


@dataclass(frozen=True, slots=True)
class FocusReading:
    """Sharpness now and the best so far, same unit; ``share`` is their ratio 0..1."""

    now: float
    best: float

    @property
    def share(self) -> float:
        """Sharpness against the best seen since the start, 0..1."""
        return float(np.clip(self.now / self.best, 0.0, 1.0)) if self.best > 0 else 0.0


class FocusSearch:
    """Remembers the last frame's patch and the best sharpness since ``forget``."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Start anew: another patch or another scene."""
        self._last: Light | None = None
        self._best = 0.0

    def see(self, patch: Light) -> FocusReading | None:
        """Take in the patch of the next frame; None for the first frame or a dark patch."""
        last, self._last = self._last, patch.copy()
        if last is None or last.shape != patch.shape:
            return None
        now = sharpness(last, patch)
        if now is None:
            return None
        self._best = max(self._best, now)
        return FocusReading(now, self._best)
