"""Sound from a file: a sound file, or the sound track of a recording."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable, SoundUnavailable
from liveview.model import SoundBlock, SoundInfo
from liveview.sources.container import file_url, open_container, origin_s
from liveview.sources.limits import checked_file

if TYPE_CHECKING:
    from av.container import InputContainer

BLOCK = 1024
"""Samples a block."""

MAX_CHANNELS = 64
_JUMP_S = 0.005
"""Times of a track are rounded to its file's ticks; only a larger step is a hole."""

_REMEDY = "give a WAV, FLAC, OGG or MP3 file, or a recording with a sound track"


class SoundFileSource:
    """Samples of a sound file in order, as fast as asked; the first is at 0 s.

    Parameters
    ----------
    path : Path
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: Any = None
        self._at = 0

    def open(self) -> SoundInfo:
        """Open the file.

        Raises
        ------
        SoundUnavailable
            Missing, empty, damaged, not a sound file, or the sound library is missing.
        """
        _checked(self._path)
        try:
            import soundfile
        except OSError as error:
            raise SoundUnavailable(
                "the library that reads sound files is missing", "libsndfile", "install libsndfile1"
            ) from error
        try:
            self._file = soundfile.SoundFile(self._path)
        except (soundfile.LibsndfileError, RuntimeError, TypeError) as error:
            raise SoundUnavailable(
                "is not a sound file that can be read", str(self._path), _REMEDY
            ) from error
        rate, channels = self._file.samplerate, self._file.channels
        _check(rate, channels, str(self._path))
        return SoundInfo(self._path.name, float(rate), channels, live=False)

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block; None at the end, or where the file breaks off."""
        import soundfile

        try:
            samples = self._file.read(BLOCK, dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError):
            return None
        if not len(samples):
            return None
        rate = float(self._file.samplerate)
        block = SoundBlock(samples, rate, self._at / rate, 0.5 / rate)
        self._at += len(samples)
        return block

    def close(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
            self._file = None


class SoundTrackSource:
    """The sound track of a recording, in the same time as its pictures.

    Parameters
    ----------
    path : Path
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._container: InputContainer | None = None
        self._runs: Iterator[tuple[Fraction | None, NDArray[np.float32]]] = iter(())
        self._rate = 0
        self._start_s: float | None = None
        self._samples = 0

    def open(self) -> SoundInfo:
        """Open the recording.

        Raises
        ------
        SoundUnavailable
            Missing, empty, damaged, or without a sound track.
        """
        where = str(self._path)
        _checked(self._path)
        try:
            self._container = open_container(file_url(self._path))
        except InputUnreadable as error:
            raise SoundUnavailable(error.what, where, _REMEDY) from error
        if not self._container.streams.audio:
            raise SoundUnavailable("has no sound track", where, "give one with --sound")
        stream = self._container.streams.audio[0]
        if stream.codec_context is None:
            raise SoundUnavailable("its sound is coded in an unknown way", where, _REMEDY)
        self._rate, channels = stream.codec_context.sample_rate, stream.codec_context.channels
        _check(self._rate, channels, where)
        self._origin = origin_s(self._container)
        self._runs = self._decoded(self._container, stream, channels)
        return SoundInfo(self._path.name, float(self._rate), channels, live=False)

    def read(self, timeout_s: float) -> SoundBlock | None:
        """The next block; None at the end, or where the track breaks off."""
        run = next(self._runs, None)
        if run is None:
            return None
        said, samples = run
        rate = float(self._rate)
        lost = 0
        if self._start_s is None:
            self._start_s = 0.0 if said is None else float(said - self._origin)
        elif said is not None:
            hole_s = float(said - self._origin) - (self._start_s + self._samples / rate)
            if hole_s > _JUMP_S:
                lost = round(hole_s * rate)
                self._samples += lost
        start_s = self._start_s + self._samples / rate
        self._samples += len(samples)
        return SoundBlock(samples, rate, start_s, 0.001, lost)

    def close(self) -> None:
        """Close the recording."""
        self._runs = iter(())
        if self._container is not None:
            self._container.close()
            self._container = None

    def _decoded(
        self, container: InputContainer, stream: Any, channels: int
    ) -> Iterator[tuple[Fraction | None, NDArray[np.float32]]]:
        """Runs of samples with their time; damaged packets become holes in it."""
        import av

        resampler = av.AudioResampler(format="flt", layout=None, rate=None)
        try:
            for packet in container.demux(stream):
                try:
                    frames = packet.decode()
                except av.error.FFmpegError:
                    continue
                for frame in frames:
                    said = None if frame.pts is None else frame.pts * Fraction(frame.time_base)
                    for plain in resampler.resample(frame):
                        samples = plain.to_ndarray().reshape(-1, channels)
                        yield said, np.ascontiguousarray(samples, np.float32)
        except (av.error.FFmpegError, OSError):
            return


def _checked(path: Path) -> None:
    try:
        checked_file(path)
    except InputUnreadable as error:
        raise SoundUnavailable(error.what, error.where, error.remedy) from error


def _check(rate: int, channels: int, where: str) -> None:
    if not (1000 <= rate <= 1_000_000 and 1 <= channels <= MAX_CHANNELS):
        raise SoundUnavailable(
            f"says it has {channels} channels at {rate} Hz, which cannot be used", where, _REMEDY
        )
