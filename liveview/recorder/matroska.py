"""``frames.mkv``: FFV1 pictures with checksums, sound as FLAC or PCM, bit for bit.

Matroska as written here keeps times to 1 ms only; the exact ones are in ``times.csv``, with the
place of every coded frame so that any of them is read at once.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable, OutputFailed
from liveview.model import Pixels, SourceInfo

if TYPE_CHECKING:
    import av  # in functions too: the window opens without it

MICROSECOND = Fraction(1, 1_000_000)
_BLOCK_HEADER = 4
"""Bytes between a packet's reported place and its data: track number, time, flags."""

SLICES = 4
"""Parts of a frame that are coded apart from each other, so that several cores read one frame."""
ASIDE_THREADS = 2
"""For writing and verifying, which nobody waits for."""

_LAYOUTS = {1: "mono", 2: "stereo", 3: "2.1", 4: "4.0", 5: "5.0", 6: "5.1", 7: "6.1", 8: "7.1"}
MOST_CHANNELS = max(_LAYOUTS)
_SOUND_CODECS = {16: ("flac", "s16", np.int16), 24: ("flac", "s32", np.int32)}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a coded frame stands in the file, and the CRC-32 of its coded data.

    The coder only logs a slice whose own checksum fails and goes on, so this one decides.
    """

    offset: int
    size: int
    check: int


@dataclass(frozen=True, slots=True)
class SoundForm:
    """How sound is stored: ``bits`` 16 or 24 as FLAC, 32 as float PCM."""

    rate: int
    channels: int
    bits: int

    @property
    def codec(self) -> str:
        """Name of the codec, for the event's description."""
        return "flac" if self.bits in _SOUND_CODECS else "pcm_f32le"


def pixel_format(source: SourceInfo, *, wide: bool = False) -> str:
    """Stored pixel format for a source; ``wide`` for codes above what ``white`` promises."""
    if source.channels == 3:
        return "bgr0" if source.bits <= 8 else "gbrp16le"
    if source.bits <= 8:
        return "gray"
    return "gray12le" if source.white <= 4095 and not wide else "gray16le"


def nominal_rate(rate_hz: float | None) -> Fraction | None:
    """A container's frame rate, such as 30000/1001 for 29.97; None where it is not known."""
    return None if not rate_hz else Fraction(rate_hz).limit_denominator(1001) or None


def _planes(frame: av.VideoFrame, kind: type[np.generic]) -> list[NDArray[Any]]:
    height = frame.height
    return [np.frombuffer(memoryview(plane), kind).reshape(height, -1) for plane in frame.planes]


def to_video(pixels: Pixels, form: str) -> av.VideoFrame:
    """A frame for the coder that holds ``pixels`` unchanged."""
    import av

    height, width = pixels.shape[:2]
    frame = av.VideoFrame(width, height, form)
    if form == "bgr0":
        plane = _planes(frame, np.uint8)[0][:, : width * 4].reshape(height, width, 4)
        plane[..., :3] = pixels
        plane[..., 3] = 0
    elif form == "gbrp16le":
        for plane, channel in zip(_planes(frame, np.uint16), (1, 0, 2), strict=True):
            plane[:, :width] = pixels[..., channel]
    else:
        kind = np.uint8 if form == "gray" else np.uint16
        _planes(frame, kind)[0][:, :width] = pixels
    return frame


def from_video(frame: av.VideoFrame) -> Pixels:
    """Back from :func:`to_video`, a copy."""
    form, height, width = frame.format.name, frame.height, frame.width
    if form == "bgr0":
        plane = _planes(frame, np.uint8)[0][:, : width * 4].reshape(height, width, 4)
        return np.ascontiguousarray(plane[..., :3])
    if form == "gbrp16le":
        green, blue, red = (plane[:, :width] for plane in _planes(frame, np.uint16))
        return np.stack((blue, green, red), axis=-1)
    if form in ("gray", "gray10le", "gray12le", "gray16le"):
        kind = np.uint8 if form == "gray" else np.uint16
        return np.array(_planes(frame, kind)[0][:, :width])
    raise InputUnreadable(f"pictures of an unexpected form '{form}'", "frames.mkv")


