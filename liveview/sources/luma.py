"""Colour video with no colour in it: its luma plane alone, at a tenth of the price.

Near neutral, linear light of a BT.709 luma equals the luminance of the three channels but for a
term of second order: with chroma at most two codes from neutral it is below 0.03 of a code in
mid-grey, less than the rounding of three channels to whole codes. BT.601 weighs the channels
otherwise, which makes up to half a code for two of chroma, the same in every frame, so that it
drops out of every ratio. Frames of such a recording that show colour after all go the long way,
over the luminance in linear light.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import LiveviewError
from liveview.imaging.cv import cv2
from liveview.imaging.transfer import Transfer
from liveview.model import Bytes, Pixels
from liveview.sources.container import file_url, open_container, video_stream
from liveview.sources.pixels import Copier, Layout

if TYPE_CHECKING:
    import av

LUMA = Layout("luma", 1, 8)
"""What such a recording becomes: gray, 8 bits, 0 to 255."""
_FORMATS = {f"yuv{full}{size}p" for full in ("", "j") for size in ("420", "422", "444")}
_NEUTRAL = 128
_NEAR = 2
_FULL_RANGE = 2
_BLACK, _STEPS = 16, 219
_PLACES = (0.25, 0.5, 0.75)
"""Where in a file colour is looked for, beside its first frame, as parts of its length."""


def is_neutral(frame: av.VideoFrame) -> bool:
    """Whether no pixel of a planar 8-bit frame has a chroma beyond two codes from neutral."""
    if frame.format.name not in _FORMATS:
        return False
    for index in (1, 2):
        least, most, _, _ = cv2.minMaxLoc(_codes(frame, index))
        if least < _NEUTRAL - _NEAR or most > _NEUTRAL + _NEAR:
            return False
    return True


def is_neutral_elsewhere(path: Path) -> bool:
    """Whether frames further on in a file are neutral; False where that cannot be found out."""
    import av

    try:
        with open_container(file_url(path)) as container:
            stream = video_stream(container, path.name)
            length_us = container.duration
            if not length_us:
                return False
            for part in _PLACES:
                container.seek(int(part * length_us))
                if not is_neutral(next(container.decode(stream))):
                    return False
    except (av.error.FFmpegError, LiveviewError, OSError, StopIteration):
        return False
    return True


class LumaCopier:
    """Copies frames as gray codes of full range, turned upright.

    Parameters
    ----------
    colour : Copier
        For frames with colour in them.
    curve : Transfer
        Of the recording.
    """

    layout = LUMA

    def __init__(self, colour: Copier, curve: Transfer) -> None:
        self._colour = colour
        self._curve = curve
        self.coloured = 0
        """Frames with colour in them so far."""

    def copy(self, frame: av.VideoFrame, out: Pixels) -> None:
        """Write ``frame`` into ``out``, uint8 (rows, columns)."""
        if not is_neutral(frame):
            self.coloured += 1
            pixels = np.empty((*out.shape, 3), np.uint8)
            self._colour.copy(frame, pixels)
            np.copyto(out, self._curve.to_code(self._curve.to_light(pixels, 255), 255))
            return
        upright = self._colour.upright
        target = out if upright.as_stored else np.empty((frame.height, frame.width), np.uint8)
        whole = frame.format.name.startswith("yuvj") or int(frame.color_range) == _FULL_RANGE
        if whole:
            np.copyto(target, _codes(frame, 0))
        else:
            full_range_into(_codes(frame, 0), target)
        if not upright.as_stored:
            np.copyto(out, upright.of(target))


def full_range_into(luma: Bytes, out: Bytes) -> None:
    """Codes of limited range, 16 to 235, as 0 to 255, rounded; beyond either end it stays there."""
    cv2.addWeighted(luma, 255 / _STEPS, luma, 0.0, -_BLACK * 255 / _STEPS, out)


def _codes(frame: av.VideoFrame, index: int) -> Bytes:
    """A view of one plane, 8 bit, without the padding at the ends of its rows."""
    plane: Any = frame.planes[index]
    codes: NDArray[np.uint8] = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
    return codes[: plane.height, : plane.width]
