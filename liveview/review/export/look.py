"""How an exported picture looks: size and shape, and what is written on it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from liveview.imaging.cv import cv2
from liveview.imaging.palettes import palette
from liveview.model import Bytes, Disc
from liveview.review.measure.geometry import Scale
from liveview.shipped import shipped_folder

Shape = Literal["as it is", "wide", "tall", "square"]
SHAPES: dict[Shape, float] = {"wide": 16 / 9, "tall": 9 / 16, "square": 1.0}
"""Width over height."""

INK = (255, 255, 255)
EDGE = (0, 0, 0)
MARGIN = 0.02
"""Of the canvas's smaller side."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the user chose.

    ``width`` is that of the whole picture, None for the frame's own. A shape other than "as it
    is" shows the part of the frame around the disc that fills it best; the rest is black.
    """

    shape: Shape = "as it is"
    width: int | None = None
    legend: bool = True
    scale_bar: bool = True
    time_stamp: bool = True
    caption: str = ""

    @property
    def plain(self) -> bool:
        """True when nothing is written on the picture."""
        return not (self.legend or self.scale_bar or self.time_stamp or self.caption)


@dataclass(frozen=True, slots=True)
class Crop:
    """The part of the frame that is shown, pixels of the frame."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Canvas:
    """Size of the whole picture, and where the shown part of the frame stands in it, pixels."""

    width: int
    height: int
    left: int
    top: int
    inner_width: int
    inner_height: int
    crop: Crop


ROOM = 1.06
"""Of the disc's diameter, shown at least."""


def crop_to(ratio: float, rows: int, columns: int, disc: Disc | None) -> Crop:
    """The part of a frame that fills a screen of ``ratio`` best and holds the whole disc.

    All of the frame where there is no disc.
    """
    if disc is None:
        return Crop(0, 0, columns, rows)
    need = math.ceil(2 * disc.radius * ROOM)
    width = min(columns, max(need, round(min(columns, rows * ratio))))
    height = min(rows, max(need, round(min(rows, width / ratio))))
    left = min(max(0, round(disc.cx + 0.5 - width / 2)), columns - width)
    top = min(max(0, round(disc.cy + 0.5 - height / 2)), rows - height)
    return Crop(left, top, width, height)


def make_canvas(
    look: Look, rows: int, columns: int, *, disc: Disc | None = None, even: bool = False
) -> Canvas:
    """Lay a frame of rows x columns out; ``even`` sizes for coders that need them.

    For a screen's shape the frame is cut around the disc so that the disc is as large as it can
    be, and what stays empty is black.
    """
    as_is = look.shape == "as it is"
    ratio = SHAPES.get(look.shape, columns / rows)
    crop = crop_to(ratio, rows, columns, None if as_is else disc)
    wide = crop.width / crop.height >= ratio
    natural = crop.width if wide else math.ceil(crop.height * ratio)
    width = look.width or natural
    height = max(1, round(width / ratio))
    if as_is and look.width is None:
        width, height = columns, rows
    if even:
        width, height = width + width % 2, height + height % 2
    fit = min(width / crop.width, height / crop.height)
    inner = [max(1, math.floor(size * fit + 1e-9)) for size in (crop.width, crop.height)]
    if look.width is None and fit < 1.1:
        inner = [min(crop.width, width), min(crop.height, height)]
    left, top = (width - inner[0]) // 2, (height - inner[1]) // 2
    return Canvas(width, height, left, top, inner[0], inner[1], crop)


@lru_cache(maxsize=1)
def _font() -> Any:
    """The shipped typeface; the library's own where it cannot be read."""
    path = shipped_folder("assets") / "fonts" / "Karla-Medium.otf"
    return cv2.FontFace(str(path) if path.is_file() else "sans")


def text_width(text: str, size: int) -> int:
    """Width of a line of text, pixels."""
    box = cv2.getTextSize((1, 1), text, (0, 0), _font(), size)
    return int(box[2])


