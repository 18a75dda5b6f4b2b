"""Aids for setting the rig up, computed beside the chain while somebody aligns it.

They read raw frames: levels and clipping, the lamp's image on a card, sharpness of a patch, mains
ripple, and a smoothed, steadiness-checked blade reading.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_box, disc_mask
from liveview.imaging.exposure import (
    NO_LIGHT,
    Levels,
    clipped_pixels,
    exposure_advice,
    is_dark,
    read_levels,
)
from liveview.imaging.focus import FocusReading, FocusSearch, Patch, patch_around, rim_patch
from liveview.imaging.mains import MainsRipple, mains_in_frames, mains_in_rows
from liveview.imaging.spot import Spot, SpotSearch, Walk, measure_spot
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes, Disc, Frame, Light, Reading, SourceInfo
from liveview.settings import Settings

MAINS_SECONDS = 4.0
MAINS_EVERY = 30
LASTING = 4
LEAST_IN_ROWS = 0.02
"""A ripple in the rows is found in so many looks, one after the other, and is so deep: a broad flow
draws fainter bands of its own, which come and go."""
STRIPS, STRIP_PX = 15, 4
"""Strips of the picture in which its rows are compared, and their width."""
STEADY_SECONDS = 0.6
STEADY_UNCUT = 0.01
"""Standard deviation of the uncut fraction within ``STEADY_SECONDS`` that counts as steady."""
_LIKE_MIRROR = 0.25
"""A spot on the card is taken for the mirror within this part of its size and radius."""
_MARK_CELL = 4
"""Pixels a side that share one clipping mark."""


class Target(str, Enum):
    """What the camera looks at."""

    MIRROR = "mirror"
    CARD = "card"


@dataclass(frozen=True, slots=True)
class SteadyUncut:
    """Uncut fraction after smoothing.

    ``value`` lags by ``delay_s`` behind a slow movement; ``spread`` is the standard deviation of
    the unsmoothed readings of the last ``STEADY_SECONDS``.
    """

    value: float
    delay_s: float
    spread: float
    steady: bool


@dataclass(frozen=True, slots=True)
class ClipMarks:
    """Clipped pixels, one mark for ``cell`` x ``cell`` pixels from (x, y): 255 top, 1 bottom."""

    marks: Bytes
    x: int
    y: int
    cell: int


@dataclass(frozen=True, slots=True)
class AidsReading:
    """What the aids found in one frame; parts that do not apply are None.

    ``dark`` when no light comes at all (lens capped, lamp off, blade too far in), ``no_spot`` when
    a card was looked for and the brightest thing is the mirror.
    """

    time_s: float
    target: Target
    levels: Levels | None = None
    exposure_words: str = ""
    dark: bool = False
    no_spot: bool = False
    clipped: ClipMarks | None = None
    mains: MainsRipple | None = None
    uncut: SteadyUncut | None = None
    focus: FocusReading | None = None
    focus_patch: Patch | None = None
    focus_inset: Bytes | None = None
    spot: Spot | None = None
    walk: Walk = Walk.UNKNOWN
    smallest: Spot | None = None
    brightest: Spot | None = None


class BladeSmoother:
    """Exponential smoothing of the uncut fraction in time, with its delay stated.

    A first-order filter of time constant tau follows a steady movement tau seconds late.

    Parameters
    ----------
    tau_s : float
        Time constant, seconds; 0 switches smoothing off.
    """

    def __init__(self, tau_s: float = 0.15) -> None:
        self.tau_s = tau_s
        self._value: float | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=4096)

    def see(self, uncut: float, time_s: float) -> SteadyUncut:
        """Take in one reading; after a jump back in time it starts anew."""
        last_s = self._recent[-1][0] if self._recent else time_s
        if time_s < last_s:
            self._recent.clear()
            self._value, last_s = None, time_s
        share = 1.0 if self.tau_s <= 0 else 1.0 - float(np.exp(-(time_s - last_s) / self.tau_s))
        self._value = uncut if self._value is None else self._value + share * (uncut - self._value)
        self._recent.append((time_s, uncut))
        while time_s - self._recent[0][0] > STEADY_SECONDS:
            self._recent.popleft()
        values = [value for _, value in self._recent]
        spread = float(np.std(values))
        full = time_s - self._recent[0][0] >= 0.5 * STEADY_SECONDS
        return SteadyUncut(self._value, self.tau_s, spread, full and spread <= STEADY_UNCUT)


class AlignAids:
    """Computes the aids from frames in order. One thread.

    Parameters
    ----------
    settings : Settings
        For the transfer curve and the colour channel.
    info : SourceInfo
        Format and, for mains ripple, rate and row time.
    """

    def __init__(self, settings: Settings, info: SourceInfo) -> None:
        self._info = info
        self._channel = settings.camera.channel
        self._transfer = Transfer.named(info.transfer or settings.camera.transfer)
        self._row_time_s = info.row_time_s
        self.target = Target.MIRROR
        self.smoother = BladeSmoother()
        self._blade: tuple[float, SteadyUncut | None] | None = None
        self._spots = SpotSearch()
        self._mirror: Disc | None = None
        self._focus = FocusSearch()
        self._focus_at: tuple[float, float, float] | None = None
        self._mask: tuple[Disc | None, Bytes] | None = None
        self._means: deque[tuple[float, float]] = deque(maxlen=4096)
        self._rows: Light | None = None
        self._in_rows: deque[MainsRipple | None] = deque(maxlen=LASTING)
        self._mains: MainsRipple | None = None
        self._seen = 0

    def look_at(self, target: Target) -> None:
        """Say what the camera looks at; the card's records start anew."""
        self.target = target
        self._spots.forget()

    def focus_on(self, at: tuple[float, float, float] | None) -> None:
        """Judge sharpness in a square at (x, y, side) in pixels; None: on the mirror's rim."""
        self._focus_at = at
        self._focus.forget()

    def forget_best(self) -> None:
        """Forget the best sharpness and the smallest image."""
        self._focus.forget()
        self._spots.forget()

    def see_blade(self, reading: Reading) -> SteadyUncut | None:
        """The smoothed blade reading alone: cheap, and wanted before all the rest.

        A reading seen before is not taken in twice.
        """
        time_s, uncut = reading.stamp.time_s, reading.blade.uncut
        if self._blade is None or self._blade[0] != time_s:
            smoothed = None if uncut is None else self.smoother.see(uncut, time_s)
            self._blade = (time_s, smoothed)
        return self._blade[1]

    def see(self, frame: Frame, reading: Reading) -> AidsReading:
        """The aids for a frame and what the chain read from it."""
        self._seen += 1
        if self.target is Target.CARD:
            return self._see_card(frame)
        self._mirror = reading.disc
        mask = self._disc_mask(frame, reading.disc)
        levels = read_levels(frame.pixels, frame.white, self._transfer, mask)
        dark = levels is not None and is_dark(frame.pixels, frame.white, levels)
        patch = self._patch(frame, reading.disc)
        focus = None if patch is None else self._focus.see(self._light(frame.pixels[patch], frame))
        self._look_for_mains(frame, levels, reading)
        return AidsReading(
            time_s=frame.time_s,
            target=self.target,
            levels=levels,
            exposure_words=_exposure_words(levels, dark, reading.blade.uncut),
            dark=dark,
            clipped=_clip_marks(frame, reading.disc, levels),
            mains=self._mains,
            uncut=self.see_blade(reading),
            focus=focus,
            focus_patch=patch,
            focus_inset=None if patch is None else _inset(frame, patch),
        )

    def _see_card(self, frame: Frame) -> AidsReading:
        everything = np.full(frame.pixels.shape[:2], 255, np.uint8)
        levels = read_levels(frame.pixels, frame.white, self._transfer, everything)
        spot = measure_spot(self._light(frame.pixels, frame))
        no_spot = spot is not None and _is_mirror(spot, self._mirror)
        if no_spot:
            spot = None
        walk = Walk.UNKNOWN if spot is None else self._spots.see(spot)
        return AidsReading(
            time_s=frame.time_s,
            target=self.target,
            levels=levels,
            clipped=_clip_marks(frame, None, levels),
            no_spot=no_spot,
            spot=spot,
            walk=walk,
            smallest=self._spots.smallest,
            brightest=self._spots.brightest,
        )

    def _light(self, pixels: NDArray[np.uint8], frame: Frame) -> Light:
        part = np.ascontiguousarray(pixels)
        return self._transfer.to_light(part, frame.white, None, self._channel)

    def _disc_mask(self, frame: Frame, disc: Disc | None) -> Bytes:
        if self._mask is None or self._mask[0] != disc:
            self._mask = (disc, disc_mask(frame.pixels.shape, disc, 2.0))
        return self._mask[1]

    def _patch(self, frame: Frame, disc: Disc | None) -> Patch | None:
        if self._focus_at is not None:
            return patch_around(frame.pixels.shape, *self._focus_at)
        return None if disc is None else rim_patch(frame.pixels.shape, disc)

    def _look_for_mains(self, frame: Frame, levels: Levels | None, reading: Reading) -> None:
        """Ripple of the lamp where the chain tells it apart from the flow, else of the disc."""
        if levels is None:
            return
        brightness = reading.lamp_gain if reading.lamp_gain is not None else levels.mean
        if self._means and frame.time_s < self._means[-1][0]:
            self._means.clear()
        self._means.append((frame.time_s, brightness))
        while frame.time_s - self._means[0][0] > MAINS_SECONDS:
            self._means.popleft()
        in_rows = self._mains_in_rows(frame, reading.disc) if self._row_time_s else None
        if self._seen % MAINS_EVERY:
            return
        self._in_rows.append(in_rows)
        series = np.asarray(self._means)
        rate = self._info.rate_hz
        in_frames = mains_in_frames(series[:, 1], series[:, 0], rate) if rate else None
        found = [r for r in (in_frames, _lasting(self._in_rows)) if r is not None]
        self._mains = max(found, key=lambda ripple: (ripple.sure, ripple.depth), default=None)

    def _mains_in_rows(self, frame: Frame, disc: Disc | None) -> MainsRipple | None:
        """Ripple of the rows against their own running mean.

        Bands cross the whole picture, a plume does not: the rows are compared in strips beside
        each other, and the middle one of each row counts.
        """
        rows, columns = disc_box(frame.pixels.shape, disc)
        middles = np.linspace(columns.start, columns.stop - 1, STRIPS + 2)[1:-1].astype(np.intp)
        across = (middles[:, None] + np.arange(STRIP_PX)).clip(0, frame.pixels.shape[1] - 1)
        light = self._light(frame.pixels[rows, across.ravel()], frame)
        light = light.reshape(light.shape[0], STRIPS, STRIP_PX).mean(axis=2)
        if self._rows is None or self._rows.shape != light.shape:
            self._rows = light
            return None
        self._rows = self._rows + np.float32(0.05) * (light - self._rows)
        if self._seen % MAINS_EVERY or self._row_time_s is None:
            return None
        lit = self._rows > 0.02 * float(self._rows.max())
        share = np.where(lit, light / np.maximum(self._rows, 1e-6), np.nan).astype(np.float64)
        enough = lit.sum(axis=1) > 2 * STRIPS // 3
        middle = np.full(len(share), np.nan)
        middle[enough] = np.nanmedian(share[enough], axis=1)
        return mains_in_rows(middle, self._row_time_s)


