"""Doubts about numbers that were stated, or that nobody stated, raised by the recording itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from liveview.commands.processing.request import Request
from liveview.imaging.cv import cv2
from liveview.model import BladeReading, Calibration, Pixels, SourceInfo, SourceKind
from liveview.settings import Settings

LEAST_UNCUT, MOST_UNCUT = -0.25, 1.5
"""Beyond these no noise and no drift of a lamp brings a mean over the disc."""

_LIKELY_TOPS = (1023, 4095, 16383)
"""Top codes of cameras whose codes are stored in 16 bits as they are."""
_SLACK = 1.05
"""A nominal rate may be wrong by this factor."""
_CLEARLY, _LEAST_SPAN = 2.0, 5e-4
"""What light adds stands above what noise takes away by that factor; share of full light."""
_OTHER_RATE = 0.01
_OFTEN = 0.05


def assumed_curve(said: SourceInfo, request: Request) -> Iterator[str]:
    """Words where a curve that nobody stated matters: deep codes are often linear."""
    if said.transfer is None and said.bits > 8 and "camera.transfer" not in request.given:
        yield (
            f"no transfer curve was stated: '{request.settings.camera.transfer}' was assumed; "
            "codes of more than 8 bits are often linear (--transfer linear)"
        )


def unused_rate(said: SourceInfo, request: Request) -> Iterator[str]:
    """Words where ``--rate`` was given and the recording has times of its own."""
    wanted = request.settings.camera.rate_hz
    if "camera.rate_hz" not in request.on_command_line or not wanted or not said.rate_hz:
        return
    if abs(said.rate_hz / wanted - 1.0) > _OTHER_RATE:
        yield (
            f"--rate {wanted:g} was not used: the recording's own times give {said.rate_hz:.6g} "
            "a second"
        )


def believable_exposure(
    info: SourceInfo, settings: Settings
) -> tuple[SourceInfo, Settings, list[str]]:
    """Without an exposure that is longer than from one frame to the next, and words about it."""
    exposure_s = info.exposure_s
    if not exposure_s or not info.rate_hz or exposure_s * info.rate_hz <= _SLACK:
        return info, settings, []
    words = (
        f"an exposure of {exposure_s:g} s does not go with {info.rate_hz:.6g} frames a second: "
        "it was not used (--exposure)"
    )
    settings = settings.replaced("camera", exposure_s=None)
    return dataclasses.replace(info, exposure_s=None), settings, [words]


def times_are_known(info: SourceInfo) -> bool:
    """False for pictures that were merely counted, one a second."""
    return info.rate_hz is not None or info.kind not in (SourceKind.IMAGES, SourceKind.TIFF)


def useless_open(calibration: Calibration) -> str:
    """Why the open picture says nothing beside the dark one; empty where it does."""
    dark, lit = calibration.dark, calibration.open
    if dark is None or lit is None or dark.light.shape != lit.light.shape:
        return ""
    low, high = np.percentile(lit.light - dark.light, (1, 99))
    if high > max(_CLEARLY * -low, _LEAST_SPAN):
        return ""
    return (
        "the open picture is not brighter than the dark one: it was not used, and the blade is not "
        "read; check --dark and --open"
    )


def possible(blade: BladeReading) -> BladeReading:
    """The reading, or one without values that no blade can give."""
    if blade.uncut is None or LEAST_UNCUT <= blade.uncut <= MOST_UNCUT:
        return blade
    return BladeReading(blade.side, relative=blade.relative)


def impossible_words(left_out: int, measured: int) -> Iterator[str]:
    """Words where so many readings were left out that it is no spark in a frame or two."""
    if left_out > _OFTEN * measured:
        yield (
            f"the uncut fraction came out far beyond 0 to 1 in {left_out} of {measured} frames and "
            "was left out there: dark, open and these frames do not go together"
        )


class TopCode:
    """The highest code of the recording against the one that counts as full light.

    Parameters
    ----------
    info : SourceInfo
    stated : int, optional
        The top code that somebody stated (``camera.white``).
    """

    def __init__(self, info: SourceInfo, stated: int | None) -> None:
        self._white = info.white
        self._stated = stated is not None
        self._highest = 0
        self._looks = self._stated or info.white == 65535

    def see(self, pixels: Pixels) -> None:
        """Look at a frame, for as long as there may be something to say."""
        if not self._looks:
            return
        flat = pixels.reshape(pixels.shape[0], -1)
        self._highest = max(self._highest, int(cv2.minMaxLoc(flat)[1]))
        enough = self._white if self._stated else _LIKELY_TOPS[-1]
        self._looks = self._highest <= enough

    def words(self) -> Iterator[str]:
        """What is to be said of it."""
        if self._stated and self._highest > self._white:
            yield (
                f"codes lie above --white {self._white} (up to {self._highest} and more): they "
                "count as clipped; state the camera's top code"
            )
        top = next((top for top in _LIKELY_TOPS if self._highest <= top), None)
        if not self._stated and self._white == 65535 and self._highest and top is not None:
            yield (
                f"no code lies above {top} of 65535: if the camera gave {top.bit_length()} bits, "
                f"state it with --white {top}; light and clipping are wrong without"
            )
