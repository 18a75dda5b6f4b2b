"""Still pictures and contact sheets of an event."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest
from liveview.model import Bytes
from liveview.recorder.pictures import encode_png
from liveview.review.enhance import Enhancer
from liveview.review.export.common import Studio
from liveview.review.export.job import Job, whole_file
from liveview.review.export.look import Look, text_width, write_text
from liveview.review.export.metadata import as_text, export_metadata, png_with_text

Still = Literal["as seen", "contrast", "raw"]

PAPER = 16
"""Grey of a contact sheet between its frames."""
GREY_ZERO = 32768
"""Code of zero contrast in a 16 bit contrast still; 1 and 65535 are the ends, 0 no value."""


def needs_ending(path: Path, endings: tuple[str, ...], what: str) -> None:
    """Refuse a name with another ending.

    Raises
    ------
    BadRequest
        Names those that can be written.
    """
    if path.suffix.lower() not in endings:
        raise BadRequest(
            f"{what} cannot be written as '{path.suffix or path.name}'",
            str(path),
            f"use {', '.join(endings)}",
        )


def contrast_codes(contrast: NDArray[np.float32], end: float) -> NDArray[np.uint16]:
    """Contrast -end .. end as 16 bit codes 1 .. 65535 about 32768; 0 where there is none."""
    known = np.isfinite(contrast)
    scaled = np.rint(np.where(known, contrast, 0) / end * (GREY_ZERO - 1)) + GREY_ZERO
    codes = np.clip(scaled, 1, 65535)
    return np.where(known, codes, 0).astype(np.uint16)


def export_still(
    enhancer: Enhancer,
    path: Path,
    index: int,
    *,
    kind: Still = "as seen",
    look: Look | None = None,
    overwrite: bool = False,
) -> None:
    """Write one frame as PNG: as seen (8 bit, with writing), contrast (16 bit) or raw codes.

    Raises
    ------
    BadRequest
        No such frame, another ending than .png, or an existing file.
    OutputFailed, InputUnreadable
        Nothing is left behind.
    """
    needs_ending(path, (".png",), "a still")
    if not 0 <= index < len(enhancer.event):
        raise BadRequest(
            f"there is no frame {index}", "still", f"the event has {len(enhancer.event)}"
        )
    pixels: NDArray[np.uint8] | NDArray[np.uint16]
    if kind == "as seen":
        pixels = Studio(enhancer, look or Look()).picture(index)
    elif kind == "contrast":
        pixels = contrast_codes(enhancer.contrast(index), enhancer.scale)
    else:
        pixels = enhancer.event.frame(index).pixels
        if pixels.ndim == 3 and pixels.dtype != np.uint8:
            raise BadRequest(
                "16 bit colour stills are not written", "still", "use the contrast or as seen"
            )
    about = export_metadata(enhancer, "still", (index, index), kind=kind, contrast_zero=GREY_ZERO)
    with whole_file(path, overwrite=overwrite) as part:
        part.write_bytes(png_with_text(encode_png(pixels), as_text(about)))


def sheet_indices(event_length: int, spark: int, count: int, every: int) -> list[int]:
    """Frames of a contact sheet: a third before the spark, the rest from it on."""
    count = min(count, max(1, math.ceil(event_length / every)))
    first = spark - (count // 3) * every
    first = max(spark % every if spark < event_length else 0, first)
    while first + (count - 1) * every >= event_length and first - every >= 0:
        first -= every
    return [first + n * every for n in range(count) if first + n * every < event_length]


def export_sheet(
    enhancer: Enhancer,
    path: Path,
    *,
    count: int = 12,
    every: int = 1,
    look: Look | None = None,
    job: Job | None = None,
    overwrite: bool = False,
) -> None:
    """Write a contact sheet around the spark as PNG, each frame with its time.

    Parameters
    ----------
    count : int
        Frames, at most 100.
    every : int
        Each so many-th frame.

    Raises
    ------
    BadRequest, OutputFailed, Cancelled, InputUnreadable
        As for :func:`export_still`.
    """
    needs_ending(path, (".png",), "a contact sheet")
    if not 1 <= count <= 100 or every < 1:
        raise BadRequest("a sheet has 1 to 100 frames, each 1st or later", "sheet")
    look, job = look or Look(width=480), job or Job()
    event = enhancer.event
    indices = sheet_indices(len(event), event.spark_index, count, every)
    job.total = len(indices)
    sheet = _with_caption(_grid(enhancer, look, indices, job), look.caption)
    about = export_metadata(enhancer, "sheet", (indices[0], indices[-1]), indices=indices)
    with whole_file(path, overwrite=overwrite) as part:
        part.write_bytes(png_with_text(encode_png(sheet), as_text(about)))


def _grid(enhancer: Enhancer, look: Look, indices: list[int], job: Job) -> Bytes:
    """The frames in rows; legend and scale bar in the first only."""
    first = Studio(enhancer, replace(look, caption=""))
    others = Studio(enhancer, replace(look, caption="", legend=False, scale_bar=False))
    canvas = first.canvas
    across = max(1, math.ceil(math.sqrt(len(indices))))
    down = math.ceil(len(indices) / across)
    gap = max(2, canvas.width // 60)
    high, wide = canvas.height + gap, canvas.width + gap
    sheet = np.full((down * high + gap, across * wide + gap, 3), PAPER, np.uint8)
    for number, index in enumerate(indices):
        row, column = divmod(number, across)
        top, left = gap + row * high, gap + column * wide
        studio = others if number else first
        sheet[top : top + canvas.height, left : left + canvas.width] = studio.picture(index)
        job.step()
    return sheet


def _with_caption(sheet: Bytes, caption: str) -> Bytes:
    if not caption:
        return sheet
    size = max(14, sheet.shape[1] // 60)
    strip = np.full((2 * size, sheet.shape[1], 3), PAPER, np.uint8)
    write_text(
        strip, caption, max(4, (strip.shape[1] - text_width(caption, size)) // 2), size, size
    )
    return np.concatenate((sheet, strip))
