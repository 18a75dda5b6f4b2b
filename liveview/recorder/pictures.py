"""PNG files by the video library's own coder: 8 and 16 bit grey, 8 bit colour.

Calibration pictures are light, not codes: a PNG's 0..65535 stands linearly for light 0 ..
``full_scale`` (1.0, the camera's top code, unless the picture is brighter).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.model import Light, Pixels
from liveview.recorder.files import write_whole

if TYPE_CHECKING:
    import av  # in functions too: the window opens without it

TOP = 65535
_FORMATS = {("uint8", 2): "gray", ("uint16", 2): "gray16be", ("uint8", 3): "rgb24"}


def encode_png(pixels: Pixels) -> bytes:
    """PNG of grey (rows, columns) uint8 or uint16, or BGR (rows, columns, 3) uint8."""
    import av

    height, width = pixels.shape[:2]
    name = _FORMATS[str(pixels.dtype), pixels.ndim]
    coder = av.CodecContext.create("png", "w")
    coder.width, coder.height, coder.pix_fmt = width, height, name
    frame = av.VideoFrame(width, height, name)
    ordered = (
        pixels[..., ::-1] if pixels.ndim == 3 else pixels.astype(pixels.dtype.newbyteorder(">"))
    )
    raw = np.ascontiguousarray(ordered).view(np.uint8).reshape(height, -1)
    plane = np.frombuffer(memoryview(frame.planes[0]), np.uint8).reshape(height, -1)
    plane[:, : raw.shape[1]] = raw
    frame.pts = 0
    return b"".join(bytes(packet) for packet in (*coder.encode(frame), *coder.encode(None)))


def write_png(path: Path, pixels: Pixels) -> None:
    """Write a PNG whole, see :func:`encode_png`."""
    write_whole(path, encode_png(pixels))


def read_png(path: Path) -> NDArray[Any]:
    """A grey PNG as uint8 or uint16 (rows, columns).

    Raises
    ------
    InputUnreadable
        Missing, damaged, or not grey.
    """
    import av

    try:
        coder = av.CodecContext.create("png", "r")
        frames = coder.decode(av.Packet(path.read_bytes()))
    except (OSError, av.error.FFmpegError) as error:
        raise InputUnreadable("cannot read this picture", str(path)) from error
    if len(frames) != 1 or frames[0].format.name not in ("gray", "gray16be"):
        raise InputUnreadable("is not a single grey picture", str(path))
    return _grey(frames[0])


def _grey(frame: av.VideoFrame) -> NDArray[Any]:
    kind = np.dtype(">u2" if frame.format.name == "gray16be" else "u1")
    plane = np.frombuffer(memoryview(frame.planes[0]), np.uint8).reshape(frame.height, -1)
    rows = np.ascontiguousarray(plane[:, : frame.width * kind.itemsize])
    return rows.view(kind).astype(kind.newbyteorder("="))


def light_to_codes(light: Light) -> tuple[NDArray[np.uint16], float]:
    """16 bit codes of a light picture, and the light that the top code stands for."""
    clean = np.nan_to_num(light, nan=0.0, posinf=0.0, neginf=0.0)
    full_scale = max(1.0, float(clean.max(initial=0.0)))
    scaled = np.clip(clean.astype(np.float64) / full_scale, 0.0, 1.0)
    return np.rint(scaled * TOP).astype(np.uint16), full_scale


def codes_to_light(codes: NDArray[Any], full_scale: float) -> Light:
    """Back from :func:`light_to_codes`; off by half a code at most."""
    return (codes.astype(np.float64) * (full_scale / TOP)).astype(np.float32)


def poster(pixels: Pixels, white: int, widest: int = 640) -> NDArray[np.uint8]:
    """A small 8 bit picture of a frame: whole blocks of pixels averaged, codes as they are."""
    across = max(1, -(-pixels.shape[1] // widest))
    down = min(across, pixels.shape[0])
    rows, columns = pixels.shape[0] // down, pixels.shape[1] // across
    cut = pixels[: rows * down, : columns * across]
    blocks = cut.reshape(rows, down, columns, across, -1).mean(axis=(1, 3))
    small = blocks.reshape(rows, columns, *pixels.shape[2:]) * (255.0 / white)
    codes: NDArray[np.uint8] = np.clip(np.rint(small), 0, 255).astype(np.uint8)
    return codes
