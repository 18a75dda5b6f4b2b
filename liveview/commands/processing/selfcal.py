"""Calibration stretches that nobody named, found in the recording's first seconds."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from liveview.commands.processing.calibrate import light_maker
from liveview.commands.processing.request import Stretch
from liveview.imaging.stretches import block_means, find_stretches
from liveview.model import CalibrationKind, Frame, FrameSource, Light
from liveview.settings import Settings

LOOK_S = 20.0
"""How far into a recording its own calibration is looked for: it stands at the beginning."""
_STEP = 4
"""Every so many pixels are looked at in either direction."""


def own_stretches(source: FrameSource, settings: Settings) -> dict[CalibrationKind, Stretch]:
    """Dark, open and reference stretches of a recording; empty where it has none.

    Parameters
    ----------
    source : FrameSource
        The recording, not opened; it is closed again.
    settings : Settings
        For curve and channel.
    """
    from liveview.sources.video import VideoSource

    if isinstance(source, VideoSource):
        source.only_looking = True
    to_light = light_maker(settings)
    blocks: list[Light] = []
    times: list[float] = []
    try:
        info = source.open()
        pixels = np.empty(info.shape, info.dtype)
        while (stamp := source.grab()) is not None:
            if times and stamp.time_s - times[0] >= LOOK_S:
                break
            source.read_into(pixels)
            few = np.ascontiguousarray(pixels[::_STEP, ::_STEP])
            blocks.append(block_means(to_light(Frame(few, stamp, info.white))))
            times.append(stamp.time_s)
    finally:
        source.close()
    if not blocks:
        return {}
    ends = [*times[1:], np.inf]
    return {
        kind: Stretch(times[run.first] - times[0], ends[run.last] - times[0])
        for kind, run in find_stretches(np.asarray(blocks)).items()
    }


def found_words(found: Mapping[CalibrationKind, Stretch]) -> str:
    """For the report: which stretches were found and used."""
    parts = [
        f"{kind.value} {stretch.since_s:.2f} s to {stretch.until_s:.2f} s"
        for kind, stretch in found.items()
    ]
    return f"calibration found in the recording itself: {', '.join(parts)}"
