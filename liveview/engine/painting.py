"""The last step of the chain: contrast to a picture, in one of the views."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from liveview.engine.ground import Place, boxed
from liveview.engine.lifting import Lifted
from liveview.engine.picturepool import PicturePool
from liveview.imaging.arrows import GRID_PX, Arrows, ArrowScale, draw_arrows
from liveview.imaging.autogain import AutoGain
from liveview.imaging.cv import cv2
from liveview.imaging.histogram import ContrastCounter
from liveview.imaging.noise import PhotonTransfer
from liveview.imaging.palettes import codes_into, paint
from liveview.imaging.transfer import Transfer
from liveview.imaging.views import Movement, Trail, inverse_noise
from liveview.model import Bytes, Calibration, Frame, Light, Pixels

SIGNIFICANCE_END = 6.0
"""Times the noise at the palette's end of the significance view."""
_NEWS = 0.03
"""Change of the noise from which on the map of the noise is made anew."""


@dataclass(frozen=True, slots=True)
class Painted:
    """A picture, its view, and the contrast (or with ``in_sigma`` times the noise) at its end.

    ``sparse`` when frames are too far apart for arrows, which were left out; ``arrow_s`` is the
    time in which the pattern goes as far as they are long.
    """

    picture: Bytes
    view: str
    scale: float | None
    in_sigma: bool = False
    sparse: bool = False
    arrow_s: float | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """What the painter needs to know beside the contrast itself."""

    frame: Frame
    place: Place
    lifted: Lifted
    counted: tuple[NDArray[np.float64], NDArray[np.int64]]
    sigma: float | None
    view: str
    gain_contrast: float | None
    again: bool


class Painter:
    """Paints frames; remembers what the views that look back need."""

    def __init__(self) -> None:
        self._pool = PicturePool()
        self._gain = AutoGain()
        self._movement = Movement()
        self._movement_gain = AutoGain()
        self._movement_counter = ContrastCounter()
        self._trail = Trail()
        self._arrows = Arrows()
        self._arrow_scale = ArrowScale()
        self._map = _NoiseMap()
        self._codes: Bytes = np.empty((0, 0), np.uint8)
        self._contrast: Light = np.empty((0, 0), np.float32)
        self._values: Light = np.empty((0, 0), np.float32)
        self._view = ""

    def restart(self) -> None:
        """Forget what was seen: place, background or view changed."""
        for part in (self._movement, self._trail, self._arrows, self._arrow_scale, self._map):
            part.restart()
        self._movement_counter.restart()
        self._movement_gain.restart()

    def restart_gain(self) -> None:
        """Choose the automatic gain afresh."""
        self._gain.restart()

    def paint(
        self,
        shown: Shown,
        transfer: Transfer,
        noise: PhotonTransfer | None,
        calibration: Calibration,
        arrows: bool,
    ) -> Painted:
        """The picture of one frame; ``arrows`` is False when there is no time for them."""
        frame, place = shown.frame, shown.place
        rows, columns = frame.pixels.shape[:2]
        if shown.view != self._view:
            self._view = shown.view
            self.restart()
        if shown.view == "plain":
            whole = self._pool.take(rows, columns, "whole")
            plain_into(frame.pixels, frame.white, transfer, whole)
            return Painted(whole, "plain", None)
        if self._codes.shape != place.shape:
            self._codes = np.empty(place.shape, np.uint8)
            self._contrast = np.empty(place.shape, np.float32)
            self._values = np.empty(place.shape, np.float32)
        values, gain, offset, scale = self._chosen(shown, noise, calibration)
        codes_into(values, scale, place.inside, self._codes, gain, offset)
        layout = (place.box[0].start, place.box[1].start, place.shape)
        picture = self._pool.take(rows, columns, layout)
        grey = shown.view in ("lifted", "arrows")
        paint(self._codes, "grey" if grey else "signed", picture[place.box])
        arrow_s = None
        if shown.view == "arrows" and arrows:
            arrow_s = self._draw(shown, scale, picture[place.box])
        in_sigma = shown.view == "significance" and values is self._values
        sparse = shown.view == "arrows" and self._arrows.too_far
        return Painted(picture, shown.view, scale, in_sigma, sparse, arrow_s)

    def _chosen(
        self, shown: Shown, noise: PhotonTransfer | None, calibration: Calibration
    ) -> tuple[Light, float, float, float]:
        """Values with gain and offset, and the scale they are shown in."""
        lifted, time_s = shown.lifted, shown.frame.time_s
        if shown.view == "movement":
            return self._moving(shown)
        scale = shown.gain_contrast or self._gain.update(time_s, *shown.counted, shown.sigma)
        if shown.view == "trail":
            if not shown.again:
                self._trail.show(self._as_contrast(lifted), time_s, self._values)
            return self._values, 1.0, 0.0, scale
        if shown.view == "significance" and noise is not None and shown.sigma:
            known = self._map.of(noise, shown, calibration)
            factor = (lifted.frame_noise**2 + 1 / lifted.ground.frames) ** -0.5 / lifted.noise
            cv2.multiply(self._as_contrast(lifted), known, self._values, scale=factor)
            ends = shown.gain_contrast
            return self._values, 1.0, 0.0, ends / shown.sigma if ends else SIGNIFICANCE_END
        return lifted.values, lifted.gain, lifted.offset, scale

    def _moving(self, shown: Shown) -> tuple[Light, float, float, float]:
        if not shown.again:
            self._movement.show(self._as_contrast(shown.lifted), self._values)
        if shown.gain_contrast:
            return self._values, 1.0, 0.0, shown.gain_contrast
        inside = cv2.bitwise_and(shown.lifted.ground.usable, shown.lifted.unclipped)
        now = shown.frame.time_s
        counted = self._movement_counter.count(self._values, 1.0, np.asarray(inside), 0.0, now)
        sigma = None if shown.sigma is None else shown.sigma * 2**0.5
        scale = self._movement_gain.update(now, *counted, sigma)
        return self._values, 1.0, 0.0, scale

    def _draw(self, shown: Shown, scale: float, picture: Bytes) -> float | None:
        """Draw the arrows; returns the time whose way they show, None without any to tell."""
        sigma = shown.sigma if shown.sigma is not None else scale / SIGNIFICANCE_END
        contrast = self._as_contrast(shown.lifted)
        speeds = self._arrows.see(contrast, scale, sigma, shown.frame.time_s)
        if speeds is None:
            return None
        half = GRID_PX // 2
        known = shown.place.inside[half::GRID_PX, half::GRID_PX] > 0
        speeds[~known[: speeds.shape[0], : speeds.shape[1]]] = np.nan
        arrow_s = self._arrow_scale.fit(speeds, shown.frame.time_s)
        draw_arrows(speeds, picture, arrow_s)
        return arrow_s

    def _as_contrast(self, lifted: Lifted) -> Light:
        steep = 1.0 / lifted.gain
        cv2.addWeighted(lifted.values, steep, lifted.values, 0.0, lifted.offset, self._contrast)
        return self._contrast


