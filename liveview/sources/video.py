"""A video file as a source: exact times, untouched codes, honest about what is damaged."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liveview.errors import FormatChanged, InputUnreadable
from liveview.imaging.transfer import Transfer
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.container import (
    LOSSY,
    file_url,
    is_address,
    is_lossy,
    is_predicted,
    is_still,
    open_container,
    origin_s,
    promised_seconds,
    recorded_at,
    shown,
    translated,
    video_stream,
)
from liveview.sources.ffv1 import Checksums
from liveview.sources.limits import check_size, checked_file, checked_white
from liveview.sources.luma import LumaCopier, is_neutral, is_neutral_elsewhere
from liveview.sources.pixels import Copier, Layout, layout_of
from liveview.sources.sidecar import Times, find_times, read_times
from liveview.sources.upright import Upright, of_frame

if TYPE_CHECKING:
    import av
    from av.container import InputContainer

_TRANSFERS = {1: "bt709", 6: "bt709", 8: "linear", 13: "srgb", 14: "bt709", 15: "bt709"}
"""Transfer characteristics a file can name (H.273 table 3); the others are left to the user."""

_LIMITED = 1
"""Range tag of codes that leave room below black and above white (16 to 235)."""

_PARTS_OF_A_FRAME_SHORT = 1.5
"""A file counts as cut off when it ends this many frame intervals before it promised."""


class VideoSource:
    """Frames of a video file in order, as fast as asked.

    Frames whose data are damaged are left out and counted: the numbers of the stamps have gaps
    there, and ``warnings`` says how many. A table of times beside the file
    (:mod:`liveview.sources.sidecar`) has precedence over the times in it. Frames are turned and
    mirrored as the file states (:mod:`liveview.sources.upright`).

    Parameters
    ----------
    name : str
        Path, or the address of a finished file on a server.
    camera : Camera
        Settings: ``white``, ``row_time_s``, ``exposure_s`` and, for files without times,
        ``rate_hz``.
    timeouts_s : (float, float)
        For addresses: longest time for opening and for one read, seconds.
    """

    def __init__(
        self, name: str, camera: Camera, *, timeouts_s: tuple[float, float] = (4.0, 4.0)
    ) -> None:
        self._name = name
        self._shown = shown(name)
        self._camera = camera
        self._timeouts_s = timeouts_s
        self.only_looking = False
        """Set before ``open`` when frames that are damaged do not matter: read faster then."""
        self.recorded_at = ""
        """ISO time of 0 on the file's clock, once it is open; empty where the file has none."""
        self._container: InputContainer | None = None
        self._frames: Iterator[av.VideoFrame] = iter(())
        self._held: av.VideoFrame | None = None
        self._pending: av.VideoFrame | None = None
        self._times: Times | None = None
        self._checksums = Checksums()
        self._delivered = self._number = self._damaged = self._damaged_now = 0
        self._last_s = -math.inf
        self._warnings: list[str] = []

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was found wrong with the recording so far, in words."""
        return tuple(self._warnings)

    def open(self) -> SourceInfo:
        """Open the file and decode its first frame.

        Raises
        ------
        InputUnreadable
            Missing, empty, damaged, without pictures, too large, or of an unsupported format.
        BadRequest
            ``camera.white`` is larger than the codes can be.
        """
        self._container = container = self._opened()
        if is_still(container):
            raise InputUnreadable(
                "is a still picture, not a recording",
                self._shown,
                "give it the ending of its kind (.jpg, .png), or put pictures into a folder",
            )
        self._stream = stream = video_stream(container, self._name, several=self.only_looking)
        check_size(stream.codec_context.width, stream.codec_context.height, self._shown)
        self._origin = origin_s(container)
        self.recorded_at = recorded_at(container)
        self._tick = float(stream.time_base or 0)
        self._frames = self._decoded()
        first = next(self._frames, None)
        if first is None:
            raise InputUnreadable(
                "no frame of it can be decoded", self._shown, "copy it again from the original"
            )
        check_size(first.width, first.height, self._shown)
        self._pending = first
        self._shape = (first.format.name, first.width, first.height)
        upright = of_frame(first)
        self._copier = self._made_copier(first, upright)
        layout = self._copier.layout
        self._times = self._sidecar()
        self._rate_hz = self._found_rate()
        self._promised_s = promised_seconds(stream, container)
        return self._info(first, layout, upright)

    def grab(self) -> FrameStamp | None:
        """The next frame's stamp; None at the end, with ``warnings`` saying what is missing.

        Raises
        ------
        FormatChanged
            The frame has another size or pixel format than the first.
        """
        frame = self._pending or next(self._frames, None)
        self._pending = None
        self._held = frame
        if frame is None:
            self._finish()
            return None
        if (frame.format.name, frame.width, frame.height) != self._shape:
            raise FormatChanged(
                f"the pictures change from {self._words(*self._shape)} to "
                f"{self._words(frame.format.name, frame.width, frame.height)} at frame "
                f"{self._delivered}",
                self._shown,
                "cut the recording there",
            )
        stamp = self._stamp(frame)
        self._delivered += 1
        return stamp

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed frame into ``out``."""
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        self._copier.copy(self._held, out)
        if isinstance(self._copier, LumaCopier) and self._copier.coloured == 1:
            self._warn_once(
                f"began without colour and was taken as gray; from frame {self._delivered - 1} on "
                "there is some: its luminance is what counts"
            )

    def close(self) -> None:
        """Close the file."""
        self._held = self._pending = None
        self._frames = iter(())
        if self._container is not None:
            self._container.close()
            self._container = None

    def _opened(self) -> InputContainer:
        if is_address(self._name):
            return open_container(self._name, timeouts_s=self._timeouts_s)
        try:
            return open_container(file_url(checked_file(Path(self._name))))
        except InputUnreadable as error:
            what, remedy = error.what, error.remedy
            if _lacks_index(Path(self._name)):
                what = "was never finished: the index that belongs at its end is missing"
                remedy = "repair it with the camera's own software, or record to Matroska"
            raise InputUnreadable(what, self._name, remedy) from error

    def _made_copier(self, first: av.VideoFrame, upright: Upright) -> Copier | LumaCopier:
        """For gray where the recording has no colour and none of its channels is asked for."""
        colour = Copier(layout_of(first.format, self._shown), upright)
        wanted = self._camera.channel == "luminance" and not is_address(self._name)
        if wanted and is_neutral(first) and is_neutral_elsewhere(Path(self._name)):
            return LumaCopier(colour, Transfer.named(self._curve() or self._camera.transfer))
        return colour

    def _curve(self) -> str | None:
        """The transfer curve that the file names."""
        return _TRANSFERS.get(int(self._stream.codec_context.color_trc or 0))

    def _decoded(self) -> Iterator[av.VideoFrame]:
        """Frames that decode; the others are counted."""
        import av

        assert self._container is not None
        try:
            for packet in self._container.demux(self._stream):
                try:
                    if self._is_damaged(packet):
                        self._count_damaged()
                        continue
                    frames = packet.decode()
                except av.error.FFmpegError:
                    self._count_damaged()
                    continue
                for frame in frames:
                    if frame.is_corrupt:
                        self._count_damaged()
                    else:
                        yield frame
        except (av.error.FFmpegError, OSError) as error:
            if self._delivered == 0 and self._pending is None:
                raise translated(error, self._name) from error
            self._warnings.append(f"reading ended early: {translated(error, self._name).what}")

    def _is_damaged(self, packet: av.Packet[Any]) -> bool:
        """Cut short, or (FFV1) with a checksum that does not hold; never the empty last one."""
        if packet.size == 0:
            return False
        if packet.is_corrupt:
            return True
        if self._stream.codec_context.name != "ffv1":
            return False
        return self._checksums.damaged(bytes(packet), key=packet.is_keyframe)

    def _count_damaged(self) -> None:
        self._damaged += 1
        self._damaged_now += 1

    def _sidecar(self) -> Times | None:
        if is_address(self._name):
            return None
        path = find_times(Path(self._name))
        return None if path is None else read_times(path)

    def _found_rate(self) -> float | None:
        if self._times is not None:
            return self._times.rate_hz
        for rate in (self._stream.average_rate, self._stream.guessed_rate):
            if rate and 0 < rate < 1_000_000:
                return float(rate)
        return self._camera.rate_hz

    def _info(self, first: av.VideoFrame, layout: Layout, upright: Upright) -> SourceInfo:
        width, height = upright.size(first.width, first.height)
        frames = len(self._times) if self._times is not None else self._stream.frames or None
        white = checked_white(
            self._camera.white,
            layout.white,
            (1 << (8 if layout.bits <= 8 else 16)) - 1,
            self._shown,
        )
        return SourceInfo(
            kind=SourceKind.VIDEO,
            name=self._shown if is_address(self._name) else Path(self._name).name,
            width=width,
            height=height,
            channels=layout.channels,
            bits=layout.bits,
            white=white,
            live=False,
            rate_hz=self._rate_hz,
            frames=frames,
            seconds=self._promised_s,
            row_time_s=self._camera.row_time_s,
            exposure_s=self._camera.exposure_s,
            transfer=self._curve(),
            predicted=is_predicted(self._stream),
            note=self._note(first, layout),
        )

    def _note(self, first: av.VideoFrame, layout: Layout) -> str:
        words = []
        title = "" if self._container is None else self._container.metadata.get("title", "")
        if title.startswith("simulated"):
            words.append(title)
        if isinstance(self._copier, LumaCopier):
            words.append("no colour in it: read as gray")
        elif layout.channels == 1 and first.color_range == _LIMITED:
            words.append("gray codes of limited range (16 to 235), used as they stand")
        if is_lossy(self._stream):
            words.append(LOSSY)
        if self._times is not None:
            words.append("frame times from the table beside the recording")
        return "; ".join(words)

    def _stamp(self, frame: av.VideoFrame) -> FrameStamp:
        index = self._delivered
        if self._times is not None:
            # The table has a line for each stored frame, damaged ones included.
            stamp = self._times.stamp(index + self._damaged, self._rate_hz)
            self._last_s = stamp.time_s
            return stamp
        time_s = self._forward(self._file_time(frame))
        self._number += 0 if index == 0 else 1 + self._gap(time_s)
        self._damaged_now = 0 if index == 0 else self._damaged_now
        self._last_s = time_s
        return FrameStamp(self._number, time_s, self._tick / 2)

    def _file_time(self, frame: av.VideoFrame) -> float:
        step = 1.0 / self._rate_hz if self._rate_hz else 1.0
        if frame.pts is None or frame.time_base is None:
            return 0.0 if self._delivered == 0 else self._last_s + step
        return float(Fraction(frame.pts) * frame.time_base - self._origin)

    def _forward(self, time_s: float) -> float:
        if time_s >= self._last_s:
            return time_s
        words = "the times in the recording run backwards in places; they are held there"
        if words not in self._warnings:
            self._warnings.append(words)
        return self._last_s

    def _gap(self, time_s: float) -> int:
        """How many of the frames just found damaged belong before this one, by its time."""
        if not self._damaged_now:
            return 0
        gap = self._damaged_now
        if self._rate_hz:
            gap = min(gap, max(0, round((time_s - self._last_s) * self._rate_hz) - 1))
        self._damaged_now -= gap
        return gap

    def _finish(self) -> None:
        if self._damaged:
            self._warn_once(f"{_frames(self._damaged)} damaged and left out")
        promised = self._missing_frames()
        if promised:
            self._warn_once(f"the file is cut off: {promised} missing at the end")
        stored = self._delivered + self._damaged
        if self._times is not None and len(self._times) != stored:
            self._warn_once(f"the table of times has {len(self._times)} lines for {stored} frames")

    def _missing_frames(self) -> str:
        got = self._delivered + self._damaged
        if self._stream.frames:
            missing = self._stream.frames - got
            return _frames(missing) if missing > 0 else ""
        if self._promised_s is None or not self._rate_hz or self._times is not None:
            return ""
        missing_s = self._promised_s - self._last_s - 1.0 / self._rate_hz
        if missing_s * self._rate_hz < _PARTS_OF_A_FRAME_SHORT:
            return ""
        return f"about {_frames(round(missing_s * self._rate_hz))} ({missing_s:.2f} s)"

    def _warn_once(self, words: str) -> None:
        if words not in self._warnings:
            self._warnings.append(words)

    @staticmethod
    def _words(pixel_format: str, width: int, height: int) -> str:
        return f"{width} x {height} {pixel_format}"


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"


def _lacks_index(path: Path) -> bool:
    """True for an MP4 or MOV file, of which nothing can be read without its index."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.read(8)
    return head[4:8] == b"ftyp"
