"""Display gain that follows the picture without pumping."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_SHARE_BEYOND = 0.002
_HEADROOM = 1.3
_NOISE_REACH = 6.0
_LEAST = 0.004
_MOST = 2.0
_WAIT_UP_S = 0.15
_WAIT_DOWN_S = 2.5
_TOO_SMALL = 1.15
_TOO_LARGE = 0.55


class AutoGain:
    """Chooses the contrast at the palette's end.

    It changes only when what is wanted has been well outside what is set for a while: 0.15 s for
    a picture that is cut off, 2.5 s for one that is too faint. In between it stands still.
    """

    def __init__(self) -> None:
        self._scale: float | None = None
        self._since: float | None = None
        self._widest = 0.0
        self._last_s: float | None = None

    @property
    def scale(self) -> float | None:
        """The contrast at the palette's end, None before the first frame."""
        return self._scale

    def restart(self) -> None:
        """Choose afresh at the next frame."""
        self.__init__()  # type: ignore[misc]

    def update(
        self,
        time_s: float,
        edges: NDArray[np.float64],
        counts: NDArray[np.int64],
        sigma: float | None,
    ) -> float:
        """See one frame's histogram; returns the contrast at the palette's end."""
        wanted = wanted_scale(edges, counts, sigma)
        if self._last_s is not None and not 0.0 <= time_s - self._last_s < 10.0:
            self._since = None
        self._last_s = time_s
        if self._scale is None:
            self._scale = wanted
            return wanted
        up = wanted > _TOO_SMALL * self._scale
        down = wanted < _TOO_LARGE * self._scale
        if not (up or down):
            self._since = None
            return self._scale
        if self._since is None:
            self._since, self._widest = time_s, wanted
        self._widest = max(self._widest, wanted)
        if time_s - self._since >= (_WAIT_UP_S if up else _WAIT_DOWN_S):
            self._scale, self._since = self._widest, None
        return self._scale


def wanted_scale(
    edges: NDArray[np.float64],
    counts: NDArray[np.int64],
    sigma: float | None,
    beyond: float = _SHARE_BEYOND,
) -> float:
    """Contrast that all but a share of the pixels stay within, with headroom, above the noise.

    ``beyond`` is that share, 0.002 unless given.
    """
    total = float(counts.sum())
    noise = _NOISE_REACH * sigma if sigma is not None else 0.0
    if total == 0:
        return min(max(noise, _LEAST), _MOST)
    half = counts.size // 2
    magnitude = counts[half:] + counts[half - 1 :: -1]
    within = np.cumsum(magnitude)
    bin_ = int(np.searchsorted(within, (1 - beyond) * total))
    top = float(edges[half + min(bin_, half - 1) + 1])
    return min(max(_HEADROOM * top, noise, _LEAST), _MOST)