class EventFile:
    """Writes ``frames.mkv``; frames and sound go in by time, nearly in order.

    Raises OutputFailed for faults of the coder; OSError passes through. The same frames and sound
    give the same bytes when ``title`` is given, else the file gets random marks of its own and the
    folder's name as its title. ``rate_hz`` is the file's nominal rate, by which other programs
    play and convert it; the frames' own times hold.
    """

    def __init__(
        self,
        path: Path,
        source: SourceInfo,
        form: str | None,
        sound: SoundForm | None,
        *,
        rate_hz: float | None,
        title: str | None = None,
    ) -> None:
        import av

        self._path = path
        self._form = form
        self._sound_form = sound
        self._last_us = -1
        same_bytes = {} if title is None else {"fflags": "bitexact"}
        self._file = av.open(str(path), "w", format="matroska", options=same_bytes)
        self._file.metadata["title"] = path.parent.name if title is None else title
        self._video = None if form is None else self._video_stream(source, form, rate_hz)
        self._audio = None if sound is None else self._sound_stream(sound)
        self._audio_time = Fraction(1, sound.rate) if sound else MICROSECOND

    def _video_stream(self, source: SourceInfo, form: str, rate_hz: float | None) -> av.VideoStream:
        slices = str(SLICES) if min(source.width, source.height) >= 64 else "1"
        options = {"level": "3", "slicecrc": "1", "slices": slices, "g": "1", "context": "0"}
        options["coder"] = "rice" if source.bits <= 8 else "range_def"
        stream = self._file.add_stream("ffv1", rate=nominal_rate(rate_hz), options=options)
        stream.width, stream.height, stream.pix_fmt = source.width, source.height, form
        stream.codec_context.time_base = MICROSECOND
        return _in_slices(stream, ASIDE_THREADS)

    def _sound_stream(self, sound: SoundForm) -> Any:
        stream: Any = self._file.add_stream(sound.codec, rate=sound.rate)
        stream.layout = _LAYOUTS[sound.channels]
        stream.format = _SOUND_CODECS[sound.bits][1] if sound.bits in _SOUND_CODECS else "flt"
        stream.codec_context.time_base = Fraction(1, sound.rate)
        return stream

    def add_frame(self, pixels: Pixels, time_us: int) -> None:
        """Code one frame; times that do not grow are nudged by a microsecond."""
        assert self._video is not None and self._form is not None
        self._last_us = max(time_us, self._last_us + 1)
        frame = to_video(pixels, self._form)
        frame.pts, frame.time_base = self._last_us, MICROSECOND
        self._mux(self._video, frame)

    def add_sound(self, samples: NDArray[np.float32], at_sample: int) -> None:
        """Code a run of sound that starts ``at_sample`` samples after time 0 of the file."""
        import av

        assert self._audio is not None and self._sound_form is not None
        if not len(samples):
            return
        form = self._sound_form
        codes = to_codes(samples, form.bits)
        name = _SOUND_CODECS[form.bits][1] if form.bits in _SOUND_CODECS else "flt"
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(codes).reshape(1, -1), name, _LAYOUTS[form.channels]
        )
        frame.sample_rate = form.rate
        frame.pts, frame.time_base = at_sample, self._audio_time
        self._mux(self._audio, frame)

    def _mux(self, stream: Any, frame: Any) -> None:
        import av

        try:
            for packet in stream.encode(frame):
                self._file.mux(packet)
        except av.error.FFmpegError as error:
            if isinstance(error, OSError) and error.errno:
                raise OSError(error.errno, error.strerror, str(self._path)) from error
            raise OutputFailed(f"the coder failed ({error})", str(self._path)) from error

    def finish(self) -> None:
        """Flush the coders and close the file."""
        for stream in (self._video, self._audio):
            if stream is not None:
                self._mux(stream, None)
        self.close()

    def close(self) -> None:
        """Close, finished or not."""
        self._file.close()


def to_codes(samples: NDArray[np.float32], bits: int) -> NDArray[Any]:
    """Float samples as the stored type."""
    if bits == 16:
        return np.asarray(np.rint(samples * 32768.0).astype(np.int16))
    if bits == 24:
        return np.asarray(np.rint(samples.astype(np.float64) * 8388608.0).astype(np.int32) << 8)
    return samples


def from_codes(codes: NDArray[Any]) -> NDArray[np.float32]:
    """Back from :func:`to_codes`, by the array's type."""
    if codes.dtype == np.int16:
        return np.asarray(codes.astype(np.float32) / np.float32(32768.0))
    if codes.dtype == np.int32:
        return (codes / 2147483648.0).astype(np.float32)
    return codes.astype(np.float32, copy=False)


def exact_bits(blocks: Iterable[NDArray[np.float32]]) -> int:
    """The narrowest of 16, 24 (whole numbers) and 32 (float) that keeps all samples exactly."""
    bits = 16
    for samples in blocks:
        while bits < 32 and not _fits(samples, bits):
            bits += 8
    return bits


