"""Real recordings for tests, made with the same libraries a user's tools are built on."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import Interpolation
from numpy.typing import NDArray

from liveview.model import FrameSource, FrameStamp, SoundBlock, SoundSource, SourceInfo

MICROSECOND = Fraction(1, 1_000_000)
FFV1 = {"level": "3", "slicecrc": "1", "slices": "4", "g": "1"}


def noise(shape: tuple[int, ...], count: int, top: int = 255, seed: int = 1) -> list[NDArray[Any]]:
    """Pictures of random codes 0..top: nothing a coder could guess."""
    rng = np.random.default_rng(seed)
    kind = np.uint8 if top <= 255 else np.uint16
    return [rng.integers(0, top, shape, kind, endpoint=True) for _ in range(count)]


def smooth(height: int, width: int, count: int) -> list[NDArray[np.uint8]]:
    """Colour pictures a lossy coder keeps well: a bright disc that grows dimmer."""
    y, x = np.mgrid[:height, :width]
    disc = ((x - width / 2) ** 2 + (y - height / 2) ** 2) < (0.4 * height) ** 2
    levels = np.linspace(200, 100, count)
    return [np.stack([np.where(disc, level, 20)] * 3, axis=-1).astype(np.uint8) for level in levels]


def write_video(
    path: Path,
    pictures: Sequence[NDArray[Any]],
    *,
    form: str = "gray",
    codec: str = "ffv1",
    times_us: Sequence[int] | None = None,
    rate_hz: int = 30,
    options: dict[str, str] | None = None,
    turned_degrees: float | None = None,
    sound: NDArray[np.float32] | None = None,
    sound_codec: str = "flac",
    sound_rate: int = 48000,
) -> Path:
    """Write pictures (and mono sound) to a file; the format follows from its ending."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream(codec, rate=rate_hz, options=options or {})
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = form
        if turned_degrees is not None:
            stream.set_display_rotation(turned_degrees)
        if times_us is not None:
            stream.codec_context.time_base = MICROSECOND
        track = None
        if sound is not None:
            track = file.add_stream(sound_codec, rate=sound_rate)
            track.layout = "mono"
        for index, picture in enumerate(pictures):
            frame = to_frame(picture, form)
            if times_us is not None:
                frame.pts, frame.time_base = times_us[index], MICROSECOND
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
        if track is not None and sound is not None:
            codes = np.rint(np.clip(sound, -1, 1) * 32767).astype(np.int16).reshape(1, -1)
            run = av.AudioFrame.from_ndarray(codes, "s16", "mono")
            run.sample_rate, run.pts, run.time_base = sound_rate, 0, Fraction(1, sound_rate)
            file.mux(track.encode(run))
            file.mux(track.encode(None))
    return path


def to_frame(picture: NDArray[Any], form: str) -> av.VideoFrame:
    """A picture as a frame of a pixel format, without loss where the format can hold it."""
    if form == "bgr0":
        plain = av.VideoFrame(picture.shape[1], picture.shape[0], "bgr0")
        plane = plain.planes[0]
        rows = np.frombuffer(plane, np.uint8).reshape(picture.shape[0], plane.line_size)
        wide = rows[:, : 4 * picture.shape[1]].reshape(*picture.shape[:2], 4)
        wide[..., :3], wide[..., 3] = picture, 0
        return plain
    if form == "gbrp16le":  # handed over as red, green, blue
        return av.VideoFrame.from_ndarray(np.ascontiguousarray(picture[..., ::-1]), form)
    if picture.ndim == 2:
        native = form if form.startswith("gray") else "gray"
        frame = av.VideoFrame.from_ndarray(picture, native)
    else:
        frame = av.VideoFrame.from_ndarray(picture, "bgr24")
    if frame.format.name == form:
        return frame
    exact = Interpolation.BILINEAR | Interpolation.ACCURATE_RND
    return frame.reformat(format=form, interpolation=exact)


def read_all(
    source: FrameSource,
) -> tuple[SourceInfo, list[FrameStamp], list[NDArray[Any]]]:
    """Open, read to the end, close."""
    try:
        info = source.open()
        stamps, pictures = [], []
        out = np.empty(info.shape, info.dtype)
        while (stamp := source.grab()) is not None:
            source.read_into(out)
            stamps.append(stamp)
            pictures.append(out.copy())
        return info, stamps, pictures
    finally:
        source.close()


def hear_all(source: SoundSource) -> list[SoundBlock]:
    """Open, read to the end, close."""
    try:
        source.open()
        blocks = []
        while (block := source.read(1.0)) is not None:
            blocks.append(block)
        return blocks
    finally:
        source.close()
