"""The first half of the chain: from codes to contrast with lamp, shake and noise dealt with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from liveview.engine.boxlight import CodeLight, SomeLight
from liveview.engine.ground import Ground, Place, boxed, make_ground, unclipped_in
from liveview.imaging.contrast import ratio_into, update_plan
from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_mask
from liveview.imaging.lamp import block_ratios, block_side, quiet_level
from liveview.imaging.rowgain import RowGains
from liveview.imaging.running import Followed, MedianBackground, RunningBackground
from liveview.imaging.smoothing import TimeAverage, smooth, smoothing_noise
from liveview.imaging.steadiness import Kernel, Shift, Steadiness, move_back, move_mask_back
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes, Calibration, Frame, FrameStamp, Light, Pixels
from liveview.settings import Settings

FIRST_FRAMES = 16
"""Frames of the background that is taken at the start when there is no reference."""
_CHANGED = 0.25
"""Change of brightness after which a background taken at the start is taken anew."""
_CHANGED_FRAMES = 10
"""...when it lasts this long."""
_LEAST_GAIN = 0.02
_SNAP_PX = 0.015
_NO_LIGHT = 1e-12
_LONGEST_GAP_S = 2.0
"""After a longer gap, or a step back in time, an average begins anew."""

Mark = Callable[[str], None]


class Follower(Protocol):
    """A background that follows."""

    light: Light

    def follow(self, frame: Followed) -> slice:
        """Take in a frame; returns the rows that changed."""


@dataclass(slots=True)
class Lifted:
    """What is known of the newest frame; the arrays are the lifting's own buffers.

    Contrast is ``values / gain + offset`` over the box. ``frame_noise`` is the factor on the
    noise of a single frame (interpolation, averaging), ``noise`` the factor on everything
    (smoothing). ``lamp_gain`` is what was measured, ``shift`` what was undone; ``steady_failed``
    that it could not be told. ``pairs`` is what steadying did to pairs of frames, for the noise.
    """

    light: SomeLight
    unclipped: Bytes
    ground: Ground
    values: Light
    gain: float
    offset: float
    blocks: NDArray[np.float64]
    lamp_gain: float | None
    shift: Shift | None
    steady_failed: bool
    frame_noise: float
    noise: float
    averaged: float
    pairs: float


class Lifting:
    """Background, lamp, steadiness, averaging and smoothing over one place of the disc.

    Made anew whenever the place, the calibration or the kind of background changes.

    Parameters
    ----------
    place : Place
        The disc in the frame.
    calibration : Calibration
        Pictures of the frame's size.
    transfer : Transfer
        To linear light.
    settings : Settings
        As they were when it was made; ``settings`` may be replaced while the kind of background
        and steadiness stay the same.
    """

    def __init__(
        self, place: Place, calibration: Calibration, transfer: Transfer, settings: Settings
    ) -> None:
        self.settings = settings
        self._place = place
        self._calibration = calibration
        self._transfer = transfer
        shape = place.shape
        self._dark = boxed(calibration.dark, place)
        self._light = np.empty(shape, np.float32)
        self._seen: SomeLight = self._light
        self._codes: Pixels | None = None
        self._ratio = np.empty(shape, np.float32)
        self._smoothed = np.empty(shape, np.float32)
        self._unclipped = np.empty(shape, np.uint8)
        self._average = TimeAverage()
        self._last: FrameStamp | None = None
        self._gains: NDArray[np.float32] | None = None
        self.retake()

    @property
    def ground(self) -> Ground | None:
        """The background in use, None before the first frame."""
        return self._ground

    @property
    def gathering(self) -> bool:
        """True when the background comes from the first frames."""
        return self._calibration.reference is None

    def retake(self) -> None:
        """Take the background anew: from the reference, or from the next frames."""
        self._ground: Ground | None = None
        self._per_code: Light | None = None
        self._gathered = 0
        self._changed = 0
        self._steadiness: Steadiness | None = None
        self._rows: RowGains | None = None
        self._follower: Follower | None = None
        self._average.restart()

    def advance(
        self, frame: Frame, sigma: float | None, allows: Callable[[str], bool], mark: Mark
    ) -> Lifted:
        """The next frame's contrast.

        Parameters
        ----------
        frame : Frame
            Of the size the place was made for.
        sigma : float or None
            Noise of one pixel's contrast in a single frame, where known.
        allows : callable
            Whether there is time for a costly step.
        mark : callable
            Told the name of each step when it is done.
        """
        last, self._last = self._last, frame.stamp
        again = last == frame.stamp
        if last is not None and not 0.0 <= frame.time_s - last.time_s < _LONGEST_GAP_S:
            self._average.restart()
        shift, failed, kernel = self._lit(frame, allows, mark)
        ground = self._grounded()
        mark("background")
        self._compare(frame.white, ground)
        mark("contrast")
        blocks, level, gain = self._lamp(ground, allows, mark)
        if not again:
            self._restart_if_changed(level)
            self._follow(ground, frame, blocks, gain, sigma)
            mark("follow")
        lifted = Lifted(
            self._seen, self._unclipped, ground, self._ratio, gain, -1.0, blocks, level,
            shift, failed, kernel.noise, 1.0, 1.0, kernel.pairs,
        )  # fmt: skip
        self._averaged(lifted, again, mark)
        self._smooth(lifted, sigma, allows, mark)
        return lifted

    # Light and steadiness.

    def _lit(
        self, frame: Frame, allows: Callable[[str], bool], mark: Mark
    ) -> tuple[Shift | None, bool, Kernel]:
        place = self._place
        channel = self.settings.camera.channel
        if not (self.settings.enhance.steady and allows("steady")):
            codes = frame.pixels[place.box]
            if codes.ndim == 2:
                self._codes = codes
                self._seen = CodeLight(codes, frame.white, self._transfer)
            else:
                self._seen, self._codes = self._light, None
                self._transfer.to_light(codes, frame.white, self._light, channel)
            unclipped_into(codes, self._light, frame.white, self._unclipped)
            mark("light")
            return None, False, Kernel()
        self._seen, self._codes = self._light, None
        codes = frame.pixels[place.wide]
        wide = self._transfer.to_light(codes, frame.white, None, channel)
        fine = np.empty(wide.shape, np.uint8)
        unclipped_into(codes, wide, frame.white, fine)
        mark("light")
        shift = self._steady_against(wide).find(wide)
        at = (0.0, 0.0) if shift is None else (_snapped(shift.x), _snapped(shift.y))
        kernel = move_back(wide, place.corner, at, self._light)
        move_mask_back(fine, place.corner, at, self._unclipped)
        mark("steady")
        return shift, shift is None, kernel

    def _compare(self, white: int, ground: Ground) -> None:
        """The ratio to the background; of gray codes in place, without their light beside it."""
        codes, plan, ratio = self._codes, ground.plan, self._ratio
        if codes is None:
            ratio_into(self._light, plan, ratio)
            return
        if self._transfer.is_straight and white == np.iinfo(codes.dtype).max:
            if self._per_code is None:
                self._per_code = plan.recip * np.float32(1.0 / white)
            np.multiply(codes, self._per_code, out=ratio, dtype=np.float32, casting="unsafe")
            cv2.subtract(ratio, plan.offset, ratio)
            return
        self._transfer.to_light(codes, white, ratio)
        ratio_into(ratio, plan, ratio)

    def _steady_against(self, wide: Light) -> Steadiness:
        if self._steadiness is None:
            place, reference = self._place, self._calibration.reference
            disc = place.disc_in_wide
            inside = disc_mask(wide.shape, disc, margin_px=-4.0)
            still = wide if reference is None else reference.light[place.wide]
            self._steadiness = Steadiness(np.ascontiguousarray(still), inside)
        return self._steadiness

    # The background.

    def _grounded(self) -> Ground:
        if self._ground is not None and (self._gathered == 0 or self._gathered >= FIRST_FRAMES):
            return self._ground
        reference = self._calibration.reference
        light = boxed(reference, self._place)
        if reference is None or light is None:
            return self._gather()
        unclipped = unclipped_in(reference, self._place)
        return self._settle(light, unclipped, reference.frames, done=True)

    def _gather(self) -> Ground:
        """A background from the first frames, while there is no reference."""
        if self._gathered == 0:
            self._sum = np.zeros(self._place.shape, np.float32)
            self._seen_unclipped = np.full(self._place.shape, 255, np.uint8)
        cv2.accumulate(self._seen[:, :], self._sum)
        cv2.bitwise_and(self._seen_unclipped, self._unclipped, self._seen_unclipped)
        self._gathered += 1
        if self._ground is not None and self._gathered not in (2, 4, 8, FIRST_FRAMES):
            return self._ground
        mean = self._sum / np.float32(self._gathered)
        done = self._gathered == FIRST_FRAMES
        return self._settle(mean, self._seen_unclipped, self._gathered, done=done)

    def _settle(self, light: Light, unclipped: Bytes, frames: int, *, done: bool) -> Ground:
        ground = make_ground(self._place, light, unclipped, frames, self._calibration)
        self._ground = ground
        self._per_code = None
        self._rows = None
        self._average.restart()
        kind, seconds = self.settings.enhance.background, self.settings.enhance.background_time_s
        if done and kind == "running":
            self._follower = RunningBackground(light, seconds)
        elif done and kind == "median":
            self._follower = MedianBackground(light, seconds)
        return ground

    def _restart_if_changed(self, level: float | None) -> None:
        far = level is not None and abs(level - 1.0) > _CHANGED
        self._changed = self._changed + 1 if far else 0
        if self.gathering and self._changed >= _CHANGED_FRAMES:
            self.retake()

    def _follow(
        self,
        ground: Ground,
        frame: Frame,
        blocks: NDArray[np.float64],
        gain: float,
        sigma: float | None,
    ) -> None:
        if self._follower is None or sigma is None:
            return
        dark = self._dark

        def light(rows: slice) -> Light:
            seen = self._seen[rows]
            part = seen if dark is None else seen - dark[rows]
            gains = np.float32(gain) if self._gains is None else self._gains[rows, None]
            part = np.asarray(part / gains, np.float32)
            return part if dark is None else part + dark[rows]

        side = block_side(self._place.shape)
        rows = self._follower.follow(Followed(light, frame.time_s, blocks / gain, side, sigma))
        if rows.stop > rows.start:
            update_plan(ground.plan, self._follower.light, dark, rows)
            if self._per_code is not None:
                per_code = np.float32(1.0 / frame.white)
                np.multiply(ground.plan.recip[rows], per_code, out=self._per_code[rows])

    # The lamp.

    def _lamp(
        self, ground: Ground, allows: Callable[[str], bool], mark: Mark
    ) -> tuple[NDArray[np.float64], float | None, float]:
        """Block ratios, measured gain, gain to divide by; row gains are divided out at once."""
        blocks = block_ratios(self._ratio, ground.block_share)
        wanted = self.settings.enhance.lamp_correction
        level = quiet_level(blocks)
        self._gains = None
        mark("lamp")
        if wanted == "rows" and allows("rows"):
            gains = self._row_gains(ground, blocks)
            if gains is not None:
                self._gains = gains
                self._ratio *= (1.0 / gains)[:, None]
                side = block_side(self._place.shape)
                count = blocks.shape[0]
                blocks = blocks / gains[: count * side].reshape(count, side).mean(axis=1)[:, None]
                mark("rows")
                return blocks, level, 1.0
        if wanted == "off" or level is None or level < _LEAST_GAIN:
            return blocks, level, 1.0
        return blocks, level, level

    def _row_gains(self, ground: Ground, blocks: NDArray[np.float64]) -> NDArray[np.float32] | None:
        if self._rows is None:
            rows = self._place.shape[0]
            self._rows = RowGains(ground.block_share, rows, block_side(self._place.shape))
        return self._rows.fit(blocks)

    # Noise.

    def _averaged(self, lifted: Lifted, again: bool, mark: Mark) -> None:
        frames = self.settings.enhance.average_frames
        if frames <= 1:
            self._average.restart()
            return
        mean = self._average.mean
        if not again or mean is None:
            mean = self._average.add(lifted.values, lifted.gain, frames)
        lifted.values, lifted.gain = mean, 1.0
        lifted.averaged = self._average.equivalent
        lifted.frame_noise /= lifted.averaged**0.5
        mark("average")

    def _smooth(
        self, lifted: Lifted, sigma: float | None, allows: Callable[[str], bool], mark: Mark
    ) -> None:
        radius = self.settings.enhance.smooth_px
        if radius <= 0 or sigma is None or not allows("smooth"):
            return
        present = sigma * (lifted.frame_noise**2 + 1.0 / lifted.ground.frames) ** 0.5
        # Values differ from contrast by a factor and a constant, which smoothing lets through.
        lifted.values = smooth(lifted.values, radius, present * lifted.gain, self._smoothed)
        lifted.noise = smoothing_noise(radius)
        mark("smooth")


def _snapped(pixels: float) -> float:
    """Whole pixels where it makes no difference: nothing is interpolated then."""
    return float(round(pixels)) if abs(pixels - round(pixels)) < _SNAP_PX else pixels


def unclipped_into(codes: Pixels, light: Light, white: int, out: Bytes) -> None:
    """255 where no channel is at the top code and there is light; mono: neither end."""
    if codes.ndim == 2:
        # Mostly nothing is clipped, which is told in a third of the time.
        least, most, _, _ = cv2.minMaxLoc(codes)
        if least >= 1 and most < white:
            out.fill(255)
        else:
            cv2.inRange(codes, 1, white - 1, out)
        return
    channels = codes.shape[2]
    cv2.inRange(codes, (0,) * channels, (white - 1,) * channels, out)
    cv2.bitwise_and(out, np.asarray(cv2.inRange(light, _NO_LIGHT, np.inf), np.uint8), out)
