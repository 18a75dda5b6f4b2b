"""Calibration pictures from stretches of the recording, from files, or from an event."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping

import numpy as np

from liveview.commands.processing.recorded import UNKNOWN, Recorded, recorded_at
from liveview.commands.processing.request import Stretch
from liveview.errors import BadRequest, CalibrationRefused, InputUnreadable
from liveview.imaging.background import GOOD_FRAMES, PictureAverager
from liveview.imaging.disc import find_disc
from liveview.imaging.transfer import Transfer
from liveview.model import (
    Average,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    FrameSource,
    SourceInfo,
)
from liveview.settings import Settings

ASSUMED_S = 1.0
"""Length of the stretch that serves as reference when none was named."""


class Taker:
    """Averages the stretches while the frames pass by.

    Parameters
    ----------
    info : SourceInfo
        The recording's format.
    settings : Settings
        Transfer curve and channel are used.
    stretches : mapping
        Which seconds, from the first frame, belong to which picture.
    recorded : Recorded
        When the recording was made.
    """

    def __init__(
        self,
        info: SourceInfo,
        settings: Settings,
        stretches: Mapping[CalibrationKind, Stretch],
        recorded: Recorded = UNKNOWN,
    ) -> None:
        self.stretches = dict(stretches)
        self.warnings: list[str] = []
        self._info = info
        self._to_light = light_maker(settings)
        self._averagers = {kind: PictureAverager(info.camera_state, kind) for kind in stretches}
        self._seen_s = 0.0
        self._recorded = recorded
        self._begun_s: dict[CalibrationKind, float] = {}

    @property
    def last_s(self) -> float:
        """When the last stretch is over."""
        return max((s.until_s for s in self.stretches.values()), default=0.0)

    def see(self, frame: Frame, since_first_s: float) -> None:
        """Take in a frame if it belongs to a stretch."""
        self._seen_s = since_first_s
        wanted = [k for k, s in self.stretches.items() if s.holds(since_first_s)]
        if wanted:
            light = self._to_light(frame)
            for kind in wanted:
                self._averagers[kind].add(light)
                self._begun_s.setdefault(kind, frame.time_s)

    def forget_if_empty(self, kind: CalibrationKind) -> None:
        """Drop a stretch that nobody named and in which no frame lay."""
        if self._averagers[kind].frames == 0:
            del self.stretches[kind], self._averagers[kind]

    def finished(self, others: Calibration, *, all_read: bool) -> Calibration:
        """``others`` with the pictures whose stretch is over; each is given once.

        A picture that would mislead is used as it was asked for, and the reason becomes a warning.

        Raises
        ------
        BadRequest
            No frame of the recording lies in a stretch.
        """
        for kind in CalibrationKind:
            stretch = self.stretches.get(kind)
            if stretch is None or not (all_read or self._seen_s >= stretch.until_s):
                continue
            del self.stretches[kind]
            averager = self._averagers.pop(kind)
            if averager.frames == 0:
                raise BadRequest(
                    f"no frame lies between {stretch.since_s:g} s and {stretch.until_s:g} s",
                    f"--{kind.value}",
                    f"the frames read end at {self._seen_s:.3f} s",
                )
            others = others.with_picture(kind, self._picture(kind, averager, others))
        return others

    def _picture(
        self, kind: CalibrationKind, averager: PictureAverager, others: Calibration
    ) -> Average:
        taken_at = self._recorded.at(self._begun_s[kind])
        picture, warnings = judged(averager, kind, others, taken_at)
        self.warnings += warnings
        return picture


def judged(
    averager: PictureAverager, kind: CalibrationKind, others: Calibration, taken_at: str
) -> tuple[Average, list[str]]:
    """The mean picture, and in words what speaks against it; ``taken_at`` may be empty."""
    warnings = []
    if averager.frames < GOOD_FRAMES:
        frames = "1 frame" if averager.frames == 1 else f"{averager.frames} frames"
        warnings.append(
            f"the {kind.value} picture is the mean of {frames} only; "
            f"its noise is in every value ({GOOD_FRAMES} or more are better)"
        )
    try:
        return averager.result(0.0, taken_at, others=others), warnings
    except CalibrationRefused as error:
        warnings.append(f"{error.where}: {error.what}; it was used all the same")
        return averager.result(0.0, taken_at, others=others, judge=False), warnings


def light_maker(settings: Settings) -> Callable[[Frame], np.ndarray]:
    """Frame to linear light with the settings' curve and channel."""
    curve, channel = Transfer.named(settings.camera.transfer), settings.camera.channel
    return lambda frame: curve.to_light(frame.pixels, frame.white, channel=channel)


def picture_from(
    source: FrameSource, name: str, kind: CalibrationKind, info: SourceInfo, settings: Settings
) -> tuple[Average, list[str]]:
    """The mean of all frames of another source, which must have the recording's size.

    Raises
    ------
    InputUnreadable
        It cannot be read, or has another size.
    """
    averager = PictureAverager(info.camera_state, kind)
    to_light = light_maker(settings)
    try:
        own = source.open()
        if (own.width, own.height) != (info.width, info.height):
            raise InputUnreadable(
                f"is {own.width} x {own.height} pixels, the recording {info.width} x {info.height}",
                f"--{kind.value} {name}",
                "give a picture of the same size",
            )
        taken_at = recorded_at(source, own).at(0.0)
        pixels = np.empty(own.shape, own.dtype)
        while (stamp := source.grab()) is not None:
            source.read_into(pixels)
            averager.add(to_light(Frame(pixels, stamp, own.white)))
    finally:
        source.close()
    return judged(averager, kind, Calibration(), taken_at)


def read_through(source: FrameSource, taker: Taker) -> None:
    """Show the taker the frames of a recording up to the end of its last stretch."""
    try:
        info = source.open()
        pixels = np.empty(info.shape, info.dtype)
        first_s: float | None = None
        while (stamp := source.grab()) is not None:
            first_s = stamp.time_s if first_s is None else first_s
            if stamp.time_s - first_s >= taker.last_s:
                break
            source.read_into(pixels)
            taker.see(Frame(pixels, stamp, info.white), stamp.time_s - first_s)
    finally:
        source.close()


def assumed_reference(stretches: Mapping[CalibrationKind, Stretch]) -> Stretch:
    """The second after the stretches that were named: the likeliest to show quiet air."""
    ends = [s.until_s for s in stretches.values() if np.isfinite(s.until_s)]
    since_s = max(ends, default=0.0)
    return Stretch(since_s, since_s + ASSUMED_S)


def for_this_camera(calibration: Calibration, info: SourceInfo) -> Calibration:
    """An event's calibration as one of the recording it is read from; other sizes are dropped."""
    for kind in CalibrationKind:
        picture: Average | None = getattr(calibration, kind.value)
        if picture is not None:
            fits = picture.light.shape == (info.height, info.width)
            kept = dataclasses.replace(picture, camera=info.camera_state) if fits else None
            calibration = calibration.with_picture(kind, kept)
    return calibration


def disc_of(settings: Settings, calibration: Calibration) -> Disc | None:
    """The disc set by hand, else the one found in the open or the reference picture."""
    if settings.disc is not None:
        return Disc(settings.disc.cx, settings.disc.cy, settings.disc.radius, by_hand=True)
    for picture in (calibration.open, calibration.reference):
        if picture is not None and (found := find_disc(picture.light)) is not None:
            return found
    return None