def write_text(canvas: Bytes, text: str, x: int, y: int, size: int) -> None:
    """White text with a dark edge, its base line at ``y``."""
    left, top = x - 2, y - round(1.2 * size)
    right, bottom = x + text_width(text, size) + size // 4 + 2, y + round(0.4 * size)
    rows = slice(max(0, top), max(0, min(bottom, canvas.shape[0])))
    columns = slice(max(0, left), max(0, min(right, canvas.shape[1])))
    patch = canvas[rows, columns]
    if not patch.size:
        return
    ink = np.zeros(patch.shape[:2], np.uint8)
    cv2.putText(ink, text, (x - columns.start, y - rows.start), 255, _font(), size)
    edge = cv2.dilate(ink, np.ones((3, 3), np.uint8))
    darker = cv2.multiply(patch, cv2.merge([255 - edge] * 3), scale=1 / 255)
    cv2.add(darker, cv2.merge([ink] * 3), patch)


def nice_length(longest: float) -> float:
    """The largest of 1, 2, 5 x 10^n that is not longer."""
    power = 10.0 ** math.floor(math.log10(longest))
    return max(step * power for step in (1, 2, 5) if step * power <= longest * (1 + 1e-9))


def length_words(metres: float) -> str:
    """``"20 mm"``, ``"500 µm"``, ``"1 m"``."""
    for unit, size in (("m", 1.0), ("mm", 1e-3), ("µm", 1e-6)):
        if metres >= size * (1 - 1e-9):
            return f"{metres / size:g} {unit}"
    return f"{metres / 1e-9:g} nm"


def time_words(seconds: float) -> str:
    """Time since the spark, with a sign: ``"+1.25 ms"``."""
    size = abs(seconds)
    for unit, step, digits in (("s", 1.0, 3), ("ms", 1e-3, 2), ("µs", 1e-6, 1)):
        if size >= step or unit == "µs":
            return f"{seconds / step:+.{digits}f} {unit}".replace("-", "−")
    raise AssertionError


@dataclass(frozen=True, slots=True)
class Writing:
    """What is to be written, as far as it does not change from frame to frame."""

    look: Look
    canvas: Canvas
    palette: str
    """Name of the view's palette."""
    legend: str | None
    """What its end stands for; None for a view without a scale."""
    scale: Scale | None
    lines: tuple[str, ...] = ()
    """At the top right: the rate, the word for a simulated rig."""

    @property
    def size(self) -> int:
        """Height of the letters, pixels."""
        return max(11, round(min(self.canvas.width, self.canvas.height) / 32))


@dataclass(frozen=True, slots=True)
class _Patch:
    """A part of the canvas that is written on: where it is, the letters, which pixels are ink."""

    where: tuple[slice, slice]
    ink: Bytes
    mask: Bytes


