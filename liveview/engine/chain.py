"""The chain: from a frame to everything that is shown of it, one step after another.

::

    codes -> light -> ratio to the background -> lamp gain -> contrast -> picture
               |            |                                    |
               noise        blade meter                          histogram

One thread; no Qt, no files. All work is done on the disc's box in float32, in linear light.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from liveview.engine.ground import (
    Ground,
    Place,
    blade_meter,
    boxed,
    make_ground,
    place_in,
    unclipped_in,
)
from liveview.engine.instruments import (
    BladeGauge,
    NoiseGauge,
    RelativeLight,
    read_histogram,
    unit_factor,
)
from liveview.engine.picturepool import PicturePool
from liveview.imaging.autogain import AutoGain
from liveview.imaging.blade import BladeMeter
from liveview.imaging.contrast import ratio_into
from liveview.imaging.cv import cv2
from liveview.imaging.disc import find_disc
from liveview.imaging.histogram import ContrastCounter
from liveview.imaging.lamp import block_ratios, quiet_level
from liveview.imaging.noise import NoiseMeter
from liveview.imaging.palettes import codes_into, paint
from liveview.imaging.transfer import Transfer
from liveview.model import (
    Average,
    BladeReading,
    Bytes,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameStamp,
    Light,
    NoiseReading,
    Pixels,
    Reading,
    SourceInfo,
)
from liveview.settings import Settings

FIRST_FRAMES = 16
"""Frames of the background that is taken at the start when there is no reference."""
_LOOK_AGAIN = 30
"""Frames between two searches for the disc while it is not found."""
_CHANGED = 0.25
"""Change of brightness after which a background taken at the start is taken anew."""
_CHANGED_FRAMES = 10
"""...when it lasts this long."""
_STALE = 0.35
_SHARE_CLIPPED = 0.02


class Chain:
    """Runs the steps on one frame after another.

    Parameters
    ----------
    settings : Settings
        How to enhance; changed by :meth:`apply`.
    info : SourceInfo
        What the frames are like. ``info.transfer``, where the source knows it, goes before the
        settings'.
    clock : callable
        For the time each step takes, seconds.
    """

    def __init__(
        self,
        settings: Settings,
        info: SourceInfo,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        self._settings = settings
        self._info = info
        self._clock = clock
        self._transfer = Transfer.named(info.transfer or settings.camera.transfer)
        self._calibration = Calibration()
        self._calibration_words: tuple[str, ...] = ()
        self._given_disc: Disc | None = None
        self._pool = PicturePool()
        self._counter = ContrastCounter()
        self._auto_gain = AutoGain()
        self._noise = NoiseMeter()
        self._gauge = NoiseGauge()
        self._blade_gauge = BladeGauge()
        self._relative = RelativeLight()
        self._marks: list[tuple[str, float]] = []
        self._mark_from = 0.0
        self._place: Place | None = None
        self._ground: Ground | None = None
        self._blade: BladeMeter | None = None
        self._last: tuple[FrameStamp, Pixels] | None = None
        self._measured_gain: float | None = None
        self._forget_place()

    # What can be set from outside, between two frames.

    @property
    def disc(self) -> Disc | None:
        """The disc in use, placed or found; None while there is none."""
        return self._place.disc if self._place is not None else self._wanted_disc()

    @property
    def calibration(self) -> Calibration:
        """The calibration pictures in use."""
        return self._calibration

    @property
    def settings(self) -> Settings:
        """The settings in use."""
        return self._settings

    def apply(self, settings: Settings) -> None:
        """Use other settings from the next frame on."""
        old, self._settings = self._settings, settings
        transfer = Transfer.named(self._info.transfer or settings.camera.transfer)
        if transfer != self._transfer or old.camera.channel != settings.camera.channel:
            self._transfer = transfer
            self._noise.restart()
            self._forget_place()
        if old.disc != settings.disc:
            self._forget_place()
        if old.blade.side != settings.blade.side:
            self._blade = None
            self._blade_made = False
        if old.enhance.gain_contrast is not None and settings.enhance.gain_contrast is None:
            self._auto_gain.restart()
        self._last = None

    def set_calibration(self, calibration: Calibration) -> None:
        """Use these pictures; those of another size are left out, which the words say.

        Whether they still hold for the state of the camera is for the caller to judge
        (``Calibration.valid_for``).
        """
        words = []
        for kind in CalibrationKind:
            picture: Average | None = getattr(calibration, kind.value)
            if picture is not None and picture.light.shape != self._info.shape[:2]:
                calibration = calibration.with_picture(kind, None)
                words.append(f"{kind.value} picture left out: it has another size")
        self._calibration, self._calibration_words = calibration, tuple(words)
        self._forget_place()
        self._auto_gain.restart()
        self._counter.restart()

    def set_disc(self, disc: Disc | None) -> None:
        """Place the disc; None: as in the settings, or found by itself."""
        self._given_disc = disc
        self._forget_place()

    def retake_background(self) -> None:
        """Without a reference: take the background anew from the next frames."""
        self._ground = None
        self._gathered = 0
        self._auto_gain.restart()
        self._counter.restart()

    def to_light(self, frame: Frame) -> Light:
        """Linear light of the whole frame, float32 (rows, columns), fresh."""
        return self._transfer.to_light(
            frame.pixels, frame.white, None, self._settings.camera.channel
        )

    # The frame's way.

    def run(self, frame: Frame) -> Reading:
        """Everything that can be told from one frame; frames are to come in order."""
        self._marks = []
        self._mark_from = self._clock()
        place, ground = self._advance(frame)
        clipped = self._count_clipped(place, frame)
        noise = self._gauge.read(self._noise.result, ground, frame.white, self._gain)
        self._mark("noise")
        blade = self._read_blade(place, clipped[0])
        self._mark("blade")
        counted_in = np.bitwise_and(ground.usable, self._unclipped)
        counted = self._counter.count(self._ratio, self._gain, counted_in)
        uncut = ground.uncut if ground.uncut is not None else blade.uncut
        unit, factor, unit_words = unit_factor(self._settings, uncut, noise.contrast_sigma)
        histogram = read_histogram(counted, unit, factor, noise.contrast_sigma, clipped, uncut)
        self._mark("histogram")
        picture, view, scale = self._picture(frame, place, counted, noise)
        self._mark("picture")
        return Reading(
            stamp=frame.stamp,
            picture=picture,
            view=view,
            disc=place.disc,
            blade=blade,
            noise=noise,
            histogram=histogram,
            unit=unit,
            scale=None if scale is None else scale * factor,
            lamp_gain=self._measured_gain,
            steps_ms=tuple(self._marks),
            words=self._words(place, ground, clipped, unit_words),
        )

    def contrast(self, frame: Frame) -> Light:
        """Signed contrast of a frame, float32 (rows, columns), fresh.

        NaN outside the disc, where the frame or a calibration picture is clipped, and where the
        reference has no light. Right after :meth:`run` of the same frame nothing is computed
        twice; otherwise the frame counts as the next one.
        """
        if self._last is None or self._last[0] != frame.stamp or self._last[1] is not frame.pixels:
            self._marks = []
            self._advance(frame)
        place, ground = self._place, self._ground
        assert place is not None and ground is not None
        whole = np.full(frame.pixels.shape[:2], np.nan, np.float32)
        known = cv2.bitwise_and(ground.usable, self._unclipped)
        inner = cv2.addWeighted(self._ratio, 1.0 / self._gain, self._ratio, 0.0, -1.0)
        np.copyto(whole[place.box], inner, where=known > 0)
        return whole

    def _advance(self, frame: Frame) -> tuple[Place, Ground]:
        """Light, background and lamp of the next frame; results stay in the buffers."""
        place = self._placed(frame)
        codes = frame.pixels[place.box]
        channel = self._settings.camera.channel
        self._transfer.to_light(codes, frame.white, self._light, channel)
        _unclipped_into(codes, self._light, frame.white, self._unclipped)
        self._mark("light")
        ground = self._grounded(place)
        self._mark("background")
        ratio_into(self._light, ground.plan, self._ratio)
        self._mark("contrast")
        self._read_lamp(ground)
        self._mark("lamp")
        self._noise.add(self._light, ground.dark_level)
        self._last = (frame.stamp, frame.pixels)
        return place, ground

    def _mark(self, name: str) -> None:
        now = self._clock()
        self._marks.append((name, (now - self._mark_from) * 1e3))
        self._mark_from = now

    # The disc.

    def _wanted_disc(self) -> Disc | None:
        if self._given_disc is not None:
            return self._given_disc
        hand = self._settings.disc
        return None if hand is None else Disc(hand.cx, hand.cy, hand.radius, by_hand=True)

    def _forget_place(self) -> None:
        self._place = None
        self._ground = None
        self._blade = None
        self._blade_made = False
        self._gathered = 0
        self._changed = 0
        self._since_search = 0
        self._gain = 1.0
        self._measured_gain = None
        self._last = None

    def _placed(self, frame: Frame) -> Place:
        """The place of the disc, searched for when it is not known."""
        if self._place is not None and (self._place.disc is not None or not self._search_due()):
            return self._place
        shape = frame.pixels.shape
        disc = self._wanted_disc() or self._found_disc(frame)
        if self._place is None or disc is not None:
            self._forget_place()
            self._place = place_in(shape, disc)
            self._light = np.empty(self._place.shape, np.float32)
            self._ratio = np.empty_like(self._light)
            self._codes = np.empty(self._place.shape, np.uint8)
            self._unclipped = np.empty(self._place.shape, np.uint8)
        return self._place

    def _search_due(self) -> bool:
        self._since_search = (self._since_search + 1) % _LOOK_AGAIN
        return self._since_search == 0

    def _found_disc(self, frame: Frame) -> Disc | None:
        """The disc in the open picture, else in the reference, else in this frame."""
        shape = frame.pixels.shape[:2]
        for picture in (self._calibration.open, self._calibration.reference):
            if picture is not None and picture.light.shape == shape:
                disc = find_disc(picture.light)
                if disc is not None:
                    return disc
        return find_disc(self.to_light(frame))

    # The background.

    def _grounded(self, place: Place) -> Ground:
        if self._ground is not None and (self._gathered == 0 or self._gathered >= FIRST_FRAMES):
            return self._ground
        reference = self._calibration.reference
        light = boxed(reference, place)
        if reference is not None and light is not None:
            unclipped = unclipped_in(reference, place)
            self._ground = make_ground(place, light, unclipped, reference.frames, self._calibration)
            return self._ground
        return self._gather(place)

    def _gather(self, place: Place) -> Ground:
        """A background from the first frames, while there is no reference."""
        if self._gathered == 0:
            self._sum = np.zeros_like(self._light)
            self._seen_unclipped = np.full(place.shape, 255, np.uint8)
        cv2.accumulate(self._light, self._sum)
        cv2.bitwise_and(self._seen_unclipped, self._unclipped, self._seen_unclipped)
        self._gathered += 1
        if self._ground is None or self._gathered in (2, 4, 8, FIRST_FRAMES):
            mean = self._sum / np.float32(self._gathered)
            self._ground = make_ground(
                place, mean, self._seen_unclipped, self._gathered, self._calibration
            )
        return self._ground

    def _read_lamp(self, ground: Ground) -> None:
        level = quiet_level(block_ratios(self._ratio, ground.block_share))
        self._measured_gain = level
        corrected = self._settings.enhance.lamp_correction != "off"
        self._gain = level if corrected and level is not None and level > 0.02 else 1.0
        far = level is not None and abs(level - 1.0) > _CHANGED
        self._changed = self._changed + 1 if far else 0
        if self._calibration.reference is None and self._changed >= _CHANGED_FRAMES:
            self._changed = 0
            self.retake_background()

    # The instruments.

    def _count_clipped(self, place: Place, frame: Frame) -> tuple[float, float]:
        """Shares of the disc at the bottom and at the top code."""
        if place.count == 0:
            return 0.0, 0.0
        fine = cv2.countNonZero(cv2.bitwise_and(self._unclipped, place.inside))
        if fine == place.count:
            return 0.0, 0.0
        top = _at_top(frame.pixels[place.box], frame.white)
        bright = cv2.countNonZero(cv2.bitwise_and(top, place.inside))
        return (place.count - fine - bright) / place.count, bright / place.count

    def _read_blade(self, place: Place, clipped_dark: float) -> BladeReading:
        if not self._blade_made:
            self._blade = blade_meter(place, self._calibration, self._settings.blade.side)
            self._blade_made = True
            lit = boxed(self._calibration.open, place)
            if lit is not None and place.count:
                self._relative.hold(float(lit[place.inside > 0].mean()))
        fit = None if self._blade is None else self._blade.read(self._light, self._unclipped)
        relative = None if fit is not None else self._relative.read(self._light, place)
        return self._blade_gauge.read(self._settings, fit, relative, clipped_dark)

    # The picture.

    def _picture(
        self,
        frame: Frame,
        place: Place,
        counted: tuple[NDArray[np.float64], NDArray[np.int64]],
        noise: NoiseReading,
    ) -> tuple[Bytes, str, float | None]:
        rows, columns = frame.pixels.shape[:2]
        enhance = self._settings.enhance
        if enhance.view == "plain":
            whole = self._pool.take(rows, columns, "whole")
            _plain_into(frame.pixels, frame.white, self._transfer, whole)
            return whole, "plain", None
        scale = enhance.gain_contrast or self._auto_gain.update(
            frame.time_s, *counted, noise.contrast_sigma
        )
        box = place.box
        picture = self._pool.take(rows, columns, (box[0].start, box[1].start, place.shape))
        view = "signed" if enhance.view == "signed" else "lifted"
        codes_into(self._ratio, scale, place.inside, self._codes, self._gain, -1.0)
        paint(self._codes, "signed" if view == "signed" else "grey", picture[box])
        return picture, view, scale

    def _words(
        self, place: Place, ground: Ground, clipped: tuple[float, float], unit_words: str
    ) -> tuple[str, ...]:
        words = list(self._calibration_words)
        if place.disc is None:
            words.append("mirror not found: the whole picture is used; place the disc by hand")
        if self._calibration.reference is None:
            words.append(
                f"background: the first {ground.frames} frames; "
                "take a reference with the air at rest"
            )
        elif self._measured_gain is not None and abs(self._measured_gain - 1.0) > _STALE:
            words.append(
                f"background is stale: the light is {self._measured_gain:.2f} times that of the"
                " reference; take it again"
            )
        if clipped[1] > _SHARE_CLIPPED:
            words.append(f"{clipped[1]:.0%} of the disc is clipped bright: lower the exposure")
        if clipped[0] > _SHARE_CLIPPED:
            words.append(
                f"{clipped[0]:.0%} of the disc is clipped dark: raise the exposure or cut less"
            )
        if unit_words:
            words.append(unit_words)
        return tuple(words)


def _unclipped_into(codes: Pixels, light: Light, white: int, out: Bytes) -> None:
    """255 where no channel is at the top code and there is light; mono: neither end."""
    if codes.ndim == 2:
        cv2.inRange(codes, 1, white - 1, out)
        return
    channels = codes.shape[2]
    cv2.inRange(codes, (0,) * channels, (white - 1,) * channels, out)
    out[light <= 0] = 0


def _at_top(codes: Pixels, white: int) -> Bytes:
    if codes.ndim == 2:
        return np.where(codes >= white, 255, 0).astype(np.uint8)
    return np.where(codes.max(axis=2) >= white, 255, 0).astype(np.uint8)


def _plain_into(pixels: Pixels, white: int, transfer: Transfer, out: Bytes) -> None:
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
