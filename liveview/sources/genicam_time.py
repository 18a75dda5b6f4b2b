"""Times and numbers of an industrial camera's frames, from its own clock and counter."""

from __future__ import annotations

from liveview.model import FrameStamp

JUMP_S = 0.5
"""The camera's clock was set when it is off by so much."""
CREEP_S = 2e-5
"""How much the two clocks may run apart in one frame."""
ERROR_S = 0.001
ARRIVAL_ERROR_S = 0.01
"""Of a frame that is known by its arrival only."""
TICKS = 1 << 16
"""Frame numbers of GigE Vision run from 1 to 65535 and begin again."""


class CameraTime:
    """Ties a camera's clock to the host's by the least delay seen, from one opening on."""

    def __init__(self) -> None:
        self._number = 0
        self._last_id: int | None = None
        self._device_ns = 0
        self._offset_s: float | None = None

    @property
    def trusted(self) -> bool:
        """True while the camera's own stamps are used."""
        return self._offset_s is not None

    def stamp(self, frame_id: int, device_ns: int, arrived_s: float, delay_s: float) -> FrameStamp:
        """Stamp of the next frame.

        Parameters
        ----------
        frame_id, device_ns : int
            The camera's count, and its clock in nanoseconds; 0 where it has none.
        arrived_s : float
            When the frame came, on the session's clock.
        delay_s : float
            Known delay, taken off.
        """
        if self._last_id is not None:
            self._number += frames_between(self._last_id, frame_id)
        self._last_id = frame_id
        advances, self._device_ns = device_ns > self._device_ns, device_ns
        if not advances:  # no clock, or it was set: this frame by its arrival
            self._offset_s = None
            return FrameStamp(self._number, arrived_s - delay_s, ARRIVAL_ERROR_S)
        device_s = device_ns * 1e-9
        offset_s = arrived_s - device_s
        if self._offset_s is None or not 0 <= offset_s - self._offset_s < JUMP_S:
            self._offset_s = offset_s
        else:
            self._offset_s += min(CREEP_S, offset_s - self._offset_s)
        return FrameStamp(self._number, device_s + self._offset_s - delay_s, ERROR_S, device_ns)


def frames_between(earlier: int, later: int) -> int:
    """How many frames on a number is, at least 1.

    Numbers of GigE Vision run from 1 to 65535 and begin again. Those of USB3 Vision and of
    extended GigE Vision go on beyond it: one that is lower after such a one was started anew.
    """
    step = later - earlier
    if step <= 0 and earlier < TICKS:
        step += TICKS - 1
    return step if 0 < step < TICKS // 2 else 1
