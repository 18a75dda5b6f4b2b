"""Keeps a picture for an audience inside the published flash limits (see ``flashes``).

Every picture is weighed before it is sent. One that would make too much of the screen flash too
often is mixed with the one sent before, as little as is needed; if no mixture will do, the one
sent before is held. A picture that is harmless passes untouched and without delay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.imaging.cv import cv2
from liveview.imaging.flashes import FIELD_SHARE, FlashCounter
from liveview.model import Bytes

_MIXTURES = (0.6, 0.35, 0.18, 0.08)
_MARGIN = 0.8
"""Acts at this share of the allowed area, for the grid is coarse."""


@dataclass(frozen=True, slots=True)
class Guarded:
    """What to send. ``share`` is how much of the new picture is in it: 1 untouched, 0 held."""

    picture: Bytes
    share: float

    @property
    def words(self) -> str:
        """For the presenter; empty when nothing was done."""
        if self.share == 1.0:
            return ""
        if self.share == 0.0:
            return "flash guard: picture held"
        return f"flash guard: softened to {100 * self.share:.0f} %"


class FlashGuard:
    """Weighs and softens one sequence of pictures.

    Parameters
    ----------
    grid : (rows, columns)
        Cells the screen is divided into for the weighing.
    """

    def __init__(self, grid: tuple[int, int] = (54, 96)) -> None:
        self._grid = grid
        self.forget()

    def forget(self) -> None:
        """Start anew, for instance after the audience screen was blank for a second."""
        self._counter = FlashCounter(self._grid)
        self._sent: Bytes | None = None

    def admit(self, picture: Bytes, time_s: float) -> Guarded:
        """Say what to send instead of ``picture``.

        Parameters
        ----------
        picture : ndarray, uint8, (rows, columns, 4)
            sRGB as it would go to the screen.
        time_s : float
            When it will be shown, seconds, never running back.

        Returns
        -------
        Guarded
            Its picture is the same array when nothing had to be done.
        """
        for share in (1.0, *_MIXTURES):
            candidate = self._mixed(picture, share)
            step = self._counter.weigh(candidate, time_s)
            if step.worst <= FIELD_SHARE * _MARGIN or self._sent is None:
                self._counter.commit(step)
                self._keep(candidate)
                return Guarded(candidate, share)
        held = self._mixed(picture, 0.0)
        self._counter.commit(self._counter.weigh(held, time_s))
        return Guarded(held, 0.0)

    def _mixed(self, picture: Bytes, share: float) -> Bytes:
        if share == 1.0 or self._sent is None:
            return picture
        before: Bytes = self._sent
        if before.shape != picture.shape:
            before = np.asarray(cv2.resize(before, (picture.shape[1], picture.shape[0])), np.uint8)
        mixed = cv2.addWeighted(picture, share, before, 1.0 - share, 0.0)
        return np.asarray(mixed, np.uint8)

    def _keep(self, picture: Bytes) -> None:
        if self._sent is None or self._sent.shape != picture.shape:
            self._sent = picture.copy()
        else:
            np.copyto(self._sent, picture)
