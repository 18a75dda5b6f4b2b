"""Taking the calibration pictures, taking them back, and knowing when they no longer hold."""

from __future__ import annotations

import threading
from collections import deque

from liveview.errors import BadRequest, CalibrationRefused
from liveview.imaging.background import PictureAverager
from liveview.model import Calibration, CalibrationKind, CameraState, Disc, Light

FRAMES = 32
"""Frames averaged for one picture."""
MOST_UNDO = 16


class Calibrating:
    """The calibration of the session; safe to be used from several threads.

    ::

        idle --begin--> taking --enough frames--> idle (one more to undo)
                          |------refused--------> idle (the reason in words)
                          '------cancel---------> idle

    ``add`` is called by the chain thread with consecutive frames in linear light.

    Parameters
    ----------
    frames : int
        How many frames make a picture.
    """

    def __init__(self, frames: int = FRAMES) -> None:
        self._frames = frames
        self._lock = threading.Lock()
        self._all = Calibration()
        self._earlier: deque[Calibration] = deque(maxlen=MOST_UNDO)
        self._camera: CameraState | None = None
        self._kind: CalibrationKind | None = None
        self._averager: PictureAverager | None = None
        self._refusal = ""
        self._version = 0

    @property
    def version(self) -> int:
        """Changes whenever ``calibration`` may have changed."""
        return self._version

    @property
    def calibration(self) -> Calibration:
        """The pictures that hold for the camera as it stands."""
        with self._lock:
            return self._all if self._camera is None else self._all.valid_for(self._camera)[0]

    @property
    def words(self) -> tuple[str, ...]:
        """Why the last picture was refused, and which pictures no longer hold."""
        with self._lock:
            stale = () if self._camera is None else self._all.valid_for(self._camera)[1]
            return ((self._refusal,) if self._refusal else ()) + stale

    @property
    def taking(self) -> tuple[CalibrationKind, float] | None:
        """What is being taken and how far it is, 0..1."""
        with self._lock:
            if self._kind is None:
                return None
            done = 0 if self._averager is None else self._averager.frames
            return self._kind, done / self._frames

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return bool(self._earlier)

    def begin(self, kind: CalibrationKind) -> None:
        """Take a picture from the next frames.

        Raises
        ------
        BadRequest
            Another one is being taken.
        """
        with self._lock:
            if self._kind is not None:
                raise BadRequest(
                    f"the {self._kind.value} picture is being taken", "calibration", "wait for it"
                )
            self._kind, self._averager, self._refusal = kind, None, ""

    def cancel(self, reason: str = "") -> None:
        """Stop taking; with a reason it is shown."""
        with self._lock:
            if self._kind is not None and reason:
                self._refusal = f"{self._kind.value} picture: {reason}"
            self._kind = self._averager = None

    def set(self, calibration: Calibration) -> None:
        """Use these pictures; the present ones can be brought back by ``undo``."""
        with self._lock:
            self._keep(calibration)

    def undo(self) -> None:
        """Back to the pictures before the last change; nothing when there is none."""
        with self._lock:
            if self._earlier:
                self._all = self._earlier.pop()
                self._refusal = ""
                self._version += 1

    def camera_is(self, camera: CameraState) -> None:
        """The state of the camera now; pictures taken in another one stop to hold."""
        with self._lock:
            if camera == self._camera:
                return
            self._camera = camera
            self._version += 1
            if self._kind is not None and self._averager is not None:
                self._refusal = f"{self._kind.value} picture: the camera changed; take it again"
                self._kind = self._averager = None

    def add(self, light: Light, taken_s: float, taken_at: str, disc: Disc | None) -> bool:
        """One more frame for the picture being taken; True when that ended the taking."""
        with self._lock:
            if self._kind is None or self._camera is None:
                return False
            if self._averager is None:
                self._averager = PictureAverager(self._camera, self._kind)
            try:
                self._averager.add(light)
                if self._averager.frames < self._frames:
                    return False
                picture = self._averager.result(taken_s, taken_at, disc, self._others())
                self._keep(self._all.with_picture(self._kind, picture))
            except CalibrationRefused as error:
                self._refusal = str(error)
            self._kind = self._averager = None
            return True

    def _others(self) -> Calibration:
        assert self._camera is not None
        return self._all.valid_for(self._camera)[0]

    def _keep(self, calibration: Calibration) -> None:
        self._earlier.append(self._all)
        self._all = calibration
        self._refusal = ""
        self._version += 1
