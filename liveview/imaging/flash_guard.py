"""Keeps a picture for an audience inside the published flash limits (see ``flashes``).

Every picture is weighed before it is sent. One that would make too much of the screen flash too
often is mixed with the one sent before, as little as is needed; if no mixture will do, the one
sent before is held. A picture that is harmless passes untouched and without delay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.imaging.cv import cv2
from liveview.imaging.flashes import FIELD_SHARE, FlashCounter, reduced
from liveview.model import Bytes

_MIXTURES = (0.6, 0.35, 0.18, 0.08)
_MARGIN = 0.8
"""Acts at this share of the allowed area, for the grid is coarse."""
_MOST = FIELD_SHARE * _MARGIN


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
    lent : bool
        The caller leaves a picture as it is until the next one has been admitted: no copy is kept.
    """

    def __init__(self, grid: tuple[int, int] = (54, 96), *, lent: bool = False) -> None:
        self._grid = grid
        self._lent = lent
        self.forget()

    def forget(self) -> None:
        """Start anew, for instance after the audience screen was blank for a second."""
        self._counter = FlashCounter(self._grid)
        self._sent: Bytes | None = None
        self._small: Bytes = np.empty((0, 0, 4), np.uint8)

    def admit(self, picture: Bytes, time_s: float) -> Guarded:
        """Say what to send instead of ``picture``.

        Parameters
        ----------
        picture : ndarray, uint8, (rows, columns, 3 or 4)
            sRGB as it would go to the screen.
        time_s : float
            When it will be shown, seconds, never running back.

        Returns
        -------
        Guarded
            Its picture is the same array when nothing had to be done.
        """
        small = reduced(picture, self._grid)
        if self._passes(small, time_s):
            self._keep(picture, small)
            return Guarded(picture, 1.0)
        before = self._before(picture)
        for share in _MIXTURES:
            # Judged small first: mixing whole pictures is what takes time.
            if self._worst(_mixed(small, self._small, share), time_s) > _MOST:
                continue
            candidate = _mixed(picture, before, share)
            sent = reduced(candidate, self._grid)
            if self._passes(sent, time_s):
                self._keep(candidate, sent)
                return Guarded(candidate, share)
        self._counter.commit(self._counter.weigh(self._small, time_s))
        return Guarded(before if self._lent else before.copy(), 0.0)

    def watch(self, picture: Bytes, time_s: float) -> float:
        """Only judge a picture that is sent as it is.

        Returns
        -------
        float
            Flashing share of the worst ten degree field: above ``flashes.FIELD_SHARE`` it is over
            the limits.
        """
        small = reduced(picture, self._grid)
        step = self._counter.weigh(small, time_s)
        self._counter.commit(step)
        self._keep(picture, small)
        return step.worst

    def flashes(self, time_s: float) -> int:
        """Flashes of the last second over more of a field than is allowed; three are allowed."""
        return self._counter.flashes(time_s)

    def _worst(self, small: Bytes, time_s: float) -> float:
        return self._counter.weigh(small, time_s).worst

    def _passes(self, small: Bytes, time_s: float) -> bool:
        """Judge it, and if it may be shown take it as shown."""
        step = self._counter.weigh(small, time_s)
        if step.worst > _MOST and self._sent is not None:
            return False
        self._counter.commit(step)
        return True

    def _before(self, picture: Bytes) -> Bytes:
        """The picture sent before, in the size of this one."""
        assert self._sent is not None
        if self._sent.shape != picture.shape:
            size = (picture.shape[1], picture.shape[0])
            self._sent = np.asarray(cv2.resize(self._sent, size), np.uint8)
            self._small = reduced(self._sent, self._grid)
        return self._sent

    def _keep(self, picture: Bytes, small: Bytes) -> None:
        self._small = small.copy() if small is picture and not self._lent else small
        if self._lent:
            self._sent = picture
        elif self._sent is None or self._sent.shape != picture.shape:
            self._sent = picture.copy()
        else:
            np.copyto(self._sent, picture)


def _mixed(picture: Bytes, before: Bytes, share: float) -> Bytes:
    return np.asarray(cv2.addWeighted(picture, share, before, 1.0 - share, 0.0), np.uint8)