def _lasting(found: deque[MainsRipple | None]) -> MainsRipple | None:
    """The newest ripple, where the ones before were alike: what a flow draws comes and goes."""
    there = [ripple for ripple in found if ripple is not None]
    depths = [ripple.depth for ripple in there]
    if len(there) < LASTING or max(depths) > 2.0 * min(depths) or min(depths) < LEAST_IN_ROWS:
        return None
    return there[-1]


def _exposure_words(levels: Levels | None, dark: bool, uncut: float | None) -> str:
    if levels is None:
        return ""
    return NO_LIGHT if dark else exposure_advice(levels, uncut)


def _is_mirror(spot: Spot, mirror: Disc | None) -> bool:
    """A spot where the mirror was seen, and as wide: the camera does not look at a card yet."""
    if mirror is None:
        return False
    apart = float(np.hypot(spot.cx - mirror.cx, spot.cy - mirror.cy))
    width = spot.mean_px / (2 * mirror.radius)
    return apart < _LIKE_MIRROR * mirror.radius and abs(width - 1) < _LIKE_MIRROR


def _clip_marks(frame: Frame, disc: Disc | None, levels: Levels | None) -> ClipMarks | None:
    """Marks on a coarse grid, so that a single clipped pixel is seen; None where there is none."""
    if levels is None or (levels.clipped_bright == 0.0 and levels.clipped_dark == 0.0):
        return None
    rows, columns = disc_box(frame.pixels.shape, disc)
    marks = clipped_pixels(np.ascontiguousarray(frame.pixels[rows, columns]), frame.white)
    kernel = np.ones((_MARK_CELL, _MARK_CELL), np.uint8)
    spread = cv2.dilate(marks, kernel)[::_MARK_CELL, ::_MARK_CELL]
    return ClipMarks(np.ascontiguousarray(spread, np.uint8), columns.start, rows.start, _MARK_CELL)


def _inset(frame: Frame, patch: Patch) -> Bytes:
    """The patch in 8-bit grey, stretched between its darkest and brightest."""
    part = frame.pixels[patch]
    grey = np.ascontiguousarray(part.max(axis=2) if part.ndim == 3 else part)
    inset = np.empty(grey.shape, np.uint8)
    cv2.normalize(grey, inset, 0, 255, cv2.NORM_MINMAX, cv2.CV_8U)
    return inset
