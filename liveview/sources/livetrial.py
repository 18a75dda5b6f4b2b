"""Whether a control that was changed while the camera runs did what it should, by the frames.

At opening a control is tried there and back; while somebody watches, the picture must not jump.
So the light before the change is compared with the light after it, and frames go on as usual::

    light before  o o o o o
                            | set     . . . . . .   o o o o o  light after
                                      drivers lag
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace

import numpy as np

from liveview.model import Control, Hold, Pixels
from liveview.sources.controls import DROP_FRAMES, LOOK_FRAMES, Light

_STEP = 8


class LightMeter:
    """Brightness of the newest frames; cheap enough for every one of them."""

    def __init__(self, white: int) -> None:
        self._white = white
        self._looks: deque[tuple[float, float, float]] = deque(maxlen=LOOK_FRAMES)

    def see(self, pixels: Pixels) -> None:
        """The next frame."""
        sample = pixels[::_STEP, ::_STEP]
        self._looks.append(
            (
                float(sample.mean()),
                float((sample == 0).mean()),
                float((sample >= self._white).mean()),
            )
        )

    @property
    def light(self) -> Light | None:
        """Of the last ``LOOK_FRAMES`` frames; None before there are so many."""
        if len(self._looks) < LOOK_FRAMES:
            return None
        means, dark, bright = zip(*self._looks, strict=True)
        return Light(
            float(np.median(means)),
            float(np.std(means)),
            float(np.mean(dark)),
            float(np.mean(bright)),
        )


class LiveTrial:
    """Judges one change of exposure or gain.

    Parameters
    ----------
    control : Control
        As the driver reports it after the change.
    before : Light or None
        The light before it.
    came_from : float or None
        The value before it.
    """

    def __init__(self, control: Control, before: Light | None, came_from: float | None) -> None:
        self.control = control
        self.before = before
        self.came_from = came_from
        self._left = DROP_FRAMES + LOOK_FRAMES

    def changed_again(self, control: Control) -> None:
        """The same control was set to another value before this one could be judged."""
        self.control = control
        self._left = DROP_FRAMES + LOOK_FRAMES

    def see(self, after: Light | None) -> Control | None:
        """One frame more has been seen; the verdict when there are enough."""
        self._left -= 1
        if self._left > 0:
            return None
        return self._verdict(after)

    def _verdict(self, after: Light | None) -> Control:
        control, before = self.control, self.before
        value, came_from = control.value, self.came_from
        if before is None or after is None or value is None or came_from is None:
            return replace(control, hold=Hold.NOT_VERIFIED, reason="only the driver says so")
        if value == came_from:
            return replace(control, hold=Hold.NOT_VERIFIED, reason="it stood there already")
        for light in (before, after):
            if light.cannot_tell:
                return replace(control, hold=Hold.NOT_VERIFIED, reason=light.cannot_tell)
        brighter = value > came_from
        if before.differs(after) and (after.mean > before.mean) == brighter:
            return replace(control, hold=Hold.LOCKED)
        if before.differs(after):
            return replace(
                control, hold=Hold.NOT_VERIFIED, reason="the light went the other way meanwhile"
            )
        return replace(control, hold=Hold.NOT_VERIFIED, reason="the picture does not follow")
