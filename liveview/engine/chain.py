"""The chain: from a frame to everything that is shown of it, one step after another.

::

    codes -> light -> steady -> ratio to the background -> lamp (rows) -> follow the background
               |                        |
             noise                 blade meter       -> average -> smooth -> histogram -> picture

One thread; no Qt, no files. All work is done on the disc's box in float32, in linear light.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from liveview.engine.budget import Budget, budget_for
from liveview.engine.ground import Place, blade_meter, boxed, place_in
from liveview.engine.instruments import (
    BladeGauge,
    Gauges,
    NoiseGauge,
    RelativeLight,
    VerdictGauge,
    count_clipped,
    read_histogram,
    scale_in_unit,
    unit_factor,
)
from liveview.engine.lifting import Lifted, Lifting
from liveview.engine.painting import Painted, Painter, Shown
from liveview.engine.sayings import notes, short_of_time, warnings
from liveview.imaging.blade import BladeMeter
from liveview.imaging.cv import cv2
from liveview.imaging.disc import find_disc
from liveview.imaging.histogram import ContrastCounter, share_above
from liveview.imaging.noise import NoiseMeter, Rounding
from liveview.imaging.transfer import Transfer
from liveview.model import (
    Average,
    BladeReading,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameStamp,
    Light,
    Pixels,
    Reading,
    SourceInfo,
)
from liveview.settings import Settings

_LOOK_AGAIN = 30
"""Frames between two searches for the disc while it is not found."""
_GAUGES_EVERY = 4
"""Frames between readings of the gauges when they are given up for lack of time."""
_NO_PICTURE = np.empty((0, 0, 4), np.uint8)


class Chain:
    """Runs the steps on one frame after another.

    Parameters
    ----------
    settings : Settings
        How to enhance; changed by :meth:`apply`.
    info : SourceInfo
        What the frames are like. ``info.transfer``, where the source knows it, goes before the
        settings'. Only for live sources are steps left out when time is short.
    clock : callable
        For the time each step takes, seconds.
    pictures : bool
        False where nobody looks: readings then hold a picture of no pixels.
    """

    def __init__(
        self,
        settings: Settings,
        info: SourceInfo,
        *,
        clock: Callable[[], float] = time.perf_counter,
        pictures: bool = True,
    ) -> None:
        self._pictures = pictures
        self._settings = settings
        self._info = info
        self._clock = clock
        self._transfer = Transfer.named(info.transfer or settings.camera.transfer)
        self._calibration = Calibration()
        self._calibration_words: tuple[str, ...] = ()
        self._given_disc: Disc | None = None
        self._budget = Budget(budget_for(info.live, info.rate_hz))
        self._counter = ContrastCounter()
        self._noise = NoiseMeter()
        self._noise_gauge = NoiseGauge()
        self._blade_gauge = BladeGauge()
        self._relative = RelativeLight()
        self._verdict = VerdictGauge()
        self._painter = Painter()
        self._marks: list[tuple[str, float]] = []
        self._outdated = False
        self._mark_from = 0.0
        self._count = 0
        self._gauges: Gauges | None = None
        self._place: Place | None = None
        self._lifting: Lifting | None = None
        self._lifted: Lifted | None = None
        self._blade: BladeMeter | None = None
        self._last: tuple[FrameStamp, Pixels] | None = None
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
        if _background_of(old) != _background_of(settings):
            self._forget_lifting()
        if self._lifting is not None:
            self._lifting.settings = settings
        if old.blade.side != settings.blade.side:
            self._forget_blade()
        if old.enhance.gain_contrast is not None and settings.enhance.gain_contrast is None:
            self._painter.restart_gain()
        if old.enhance != settings.enhance:
            self._budget.restart()
            self._verdict.restart()
        self._outdated = True

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
        self._painter.restart_gain()
        self._counter.restart()

    def set_disc(self, disc: Disc | None) -> None:
        """Place the disc; None: as in the settings, or found by itself."""
        self._given_disc = disc
        self._forget_place()

    def retake_background(self) -> None:
        """Take the background anew: from the reference, or without one from the next frames."""
        if self._lifting is not None:
            self._lifting.retake()
        self._painter.restart()
        self._painter.restart_gain()
        self._counter.restart()

    def to_light(self, frame: Frame) -> Light:
        """Linear light of the whole frame, float32 (rows, columns), fresh."""
        channel = self._settings.camera.channel
        return self._transfer.to_light(frame.pixels, frame.white, None, channel)

    # The frame's way.

    def run(self, frame: Frame) -> Reading:
        """Everything that can be told from one frame; frames are to come in order.

        The same frame again (same stamp and array) is shown under the present settings without
        counting twice in what looks back.
        """
        again = self._is_last(frame)
        place, lifted = self._advance(frame)
        noise = self._noise_gauge.read(self._noise.result, lifted, frame.white)
        gauges = self._gauges
        if gauges is None or again or self._gauges_due():
            gauges = self._read_gauges(frame, place, lifted, noise.contrast_sigma)
            self._gauges = gauges
        enhance = self._settings.enhance
        shown = Shown(
            frame, place, lifted, gauges.counted, noise.contrast_sigma, enhance.view,
            enhance.gain_contrast, again,
        )  # fmt: skip
        painted = self._paint(shown)
        self._mark("picture")
        reading = Reading(
            stamp=frame.stamp,
            picture=painted.picture,
            view=painted.view,
            disc=place.disc,
            blade=gauges.blade,
            noise=noise,
            histogram=gauges.histogram,
            unit=gauges.unit,
            scale=scale_in_unit(painted, gauges.unit, gauges.factor),
            lamp_gain=lifted.lamp_gain,
            shift_px=None if lifted.shift is None else (lifted.shift.x, lifted.shift.y),
            steps_ms=tuple(self._marks),
            skipped=self._budget.skipped,
            words=self._words(place, lifted, gauges),
            notes=notes(self._settings, self._info, lifted, painted),
            budget_ms=self._budget.budget_ms,
        )
        self._note_time()
        return reading

    def contrast(self, frame: Frame) -> Light:
        """Signed contrast of a frame, float32 (rows, columns), fresh.

        After lamp correction, steadying, averaging and smoothing as set. NaN outside the disc,
        where the frame or a calibration picture is clipped, and where the reference has no
        light. Right after :meth:`run` of the same frame nothing is computed twice; otherwise the
        frame counts as the next one.
        """
        if self._outdated or not self._is_last(frame):
            self._advance(frame)
        place, lifted = self._place, self._lifted
        assert place is not None and lifted is not None
        whole = np.full(frame.pixels.shape[:2], np.nan, np.float32)
        known = cv2.bitwise_and(lifted.ground.usable, lifted.unclipped)
        inner = cv2.addWeighted(lifted.values, 1.0 / lifted.gain, lifted.values, 0.0, lifted.offset)
        np.copyto(whole[place.box], inner, where=known > 0)
        return whole

    def _is_last(self, frame: Frame) -> bool:
        last = self._last
        return last is not None and last[0] == frame.stamp and last[1] is frame.pixels

    def _advance(self, frame: Frame) -> tuple[Place, Lifted]:
        """Contrast of the next frame; it stays in the lifting's buffers."""
        self._marks = []
        self._mark_from = self._clock()
        self._count += 1
        place = self._placed(frame)
        lifting = self._lifting
        if lifting is None:
            lifting = Lifting(place, self._calibration, self._transfer, self._settings)
            self._lifting = lifting
        single = self._noise_gauge.single(self._noise.result, lifting.ground)
        lifted = lifting.advance(frame, single, self._budget.allows, self._mark)
        if not self._is_last(frame):
            rounding = self._rounding(frame.white)
            self._noise.add(lifted.light, lifted.ground.dark_level, rounding, lifted.pairs)
        self._mark("noise")
        self._lifted = lifted
        self._last = (frame.stamp, frame.pixels)
        self._outdated = False
        return place, lifted

    def _rounding(self, white: int) -> Rounding:
        return partial(self._transfer.rounding_variance, white=white)

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
        self._since_search = 0
        self._forget_lifting()
        self._forget_blade()

    def _forget_lifting(self) -> None:
        self._lifting = None
        self._lifted = None
        self._gauges = None
        self._verdict.restart()
        self._last = None
        self._painter.restart()

    def _forget_blade(self) -> None:
        self._blade = None
        self._blade_made = False

    def _placed(self, frame: Frame) -> Place:
        """The place of the disc, searched for when it is not known."""
        if self._place is not None and (self._place.disc is not None or not self._search_due()):
            return self._place
        disc = self._wanted_disc() or self._found_disc(frame)
        if self._place is None or disc is not None:
            self._forget_place()
            self._place = place_in(frame.pixels.shape, disc)
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

    # The instruments.

    def _gauges_due(self) -> bool:
        return self._budget.allows("gauges") or self._count % _GAUGES_EVERY == 0

    def _read_gauges(
        self, frame: Frame, place: Place, lifted: Lifted, sigma: float | None
    ) -> Gauges:
        clipped = count_clipped(frame, place, lifted)
        blade = self._read_blade(place, lifted, clipped[0])
        self._mark("blade")
        inside = np.bitwise_and(lifted.ground.usable, lifted.unclipped)
        seen = (lifted.values, lifted.gain, inside)
        counted = self._counter.count(*seen, lifted.offset, frame.time_s)
        above = share_above(*seen, sigma, lifted.offset)
        uncut = lifted.ground.uncut if lifted.ground.uncut is not None else blade.uncut
        unit, factor, unit_words = unit_factor(self._settings, uncut, sigma)
        single = self._noise_gauge.single(self._noise.result, lifted.ground)
        histogram = read_histogram(counted, above, unit, factor, sigma, clipped, uncut)
        words = self._verdict.read(histogram, lifted, single, frame.time_s)
        histogram = replace(histogram, verdict=words)
        self._mark("histogram")
        return Gauges(blade, histogram, counted, unit, factor, clipped, unit_words)

    def _read_blade(self, place: Place, lifted: Lifted, clipped_dark: float) -> BladeReading:
        if not self._blade_made:
            self._blade = blade_meter(place, self._calibration, self._settings.blade.side)
            self._blade_made = True
            lit = boxed(self._calibration.open, place)
            if lit is not None and place.count:
                self._relative.hold(float(lit[place.inside > 0].mean()))
        fit = None if self._blade is None else self._blade.read(lifted.light, lifted.unclipped)
        relative = None if fit is not None else self._relative.read(lifted.light, place)
        return self._blade_gauge.read(self._settings, fit, relative, clipped_dark)

    # Picture and words.

    def _paint(self, shown: Shown) -> Painted:
        if not self._pictures:
            return Painted(_NO_PICTURE, shown.view, None)
        return self._painter.paint(
            shown,
            self._transfer,
            self._noise.result,
            self._calibration,
            arrows=self._budget.allows("arrows"),
        )

    def _words(self, place: Place, lifted: Lifted, gauges: Gauges) -> tuple[str, ...]:
        has_reference = self._calibration.reference is not None
        frozen = self._noise.result is not None and self._noise.result.frozen
        return (
            *self._calibration_words,
            *warnings(place, lifted, gauges, has_reference, frozen),
            *short_of_time(self._budget.skipped),
        )

    def _note_time(self) -> None:
        costs = dict(self._marks)
        costs["gauges"] = costs.get("blade", 0.0) + costs.get("histogram", 0.0)
        self._budget.note(sum(ms for _, ms in self._marks), costs)


def _background_of(settings: Settings) -> tuple[object, ...]:
    enhance = settings.enhance
    return enhance.background, enhance.background_time_s, enhance.steady
