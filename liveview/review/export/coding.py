"""Video containers for clips: H.264 in MP4, VP9 in WebM, FFV1 in Matroska; same bits every time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray

from liveview.errors import BadRequest, OutputFailed
from liveview.imaging.cv import cv2
from liveview.model import Bytes
from liveview.recorder.matroska import to_video

SOUND_RATE = 48000
THREADS = 2
"""Fixed: the bits of some coders depend on the number of threads."""


@dataclass(frozen=True, slots=True)
class Coding:
    """How one kind of file is coded."""

    container: str
    video: str
    video_options: Mapping[str, str]
    pixel_format: str
    sound: str
    sound_format: str


CODINGS = {
    ".mp4": Coding("mp4", "libx264", {"qp": "19", "preset": "ultrafast"}, "yuv420p", "aac", "fltp"),
    ".webm": Coding(
        "webm",
        "libvpx-vp9",
        {"crf": "24", "b": "0", "deadline": "realtime", "cpu-used": "7", "row-mt": "1"},
        "yuv420p",
        "libopus",
        "flt",
    ),
    ".mkv": Coding(
        "matroska",
        "ffv1",
        {"level": "3", "slicecrc": "1", "slices": "4", "g": "1"},
        "bgr0",
        "flac",
        "s16",
    ),
}


def coding_for(path: Path) -> Coding:
    """The coding that a file's name asks for.

    Raises
    ------
    BadRequest
        Another ending.
    """
    try:
        return CODINGS[path.suffix.lower()]
    except KeyError:
        known = ", ".join(CODINGS)
        raise BadRequest(
            f"a clip cannot be written as '{path.suffix or path.name}'", str(path), f"use {known}"
        ) from None


def _bt709() -> NDArray[np.float32]:
    """Matrix from blue, green, red, 1 to Y, Cb, Cr of BT.709 in the limited range (item 3)."""
    red, blue = 0.2126, 0.0722
    luma = np.array([blue, 1 - red - blue, red])
    cb = (np.array([1.0, 0, 0]) - luma) / (2 * (1 - blue))
    cr = (np.array([0, 0, 1.0]) - luma) / (2 * (1 - red))
    rows = np.stack((luma * 219, cb * 224, cr * 224)) / 255
    return np.column_stack((rows, [16, 128, 128])).astype(np.float32)


_BT709 = _bt709()


def to_yuv420(picture: Bytes, *, grey: bool = False) -> av.VideoFrame:
    """A BGR picture of even size for the coders, BT.709, limited range, within a code.

    ``grey`` promises that all channels are the same, which is quicker. The general converter of
    the video library is a code off in chroma, which tints greys.
    """
    height, width = picture.shape[:2]
    frame = av.VideoFrame(width, height, "yuv420p")
    planes = [_pixels_of(plane) for plane in frame.planes]
    if grey:
        _grey_planes(picture, planes)
    else:
        _colour_planes(picture, planes)
    frame.color_range = ColorRange.MPEG
    frame.colorspace = Colorspace.ITU709
    return frame


def _pixels_of(plane: av.video.plane.VideoPlane) -> NDArray[np.uint8]:
    rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, -1)
    return rows[:, : plane.width]


_GREY_LUMA = np.rint(16 + np.arange(256) * (219 / 255)).astype(np.uint8)


def _grey_planes(picture: Bytes, planes: list[NDArray[np.uint8]]) -> None:
    luma = planes[0]
    cv2.extractChannel(picture, 0, luma)
    cv2.LUT(luma, _GREY_LUMA, luma)
    planes[1][...] = planes[2][...] = 128


def _colour_planes(picture: Bytes, planes: list[NDArray[np.uint8]]) -> None:
    """Luma, and both chroma planes of half the size.

    All three rows of the matrix have a fast path, which takes less time than one of them alone.
    """
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    for n, plane in enumerate(planes):
        if n < 2:
            codes = cv2.transform(half if n else picture, _BT709)
        cv2.extractChannel(codes, n, plane)


class ClipFile:
    """Writes one clip: pictures at a steady rate, mono sound. ``grey``: see :func:`to_yuv420`."""

    def __init__(
        self,
        path: Path,
        coding: Coding,
        size: tuple[int, int],
        fps: Fraction,
        metadata: Mapping[str, str],
        *,
        sound: bool,
        grey: bool = False,
    ) -> None:
        self._path = path
        self._coding = coding
        self._grey = grey
        self._number = 0
        self._samples = 0
        self._last: tuple[Bytes, av.VideoFrame] | None = None
        self._file = av.open(
            str(path),
            "w",
            format=coding.container,
            # No checksum over the description: a line of it is filled in at the end.
            container_options={"fflags": "+bitexact"}
            | ({} if coding.container == "mp4" else {"write_crc32": "0"}),
        )
        self._file.metadata.update(metadata)
        self._video = self._video_stream(coding, size, fps)
        self._sound = self._sound_stream() if sound else None

    def _video_stream(self, coding: Coding, size: tuple[int, int], fps: Fraction) -> Any:
        stream: Any = self._file.add_stream(
            coding.video, rate=fps, options=dict(coding.video_options)
        )
        stream.width, stream.height = size
        stream.pix_fmt = coding.pixel_format
        context = stream.codec_context
        context.time_base = 1 / fps
        context.thread_count = THREADS
        context.flags |= av.codec.context.Flags.bitexact
        if coding.pixel_format == "yuv420p":
            context.color_range = ColorRange.MPEG
            context.colorspace = Colorspace.ITU709
            context.color_primaries = context.color_trc = 1  # BT.709
        return stream

    def _sound_stream(self) -> Any:
        stream: Any = self._file.add_stream(self._coding.sound, rate=SOUND_RATE)
        stream.layout = "mono"
        stream.format = self._coding.sound_format
        stream.codec_context.flags |= av.codec.context.Flags.bitexact
        return stream

    def add_picture(self, picture: Bytes) -> None:
        """One more picture, BGR; the same array again is not converted again."""
        if self._last is None or self._last[0] is not picture:
            self._last = (picture, self._converted(picture))
        frame = self._last[1]
        frame.pts = self._number
        frame.time_base = self._video.codec_context.time_base
        self._number += 1
        self._mux(self._video, frame)

    def _converted(self, picture: Bytes) -> av.VideoFrame:
        if self._coding.pixel_format == "bgr0":
            return to_video(picture, "bgr0")
        return to_yuv420(picture, grey=self._grey)

    def add_sound(self, samples: NDArray[np.float32]) -> None:
        """More sound, mono, 48 kHz, full scale 1.0."""
        assert self._sound is not None
        if not len(samples):
            return
        clean = np.clip(samples, -1.0, 1.0)
        name = self._coding.sound_format
        if name == "s16":
            codes: NDArray[Any] = np.rint(clean * 32767).astype(np.int16)
        else:
            codes = clean.astype(np.float32)
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(codes)[None, :], name, "mono")
        frame.sample_rate = SOUND_RATE
        frame.pts, frame.time_base = self._samples, Fraction(1, SOUND_RATE)
        self._samples += len(samples)
        self._mux(self._sound, frame)

    def _mux(self, stream: Any, frame: Any) -> None:
        try:
            for packet in stream.encode(frame):
                self._file.mux(packet)
        except av.error.FFmpegError as error:
            if isinstance(error, OSError) and error.errno:
                raise OSError(error.errno, error.strerror) from error
            raise OutputFailed(f"the coder failed ({error})", str(self._path)) from error

    def finish(self) -> None:
        """Flush the coders and close."""
        for stream in (self._video, self._sound):
            if stream is not None:
                self._mux(stream, None)
        self._file.close()

    def close(self) -> None:
        """Close, finished or not."""
        self._file.close()
