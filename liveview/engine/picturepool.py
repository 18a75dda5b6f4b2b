"""Pictures for the screen, reused in turn."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np

from liveview.model import Bytes

DEPTH = 4
"""A picture stays as it is until three later ones were handed out."""


class PicturePool:
    """Hands out BGRA pictures in turn; what a picture's layout does not cover stays black."""

    def __init__(self) -> None:
        self._pictures: list[Bytes] = []
        self._layouts: list[Hashable] = []
        self._next = 0

    def take(self, rows: int, columns: int, layout: Hashable) -> Bytes:
        """The oldest picture, black outside the parts that pictures of ``layout`` fill.

        Parameters
        ----------
        rows, columns : int
            Size wanted; another size starts a new set, old pictures stay with who holds them.
        layout : hashable
            Names which part is going to be filled (the whole of it); a change clears.
        """
        if not self._pictures or self._pictures[0].shape[:2] != (rows, columns):
            self._pictures = [np.zeros((rows, columns, 4), np.uint8) for _ in range(DEPTH)]
            self._layouts = [layout] * DEPTH
            self._next = 0
        index = self._next
        self._next = (index + 1) % DEPTH
        picture = self._pictures[index]
        if self._layouts[index] != layout:
            picture[:] = 0
            self._layouts[index] = layout
        return picture
