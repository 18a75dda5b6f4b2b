"""Palettes: tables of 256 colours for codes 0 to 255.

Code 128 is zero contrast, 1 and 255 are the ends, and code 0 is kept for "no value" (outside
the disc): black. ``signed`` runs from blue over near-black to orange in equal perceived steps
and is told apart with every common kind of colour blindness. It was computed with a colour
library (``tests/published/make_palettes.py``) and is shipped as a table.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest
from liveview.imaging.cv import cv2
from liveview.model import Bytes, Light
from liveview.shipped import shipped_folder

ZERO = 128
REACH = 127
"""Codes from zero contrast to either end."""


@lru_cache(maxsize=8)
def palette(name: str) -> Bytes:
    """The table called ``name``: uint8 (256, 4), blue green red 255.

    Raises
    ------
    BadRequest
        There is no such palette; the message lists those there are.
    """
    if name == "grey":
        table = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
        return _with_alpha(table)
    folder = shipped_folder("assets") / "palettes"
    path = folder / f"{name}.csv"
    if not path.is_file():
        known = ", ".join(["grey", *sorted(p.stem for p in folder.glob("*.csv"))])
        raise BadRequest(f"no palette '{name}'", "palette", f"choose one of: {known}")
    red_green_blue = np.loadtxt(path, delimiter=",", skiprows=1, dtype=np.uint8)
    return _with_alpha(red_green_blue[:, ::-1])


def _with_alpha(table: Bytes) -> Bytes:
    full = np.full((256, 4), 255, np.uint8)
    full[:, :3] = table
    full.setflags(write=False)
    return full


def codes_into(
    values: Light, scale: float, inside: Bytes, out: Bytes, gain: float = 1.0, offset: float = 0.0
) -> None:
    """Codes of ``C = values/gain + offset``: 128 + 127 C/scale cut at 1 and 255; outside 0."""
    steep = REACH / scale
    shift = ZERO + offset * steep
    cv2.addWeighted(values, steep / gain, values, 0.0, shift, out, dtype=cv2.CV_8U)
    cv2.max(out, _ones(out.shape), out)
    cv2.bitwise_and(out, inside, out)


@lru_cache(maxsize=4)
def _ones(shape: tuple[int, ...]) -> Bytes:
    return np.ones(shape, np.uint8)


def paint(codes: Bytes, name: str, out: Bytes) -> None:
    """Colours of ``codes`` (rows, columns) into ``out`` (rows, columns, 4), uint8."""
    if name == "grey":
        cv2.cvtColor(codes, cv2.COLOR_GRAY2BGRA, out)
        return
    cv2.LUT(codes, _as_words(name), out.view(np.int32)[:, :, 0])


@lru_cache(maxsize=8)
def _as_words(name: str) -> NDArray[np.int32]:
    return np.ascontiguousarray(palette(name)).view(np.int32).reshape(1, 256)
