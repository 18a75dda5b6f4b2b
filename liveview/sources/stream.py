"""A camera on the network: motion JPEG over HTTP, RTSP, and what else FFmpeg can play live.

Stamps are host time: what such streams say of their own times is made up. A picture is stamped
when its last byte is here, before it is decoded. Waiting for the network is bounded inside the
library that waits; OpenCV's own reader was not used because it tells a stall, an end and a
damaged picture all by the same False, and goes on calling itself open after its stream is dead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from liveview.errors import FormatChanged, InputUnreadable, SourceStalled
from liveview.model import FrameStamp, Pixels, SourceInfo, SourceKind
from liveview.settings import Camera
from liveview.sources.container import is_predicted, open_container, shown, video_stream
from liveview.sources.frozen import FROZEN_S, FrozenWatch
from liveview.sources.headers import read_header
from liveview.sources.limits import check_size, checked_white
from liveview.sources.picture import Picture, decoded
from liveview.sources.pixels import Copier, layout_of
from liveview.sources.upright import of_frame

if TYPE_CHECKING:
    import av
    from av.container import InputContainer

OPEN_TIMEOUT_S = 4.0
READ_TIMEOUT_S = 1.5
"""Below the two seconds in which the program promises to stop."""

LATENCY_S = 0.1
"""How late a network camera's picture may be: stated as the error of its stamp."""


class Arrived(Protocol):
    """A picture that came over the network, ready to be copied."""

    @property
    def picture_form(self) -> Form:
        """Size and kind."""

    def copy(self, out: Pixels) -> None:
        """Write it into ``out``."""


@dataclass(frozen=True, slots=True)
class Form:
    """Size and kind of the pictures of a stream."""

    height: int
    width: int
    channels: int
    bits: int

    def __str__(self) -> str:
        kind = "gray" if self.channels == 1 else "colour"
        return f"{self.width} x {self.height}, {self.bits} bit {kind}"


@dataclass(frozen=True, slots=True)
class _Still:
    picture: Picture

    @property
    def picture_form(self) -> Form:
        height, width = self.picture.pixels.shape[:2]
        return Form(height, width, self.picture.channels, self.picture.bits)

    def copy(self, out: Pixels) -> None:
        np.copyto(out, self.picture.pixels)


@dataclass(frozen=True, slots=True)
class _Moving:
    frame: av.VideoFrame
    copier: Copier
    form: Form

    @property
    def picture_form(self) -> Form:
        return self.form

    def copy(self, out: Pixels) -> None:
        self.copier.copy(self.frame, out)


