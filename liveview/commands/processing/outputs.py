"""The files ``process`` writes while frames pass: frames.csv, contrast.npy, picture.mkv."""

from __future__ import annotations

import contextlib
import csv
import math
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.lib import format as npy

from liveview.errors import OutputFailed
from liveview.model import Bytes, Light, Reading

if TYPE_CHECKING:
    from av import VideoFrame

COLUMNS = (
    "frame",
    "time_s",
    "uncut",
    "cutoff_percent",
    "blade_travel_m",
    "tilt_across",
    "tilt_along",
    "axial_offset_m",
    "contrast_sigma",
    "clipped_dark",
    "clipped_bright",
    "lamp_gain",
    "shift_x_px",
    "shift_y_px",
)


@contextlib.contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn the system's refusals into OutputFailed."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputFailed(
            f"cannot be written ({reason})", str(path), "choose another folder or free some space"
        ) from error


def make_folder(folder: Path) -> None:
    """Make the output folder and prove that it can be written.

    Raises
    ------
    OutputFailed
        It is a file, or not allowed, or on a full disk.
    """
    probe = folder / ".liveview-probe"
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            probe.write_bytes(b"liveview")
        finally:
            probe.unlink(missing_ok=True)


def _cell(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else f"{value:.9g}"


def row_of(reading: Reading) -> list[str]:
    """One line of frames.csv; what is not known is empty."""
    blade, histogram = reading.blade, reading.histogram
    cutoff = None if blade.cutoff is None else 100.0 * blade.cutoff
    shift = reading.shift_px or (None, None)
    return [
        str(reading.stamp.number),
        f"{reading.stamp.time_s:.9f}",
        _cell(blade.uncut),
        _cell(cutoff),
        _cell(blade.travel_m),
        _cell(blade.tilt_across),
        _cell(blade.tilt_along),
        _cell(blade.axial_offset_m),
        _cell(reading.noise.contrast_sigma),
        _cell(None if histogram is None else histogram.clipped_dark),
        _cell(None if histogram is None else histogram.clipped_bright),
        _cell(reading.lamp_gain),
        _cell(shift[0]),
        _cell(shift[1]),
    ]


class FrameTable:
    """frames.csv, one line a frame, written as the frames pass."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with writing(path):
            self._file: IO[str] = path.open("w", encoding="utf-8", newline="")
            self._table = csv.writer(self._file, lineterminator="\n")
            self._table.writerow(COLUMNS)

    def add(self, reading: Reading) -> None:
        """Append a line."""
        with writing(self._path):
            self._table.writerow(row_of(reading))

    def close(self) -> None:
        """Flush and close."""
        with writing(self._path):
            self._file.close()


class ContrastStack:
    """contrast.npy, float32 (frames, height, width), grown frame by frame.

    NumPy reserves room in the header for a first axis that grows; the length is written at
    ``close``, so that the number of frames need not be known before.
    """

    def __init__(self, path: Path, shape: tuple[int, int]) -> None:
        self._path = path
        self._shape = shape
        self._frames = 0
        with writing(path):
            self._file: IO[bytes] = path.open("wb")
            self._write_header()
            self._start = self._file.tell()

    def _write_header(self) -> None:
        described = {
            "descr": npy.dtype_to_descr(np.dtype("<f4")),
            "fortran_order": False,
            "shape": (self._frames, *self._shape),
        }
        npy.write_array_header_1_0(self._file, described)

    def add(self, contrast: Light) -> None:
        """Append one frame."""
        with writing(self._path):
            self._file.write(np.ascontiguousarray(contrast, np.dtype("<f4")).data)
        self._frames += 1

    def close(self) -> None:
        """Write the length and close."""
        with writing(self._path), self._file:
            self._file.seek(0)
            self._write_header()
            if self._file.tell() != self._start:
                raise RuntimeError("the header of the array outgrew its room")


class PictureFile:
    """picture.mkv: the enhanced picture, lossless FFV1, with the frames' times in microseconds."""

    def __init__(self, path: Path, shape: tuple[int, int], rate_hz: float | None) -> None:
        import av

        from liveview.recorder.matroska import MICROSECOND, nominal_rate

        self._path = path
        self._first_s: float | None = None
        self._last_us = -1
        with writing(path):
            self._file = av.open(str(path), "w", format="matroska")
        slices = "4" if min(shape) >= 64 else "1"
        options = {"level": "3", "slicecrc": "1", "slices": slices, "coder": "rice", "context": "0"}
        self._stream = self._file.add_stream("ffv1", rate=nominal_rate(rate_hz), options=options)
        self._stream.height, self._stream.width = shape
        self._stream.pix_fmt = "bgr0"
        self._time_base = MICROSECOND
        self._stream.codec_context.time_base = MICROSECOND
        self._stream.codec_context.thread_type = "SLICE"
        self._stream.codec_context.thread_count = 2

    def add(self, picture: Bytes, time_s: float) -> None:
        """Append one picture, uint8 (rows, columns, 4)."""
        self._first_s = time_s if self._first_s is None else self._first_s
        self._last_us = max(round((time_s - self._first_s) * 1e6), self._last_us + 1)
        frame = _video_frame(picture)
        frame.pts, frame.time_base = self._last_us, self._time_base
        self._mux(frame)

    def _mux(self, frame: VideoFrame | None) -> None:
        with writing(self._path):
            for packet in self._stream.encode(frame):
                self._file.mux(packet)

    def close(self) -> None:
        """Flush and close."""
        if self._first_s is not None:
            self._mux(None)
        with writing(self._path):
            self._file.close()


def _video_frame(picture: Bytes) -> VideoFrame:
    from av import VideoFrame

    height, width = picture.shape[:2]
    frame = VideoFrame(width, height, "bgr0")
    buffer: Any = frame.planes[0]
    plane = np.frombuffer(buffer, np.uint8).reshape(height, -1)
    plane[:, : width * 4].reshape(height, width, 4)[:] = picture
    return frame
