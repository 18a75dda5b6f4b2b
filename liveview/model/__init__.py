"""Frozen data that crosses rooms and threads, and the protocols of the boundaries.

Conventions used everywhere
---------------------------
Images are ``(rows, columns)`` or ``(rows, columns, 3)`` in blue, green, red order; row 0 is
the top of the picture. Positions in a picture are ``x`` to the right and ``y`` downwards, in
pixels, with the centre of the first pixel at 0.0.

::

            top
        +---------+        n = unit vector from the disc's centre towards the
        |  .---.  |            side from which the blade comes in
   left | (  +  ) | right  "across" the blade = along n
        |  '---'  |        "along" the blade  = n turned 90 degrees clockwise
        +---------+            in the picture (top -> right -> bottom -> left)
          bottom

Light is linear and relative: 0.0 is no light, 1.0 the camera's top code (``white``).
Times are seconds on one monotonic clock that starts with the session; a recording uses its own.
"""

from liveview.model.devices import (
    CONTROL_SETTINGS,
    CameraReading,
    Control,
    FrameSource,
    Hold,
    RigHandle,
    SoundSource,
)
from liveview.model.events import Cause, EventSink, EventStart, Lease, Spotted, StoreStatus
from liveview.model.frames import (
    Bytes,
    CameraState,
    Frame,
    FrameStamp,
    Light,
    Pixels,
    SoundBlock,
    SoundInfo,
    SourceInfo,
    SourceKind,
)
from liveview.model.readings import (
    Average,
    BladeReading,
    Calibration,
    CalibrationKind,
    Disc,
    Histogram,
    NoiseReading,
    Reading,
    Side,
)
from liveview.model.status import ArmState, Counters, SessionState, SessionStatus, TriggerReading

__all__ = [
    "CONTROL_SETTINGS",
    "ArmState",
    "Average",
    "BladeReading",
    "Bytes",
    "Calibration",
    "CalibrationKind",
    "CameraReading",
    "CameraState",
    "Cause",
    "Control",
    "Counters",
    "Disc",
    "EventSink",
    "EventStart",
    "Frame",
    "FrameSource",
    "FrameStamp",
    "Histogram",
    "Hold",
    "Lease",
    "Light",
    "NoiseReading",
    "Pixels",
    "Reading",
    "RigHandle",
    "SessionState",
    "SessionStatus",
    "Side",
    "SoundBlock",
    "SoundInfo",
    "SoundSource",
    "SourceInfo",
    "SourceKind",
    "Spotted",
    "StoreStatus",
    "TriggerReading",
]