class _NoiseMap:
    """``1/sigma`` per pixel for single frames, made anew when ground or noise changed."""

    def __init__(self) -> None:
        self._map: Light | None = None
        self._made_for: tuple[object, float] | None = None

    def restart(self) -> None:
        """Make it anew at the next frame."""
        self._map = self._made_for = None

    def of(self, noise: PhotonTransfer, shown: Shown, calibration: Calibration) -> Light:
        ground, place = shown.lifted.ground, shown.place
        sigma = shown.sigma or 0.0
        fits = self._made_for is not None and self._made_for[0] is ground
        if self._map is None or not fits or self._news(sigma):
            dark = boxed(calibration.dark, place)
            recip = ground.plan.recip
            usable = recip > 0
            below = np.zeros_like(recip)
            np.divide(1.0, recip, out=below, where=usable)
            reference = below if dark is None else below + dark
            # The reference's own noise is taken into account by the painter.
            self._map = inverse_noise(noise, reference, dark, np.inf)
            self._map[~usable] = 0.0
            self._made_for = (ground, sigma)
        return self._map

    def _news(self, sigma: float) -> bool:
        assert self._made_for is not None
        return abs(sigma - self._made_for[1]) > _NEWS * self._made_for[1]


def plain_into(pixels: Pixels, white: int, transfer: Transfer, out: Bytes) -> None:
    """The frame as it came, for the eye: linear light is given the screen's curve."""
    shown = pixels
    if transfer.kind == "linear" or pixels.dtype != np.uint8 or white != 255:
        shown = cv2.LUT(pixels, _screen_table(pixels.dtype.itemsize, white, transfer))
    if shown.ndim == 2 or shown.shape[2] == 1:
        cv2.cvtColor(shown, cv2.COLOR_GRAY2BGRA, out)
    else:
        cv2.cvtColor(shown, cv2.COLOR_BGR2BGRA, out)


@lru_cache(maxsize=8)
def _screen_table(bytes_per_code: int, white: int, transfer: Transfer) -> Bytes:
    codes = np.minimum(np.arange(256**bytes_per_code), white) / white
    light = transfer.decode(codes)
    seen = Transfer.named("srgb").encode(light) if transfer.kind == "linear" else codes
    return np.rint(seen * 255).astype(np.uint8).reshape(1, -1)
