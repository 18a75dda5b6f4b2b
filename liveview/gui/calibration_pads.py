"""The three pads that take dark, open and reference: the same on every page that has them."""

from __future__ import annotations

from collections.abc import Mapping

from liveview.gui.marks import calibration_mark
from liveview.gui.pad import Pad
from liveview.gui.words import THIN
from liveview.model import CalibrationKind, SessionStatus

HOW = {
    CalibrationKind.DARK: "cap the lens",
    CalibrationKind.OPEN: "blade out",
    CalibrationKind.REFERENCE: "blade set, air quiet",
}
"""What to do before each is taken."""


def show_calibration(pads: Mapping[str, Pad], status: SessionStatus) -> None:
    """Which pictures are taken, which is being taken, and how to take the others."""
    for kind in CalibrationKind:
        taking = status.taking is not None and status.taking[0] == kind.value
        progress = status.taking[1] if taking and status.taking is not None else None
        has = kind in status.has
        note = "taken" if has else HOW[kind]
        if progress is not None:
            note = f"taking {progress * 100:.0f}{THIN}%"
        mark = calibration_mark(kind, has, progress)
        pads[f"take {kind.value}"].set_state(mark=mark, note=note, on=has)