class StreamSource:
    """Frames of a network camera as they come.

    Damaged pictures are left out and counted: the stamps' numbers have gaps there.

    Parameters
    ----------
    address : str
        ``http://``, ``https://`` or ``rtsp://``.
    camera : Camera
        Settings: ``white``, ``row_time_s``, ``exposure_s``.
    clock : callable
        The session's clock, seconds.
    open_timeout_s, read_timeout_s : float
        Longest wait for the connection and for a frame, seconds.
    """

    def __init__(
        self,
        address: str,
        camera: Camera,
        *,
        clock: Callable[[], float],
        open_timeout_s: float = OPEN_TIMEOUT_S,
        read_timeout_s: float = READ_TIMEOUT_S,
    ) -> None:
        self._address = address
        self._camera = camera
        self._clock = clock
        self._timeouts_s = (open_timeout_s, read_timeout_s)
        self._container: InputContainer | None = None
        self._shown = shown(address)
        self._arrivals: Iterator[tuple[float, Arrived]] = iter(())
        self._first: tuple[float, Arrived] | None = None
        self._held: Arrived | None = None
        self._copier: Copier | None = None
        self._predicted = False
        self._frozen = FrozenWatch()
        self._time_s = 0.0
        self._next_number = self._damaged = 0

    @property
    def warnings(self) -> tuple[str, ...]:
        """How many pictures came damaged, in words."""
        if not self._damaged:
            return ()
        return (f"{self._damaged} damaged pictures of the stream left out",)

    def open(self) -> SourceInfo:
        """Connect and wait for the first picture.

        Raises
        ------
        SourceStalled
            No answer or no picture in time: it may come later.
        InputUnreadable
            The server refuses, or sends no pictures.
        """
        from av.codec.context import Flags

        rtsp = self._address.lower().startswith("rtsp")
        # the first seconds that RTSP takes to look at a stream are not wanted afterwards
        options = {"rtsp_flags": "prefer_tcp", "fflags": "nobuffer"} if rtsp else {}
        self._container = open_container(self._address, timeouts_s=self._timeouts_s, **options)
        stream = video_stream(self._container, self._address)
        self._predicted = is_predicted(stream)
        stream.codec_context.flags |= Flags.low_delay
        jpeg = stream.codec_context.name == "mjpeg" and not rtsp
        self._arrivals = self._stills(stream) if jpeg else self._frames(stream)
        self._first = next(self._arrivals, None)
        if self._first is None:
            raise SourceStalled("the stream ended before a picture came", self._shown)
        self._next_number = 0
        self._form = self._first[1].picture_form
        return self._info(self._form)

    def grab(self) -> FrameStamp | None:
        """Wait for the next picture; None when the other side ended the stream.

        Raises
        ------
        SourceStalled
            Nothing came within ``read_timeout_s``.
        FormatChanged
            The picture has another size or kind than the first.
        """
        arrival = self._first or next(self._arrivals, None)
        self._first = None
        self._held = None
        if arrival is None:
            return None
        self._time_s, self._held = arrival
        form = self._held.picture_form
        if form != self._form:
            raise FormatChanged(f"the stream changed from {self._form} to {form}", self._shown)
        number, self._next_number = self._next_number, self._next_number + 1
        return FrameStamp(number, self._time_s, LATENCY_S)

    def read_into(self, out: Pixels) -> None:
        """Copy the grabbed picture into ``out``.

        Raises
        ------
        SourceStalled
            It has been the same again and again.
        """
        if self._held is None:
            raise RuntimeError("read_into needs a grabbed frame")
        self._held.copy(out)
        if self._frozen.frozen(out, self._time_s):
            raise SourceStalled(
                f"the stream has repeated the same picture for {FROZEN_S:g} s",
                self._shown,
                "start the camera again",
            )

    def close(self) -> None:
        """Close the connection."""
        self._held = self._first = None
        self._arrivals = iter(())
        if self._container is not None:
            self._container.close()
            self._container = None

    def _packets(self, stream: Any) -> Iterator[tuple[float, av.Packet[Any]]]:
        """Packets with the time of their arrival; ends when the other side ends."""
        import av

        assert self._container is not None
        try:
            for packet in self._container.demux(stream):
                yield self._clock(), packet
        except av.error.ExitError as error:
            raise SourceStalled(
                f"no picture came for {self._timeouts_s[1]:g} s", self._shown
            ) from error
        except (av.error.FFmpegError, OSError):
            # a closed connection reads as an end, an error or a broken part, by chance of timing
            return

    def _stills(self, stream: Any) -> Iterator[tuple[float, Arrived]]:
        since = self._clock()
        for time_s, packet in self._packets(stream):
            if packet.size == 0:
                continue
            try:
                still = _Still(self._decoded(bytes(packet)))
            except InputUnreadable:
                self._count_damaged(since)
                continue
            yield time_s, still
            since = self._clock()

    def _decoded(self, data: bytes) -> Picture:
        header = read_header(data)
        if header is None:
            raise InputUnreadable("is not a picture", self._shown)
        check_size(header.width, header.height, self._shown)
        return decoded(data, self._shown)

    def _frames(self, stream: Any) -> Iterator[tuple[float, Arrived]]:
        import av

        since = self._clock()
        for time_s, packet in self._packets(stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                self._count_damaged(since)
                continue
            for frame in frames:
                if frame.is_corrupt:
                    self._count_damaged(since)
                    continue
                yield time_s, self._moving(frame)
                since = self._clock()

    def _moving(self, frame: av.VideoFrame) -> _Moving:
        check_size(frame.width, frame.height, self._shown)
        layout = layout_of(frame.format, self._shown)
        if self._copier is None or self._copier.layout != layout:
            self._copier = Copier(layout, of_frame(frame))
        width, height = self._copier.upright.size(frame.width, frame.height)
        return _Moving(frame, self._copier, Form(height, width, layout.channels, layout.bits))

    def _count_damaged(self, since_s: float) -> None:
        """Count one; give up when nothing else came for as long as opening may take."""
        self._damaged += 1
        self._next_number += 1
        if self._clock() - since_s > self._timeouts_s[0]:
            raise SourceStalled("nothing but damaged pictures comes", self._shown)

    def _info(self, form: Form) -> SourceInfo:
        return SourceInfo(
            kind=SourceKind.STREAM,
            name=self._shown,
            width=form.width,
            height=form.height,
            channels=form.channels,
            bits=form.bits,
            white=checked_white(
                self._camera.white,
                (1 << form.bits) - 1,
                255 if form.bits <= 8 else 65535,
                self._shown,
            ),
            live=True,
            row_time_s=self._camera.row_time_s,
            exposure_s=self._camera.exposure_s,
            predicted=self._predicted,
            note="times are those of arrival",
        )
