"""How a camera's controls stand, and how one is set while it runs."""

from __future__ import annotations

from dataclasses import replace

from liveview.imaging.cv import cv2
from liveview.model import Control, Hold
from liveview.sources.controls import Device, by_hand, exposure_of, scale_for

UNITS = {"exposure": "s", "gain": "", "white balance": "K", "focus": ""}
"""Of the controls, in their order; empty: the driver's own."""


def set_value(device: Device, name: str, value: float) -> float | None:
    """Set exposure (seconds) or gain (driver units) by hand; what it stands at then.

    None where the driver cannot.
    """
    if name == "gain":
        device.set(cv2.CAP_PROP_GAIN, value)
        gain = device.get(cv2.CAP_PROP_GAIN)
        return gain if gain > 0 or value == gain else None
    scale = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
    if scale is None:
        return None
    by_hand(device, scale)
    device.set(cv2.CAP_PROP_EXPOSURE, scale.to_value(value))
    return exposure_of(device, scale)


def all_controls(device: Device, held: tuple[Control, ...]) -> tuple[Control, ...]:
    """Every control there is: as it was held, else as the driver reports it."""
    found = {control.name: control for control in held}
    scale = scale_for(int(device.get(cv2.CAP_PROP_BACKEND)))
    values = {
        "exposure": exposure_of(device, scale) or 0.0,
        "gain": device.get(cv2.CAP_PROP_GAIN),
        "white balance": device.get(cv2.CAP_PROP_WB_TEMPERATURE),
        "focus": device.get(cv2.CAP_PROP_FOCUS),
    }
    for name, value in values.items():
        unit = UNITS[name]
        if name in found:
            found[name] = replace(found[name], unit=unit)
        elif value > 0:
            found[name] = Control(name, Hold.NOT_VERIFIED, value, "as the driver reports it", unit)
        else:
            found[name] = Control(name, Hold.NOT_CONTROLLABLE, unit=unit)
    others = [control for name, control in found.items() if name not in UNITS]
    return (*(found[name] for name in UNITS), *others)