class Composer:
    """Puts frames on the canvas and writes on them."""

    def __init__(self, writing: Writing) -> None:
        self._writing = writing
        self._patches: list[_Patch] = []
        if not writing.look.plain or writing.lines:
            self._patches = self._draw()

    def compose(self, picture: Bytes, since_spark_s: float | None = None) -> Bytes:
        """One finished picture, uint8 (height, width, 3) BGR, fresh.

        Parameters
        ----------
        picture : ndarray (rows, columns, 3 or 4)
            Blue, green, red.
        since_spark_s : float, optional
            For the time stamp.
        """
        canvas, crop = self._writing.canvas, self._writing.canvas.crop
        picture = picture[crop.top : crop.top + crop.height, crop.left : crop.left + crop.width]
        full = (canvas.inner_height, canvas.inner_width) == (canvas.height, canvas.width)
        out: Bytes = (np.empty if full else np.zeros)((canvas.height, canvas.width, 3), np.uint8)
        place = out[
            canvas.top : canvas.top + canvas.inner_height,
            canvas.left : canvas.left + canvas.inner_width,
        ]
        if picture.shape[:2] == place.shape[:2]:
            if picture.shape[2] == 4:
                cv2.cvtColor(np.ascontiguousarray(picture), cv2.COLOR_BGRA2BGR, place)
            else:
                place[...] = picture
        else:
            smaller = canvas.inner_width < picture.shape[1]
            way = cv2.INTER_AREA if smaller else cv2.INTER_CUBIC
            cv2.resize(np.ascontiguousarray(picture[..., :3]), place.shape[1::-1], place, 0, 0, way)
        for patch in self._patches:
            cv2.copyTo(patch.ink, patch.mask, out[patch.where])
        if self._writing.look.time_stamp and since_spark_s is not None:
            size = self._writing.size
            write_text(out, time_words(since_spark_s), self._margin, self._margin + size, size)
        return out

    @property
    def _margin(self) -> int:
        return max(4, round(MARGIN * min(self._writing.canvas.width, self._writing.canvas.height)))

    def _draw(self) -> list[_Patch]:
        """Everything that stays, drawn once."""
        canvas = self._writing.canvas
        paper = np.full((canvas.height, canvas.width, 3), 1, np.uint8)
        self._top_lines(paper)
        if self._writing.look.caption:
            self._caption(paper)
        if self._writing.look.scale_bar and self._writing.scale is not None:
            self._scale_bar(paper)
        if self._writing.look.legend and self._writing.legend is not None:
            self._legend(paper)
        inked = np.any(paper != 1, axis=2)
        mask = inked.view(np.uint8) * np.uint8(255)
        return [_Patch(box, paper[box].copy(), mask[box].copy()) for box in _boxes(inked)]

    def _top_lines(self, paper: Bytes) -> None:
        size, margin = self._writing.size, self._margin
        for row, line in enumerate(self._writing.lines):
            x = self._writing.canvas.width - margin - text_width(line, size)
            write_text(paper, line, x, margin + size + row * round(1.4 * size), size)

    def _caption(self, paper: Bytes) -> None:
        size, margin = self._writing.size, self._margin
        text = self._writing.look.caption
        x = max(margin, (self._writing.canvas.width - text_width(text, size)) // 2)
        between = text_width(text, size) <= 0.5 * self._writing.canvas.width
        above = size // 3 if between else round(2.2 * size)
        y = self._writing.canvas.height - margin - above
        write_text(paper, text, x, y, size)

    def _scale_bar(self, paper: Bytes) -> None:
        canvas, size, margin = self._writing.canvas, self._writing.size, self._margin
        scale = self._writing.scale
        assert scale is not None
        metres_per_px = scale.metres_per_px * canvas.crop.width / canvas.inner_width
        length = nice_length(0.2 * canvas.inner_width * metres_per_px)
        px = round(length / metres_per_px)
        y = canvas.height - margin - size // 3
        thick = max(2, size // 6)
        cv2.rectangle(paper, (margin - 1, y - thick - 1), (margin + px + 1, y + 1), EDGE, -1)
        cv2.rectangle(paper, (margin, y - thick), (margin + px, y), INK, -1)
        write_text(paper, length_words(length), margin, y - thick - size // 3, size)

    def _legend(self, paper: Bytes) -> None:
        canvas, size, margin = self._writing.canvas, self._writing.size, self._margin
        words = self._writing.legend or ""
        wide, high = round(0.2 * canvas.width), max(4, size // 2)
        left, top = canvas.width - margin - wide, canvas.height - margin - high
        codes = np.linspace(1, 255, wide).round().astype(np.uint8)
        table = palette(self._writing.palette)
        cv2.rectangle(paper, (left - 1, top - 1), (left + wide, top + high), EDGE, -1)
        bar = np.maximum(table[codes, :3], 2)  # 1 is the paper's own colour
        paper[top : top + high, left : left + wide] = bar
        x = canvas.width - margin - text_width(words, size)
        write_text(paper, words, x, top - size // 3, size)


def _boxes(inked: Any) -> Iterable[tuple[slice, slice]]:
    """Boxes around what is written, a few rows of the picture together."""
    count, _, stats, _ = cv2.connectedComponentsWithStats(
        cv2.dilate(inked.astype(np.uint8), np.ones((9, 41), np.uint8))
    )
    for x, y, wide, high, _ in stats[1:count]:
        yield slice(int(y), int(y + high)), slice(int(x), int(x + wide))
