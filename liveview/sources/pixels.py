"""From decoded video frames to arrays: which layout a pixel format becomes, and the copy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Pixels
from liveview.sources.upright import Upright

if TYPE_CHECKING:
    import av
    from av.video.reformatter import VideoReformatter

_DIRECT_GRAY = {"gray": 8} | {f"gray{bits}le": bits for bits in (9, 10, 12, 14, 16)}
_PLANAR_BITS = (9, 10, 12, 14, 16)
"""Depths of planar colour beyond 8 bits."""
_GRAY_NAMES = ("gray", "ya", "mono")
_FOUR_BYTE = {
    "bgr0": cv2.COLOR_BGRA2BGR,
    "bgra": cv2.COLOR_BGRA2BGR,
    "rgb0": cv2.COLOR_RGBA2BGR,
    "rgba": cv2.COLOR_RGBA2BGR,
}
_AS_STORED = Upright()
_HD_ROWS = 720
"""From here on untagged video is taken as BT.709, below as BT.601: the common convention."""


@dataclass(frozen=True, slots=True)
class Layout:
    """What one pixel format becomes.

    ``target`` is the format the library converts to, ``bits`` the depth of the codes. Gray formats
    keep their codes untouched; colour is blue, green, red of as many bits as the source has, or
    the next more there is a format for. Luma and chroma go over separate planes: there the library
    rounds properly, while its fast way to packed colour is half a code too dark.
    """

    target: str
    channels: int
    bits: int

    @property
    def white(self) -> int:
        """Top code value."""
        return (1 << self.bits) - 1


def layout_of(pixel_format: av.VideoFormat | None, where: str) -> Layout:
    """The layout that a decoder's pixel format becomes.

    Raises
    ------
    InputUnreadable
        A format without whole-number codes (float, hardware surfaces) or an unknown one.
    """
    name = "unknown" if pixel_format is None else str(pixel_format.name)
    depths = [] if pixel_format is None else [c.bits for c in pixel_format.components]
    if not depths or max(depths) > 16 or "f16" in name or "f32" in name:
        raise InputUnreadable(
            f"its pixel format '{name}' is not supported",
            where,
            "convert it to 8 to 16 bit gray or colour (gray16le, bgr0, yuv420p)",
        )
    assert pixel_format is not None
    if name in _DIRECT_GRAY:
        return Layout(name, 1, _DIRECT_GRAY[name])
    if name.startswith(_GRAY_NAMES):
        if max(depths) <= 8:
            return Layout("gray", 1, 8)
        little = f"gray{max(depths)}le"
        return Layout(little if little in _DIRECT_GRAY else "gray16le", 1, max(depths))
    packed = pixel_format.is_rgb or pixel_format.has_palette
    if max(depths) <= 8 or pixel_format.has_palette:
        return Layout("bgr24" if packed else "gbrp", 3, 8)
    bits = next(bits for bits in _PLANAR_BITS if bits >= max(depths))
    return Layout("bgr48le" if packed and bits == 16 else f"gbrp{bits}le", 3, bits)


class Copier:
    """Copies decoded frames of one layout into arrays, turned upright.

    Parameters
    ----------
    layout : Layout
    upright : Upright
        What makes the picture upright.
    """

    def __init__(self, layout: Layout, upright: Upright = _AS_STORED) -> None:
        self.layout = layout
        self.upright = upright
        self._reformatter: VideoReformatter | None = None

    def copy(self, frame: av.VideoFrame, out: Pixels) -> None:
        """Write ``frame`` into ``out`` (rows, columns[, 3]) of the layout's type."""
        name = frame.format.name
        if self.upright.as_stored and name in _FOUR_BYTE:
            cv2.cvtColor(_plane(frame, 4, 1), _FOUR_BYTE[name], dst=out)
            return
        if name != self.layout.target:
            frame = self._reformatted(frame)
        if self.layout.target.startswith("gbrp"):
            green, blue, red = (_plane(frame, 1, out.dtype.itemsize, index) for index in range(3))
            if self.upright.as_stored:
                cv2.merge([blue, green, red], dst=out)
                return
            picture = cv2.merge([blue, green, red])
        else:
            picture = _plane(frame, self.layout.channels, out.dtype.itemsize)
        np.copyto(out, self.upright.of(picture))

    def _reformatted(self, frame: av.VideoFrame) -> av.VideoFrame:
        from av.video.reformatter import Colorspace, Interpolation, VideoReformatter

        if self._reformatter is None:
            self._reformatter = VideoReformatter()
        untagged = frame.colorspace not in _TAGGED and not frame.format.is_rgb
        hd = Colorspace.ITU709 if frame.height >= _HD_ROWS else Colorspace.ITU601
        return self._reformatter.reformat(
            frame,
            format=self.layout.target,
            src_colorspace=hd if untagged else None,
            interpolation=Interpolation.BILINEAR
            | Interpolation.ACCURATE_RND
            | Interpolation.FULL_CHR_H_INT,
            threads=1,
        )


_TAGGED = (1, 4, 5, 6, 7, 9)
"""Colour matrices a stream can name (H.273 table 4) and the converter knows."""


def _plane(frame: av.VideoFrame, channels: int, itemsize: int, index: int = 0) -> NDArray[Any]:
    """A view of one plane, without the padding at the ends of its rows."""
    plane: Any = frame.planes[index]
    dtype: np.dtype[Any] = np.dtype("<u2") if itemsize == 2 else np.dtype(np.uint8)
    rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: frame.height]
    codes: NDArray[Any] = rows[:, : frame.width * channels * itemsize].view(dtype)
    shape = (frame.height, frame.width) if channels == 1 else (frame.height, frame.width, channels)
    return codes.reshape(shape)
