"""The files that grow with the frames, together: made with the first one, no half of one left."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from liveview.commands.processing.folder import GROWING
from liveview.commands.processing.outputs import ContrastStack, FrameTable, PictureFile
from liveview.commands.processing.request import Request
from liveview.errors import OutputFailed
from liveview.model import Reading, SourceInfo


@contextlib.contextmanager
def growing(request: Request, info: SourceInfo) -> Iterator[Files]:
    """The files that grow with the frames; where they cannot be written, no half of one is left."""
    files = Files(request, info)
    try:
        with contextlib.closing(files):
            yield files
    except OutputFailed as error:
        for name in GROWING:
            with contextlib.suppress(OSError):
                (request.out / name).unlink(missing_ok=True)
        raise OutputFailed(
            error.what, error.where, f"{error.remedy}; what was half written was removed"
        ) from error


class Files:
    """The files that grow with the frames; made with the first one."""

    def __init__(self, request: Request, info: SourceInfo) -> None:
        self._request = request
        self._every = request.every
        self._shape = (info.height, info.width)
        self._rate_hz = info.rate_hz / request.every if info.rate_hz else None
        self._table: FrameTable | None = None
        self._contrast: ContrastStack | None = None
        self._picture: PictureFile | None = None

    def _made(self) -> FrameTable:
        request, out = self._request, self._request.out
        if self._table is None:
            self._table = FrameTable(out / "frames.csv")
            if request.contrast:
                self._contrast = ContrastStack(out / "contrast.npy", self._shape)
            if request.picture:
                self._picture = PictureFile(out / "picture.mkv", self._shape, self._rate_hz)
        return self._table

    def wants_contrast(self, index: int) -> bool:
        """Whether the contrast of the ``index``-th frame is to be written."""
        return self._request.contrast and index % self._every == 0

    def add(self, index: int, reading: Reading, contrast: Any) -> None:
        """Write what is to be written of one frame."""
        self._made().add(reading)
        if self._contrast is not None and contrast is not None:
            self._contrast.add(contrast)
        if self._picture is not None and index % self._every == 0:
            self._picture.add(reading.picture, reading.stamp.time_s)

    def close(self) -> None:
        """Close all of them."""
        with contextlib.ExitStack() as stack:
            for file in (self._table, self._contrast, self._picture):
                if file is not None:
                    stack.callback(file.close)