def _fits(samples: NDArray[np.float32], bits: int) -> bool:
    scaled = samples.astype(np.float64) * 2.0 ** (bits - 1)
    top = 2.0 ** (bits - 1)
    return bool(
        np.all(np.isfinite(scaled))
        and np.all(scaled == np.rint(scaled))
        and np.all((scaled >= -top) & (scaled < top))
        and not np.any(np.signbit(samples) & (samples == 0))
    )


def _open(path: Path) -> Any:
    import av

    try:
        return av.open(str(path), "r", format="matroska")
    except (OSError, av.error.FFmpegError) as error:
        raise InputUnreadable("cannot read the recording", str(path)) from error


def _in_slices(stream: av.VideoStream, threads: int) -> av.VideoStream:
    """Let threads share each frame: threads that take a frame each would hand it out late."""
    stream.codec_context.thread_type = "SLICE"
    stream.codec_context.thread_count = threads
    return stream


def read_frames(path: Path) -> Iterator[tuple[Pixels, Place]]:
    """Every frame in order with its place in the file.

    Raises
    ------
    InputUnreadable
        A frame cannot be decoded.
    """
    with _open(path) as file, path.open("rb") as raw:
        stream = _in_slices(file.streams.video[0], ASIDE_THREADS)
        for packet in file.demux(stream):
            if packet.size == 0:
                continue
            for frame in _decoded(stream.codec_context, packet, str(path)):
                yield from_video(frame), _place(packet, raw)


def _place(packet: Any, raw: Any) -> Place:
    data = bytes(packet)
    offset = (packet.pos or 0) + _BLOCK_HEADER
    raw.seek(offset)
    return Place(offset if raw.read(len(data)) == data else -1, len(data), zlib.crc32(data))


def _decoded(coder: Any, packet: Any, where: str) -> list[Any]:
    import av

    try:
        return list(coder.decode(packet))
    except av.error.FFmpegError as error:
        raise InputUnreadable(f"a frame is damaged ({error.strerror})", where) from error


def read_sound(path: Path) -> Iterator[NDArray[np.float32]]:
    """The sound track in runs of (samples, channels); nothing without one.

    Raises
    ------
    InputUnreadable
        The track is damaged.
    """
    import av

    with _open(path) as file:
        if not file.streams.audio:
            return
        stream = file.streams.audio[0]
        channels = stream.codec_context.layout.nb_channels
        try:
            for frame in file.decode(stream):
                yield from_codes(frame.to_ndarray().reshape(-1, channels))
        except av.error.FFmpegError as error:
            raise InputUnreadable("the sound track is damaged", str(path)) from error


class RandomFrames:
    """Any frame of a ``frames.mkv`` at once.

    Parameters
    ----------
    path : Path
        The file.
    places : list of Place or None
        From ``times.csv``; without them the file is walked once to find them.
    """

    def __init__(self, path: Path, places: list[Place] | None) -> None:
        self._path = path
        try:
            self._raw = path.open("rb")
        except OSError as error:
            raise InputUnreadable(error.strerror or "cannot be opened", str(path)) from error
        try:
            # The file that was opened, which somebody may be moving into the bin just now.
            self._bytes = os.fstat(self._raw.fileno()).st_size
            self._file = _open(path)
        except BaseException:
            self._raw.close()
            raise
        try:
            if not self._file.streams.video:
                raise InputUnreadable("holds no pictures", str(path))
            threads = min(SLICES, os.cpu_count() or 1)
            self._coder = _in_slices(self._file.streams.video[0], threads).codec_context
            self.places = places if places is not None else list(self._walk())
        except BaseException:
            self.close()
            raise

    def _walk(self) -> Iterator[Place]:
        import av

        try:
            for packet in self._file.demux(self._file.streams.video[0]):
                if packet.size:
                    yield _place(packet, self._raw)
        except av.error.FFmpegError:
            return

    def __len__(self) -> int:
        return len(self.places)

    def pixels(self, index: int) -> Pixels:
        """Pixels of frame ``index``.

        Raises
        ------
        InputUnreadable
            The frame is damaged.
        """
        import av

        place = self.places[index]
        if place.size < 0 or not 0 <= place.offset <= self._bytes - place.size:
            raise InputUnreadable("a frame is missing", f"{self._path}, frame {index}")
        self._raw.seek(place.offset)
        data = self._raw.read(place.size)
        if zlib.crc32(data) != place.check:
            raise InputUnreadable("a frame is damaged", f"{self._path}, frame {index}")
        frames = _decoded(self._coder, av.Packet(data), f"{self._path}, frame {index}")
        if len(frames) != 1:
            raise InputUnreadable("a frame is missing", f"{self._path}, frame {index}")
        return from_video(frames[0])

    def close(self) -> None:
        """Close the file; harmless when called twice."""
        self._raw.close()
        self._file.close()
