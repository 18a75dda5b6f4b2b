"""Light of the disc's box that is worked out only where somebody asks for it."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np

from liveview.imaging.transfer import Transfer
from liveview.model import Light, Pixels


class SomeLight(Protocol):
    """Linear light over the box, float32: an array, or what can give parts of one."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns of the box."""

    def __getitem__(self, part: Any, /) -> Any:
        """A part of it (slices), float32."""


class CodeLight:
    """Light of gray codes; most of a frame's light is never needed by itself.

    Parameters
    ----------
    codes : ndarray, uint8 or uint16, (rows, columns)
        Codes over the box, a view of the frame.
    white : int
        Top code.
    transfer : Transfer
        Curve to be undone.
    """

    __slots__ = ("_codes", "_transfer", "_white", "shape")

    def __init__(self, codes: Pixels, white: int, transfer: Transfer) -> None:
        self._codes = codes
        self._white = white
        self._transfer = transfer
        self.shape = codes.shape

    def __getitem__(self, part: Any, /) -> Light:
        codes = self._codes[part]
        if codes.strides[-1] != codes.itemsize:
            codes = np.ascontiguousarray(codes)
        return self._transfer.to_light(codes, self._white)
