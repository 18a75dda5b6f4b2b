"""PNG files: 8 and 16 bit grey, 8 bit colour.

Calibration pictures are light, not codes: a PNG's 0..65535 stands linearly for light 0 ..
``full_scale`` (1.0, the camera's top code, unless the picture is brighter).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.errors import InputUnreadable
from liveview.imaging.cv import cv2
from liveview.model import Light, Pixels
from liveview.recorder.files import write_whole

TOP = 65535


def encode_png(pixels: Pixels) -> bytes:
    """PNG of grey (rows, columns) uint8 or uint16, or BGR (rows, columns, 3) uint8."""
    _, data = cv2.imencode(".png", pixels)
    return data.tobytes()


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
    try:
        data = np.frombuffer(path.read_bytes(), np.uint8)
    except OSError as error:
        raise InputUnreadable("cannot read this picture", str(path)) from error
    pixels: NDArray[Any] | None = cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if data.size else None
    if pixels is None:
        raise InputUnreadable("cannot read this picture", str(path))
    if pixels.ndim != 2:
        raise InputUnreadable("is not a single grey picture", str(path))
    return pixels


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
