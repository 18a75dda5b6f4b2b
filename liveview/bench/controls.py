"""The knobs that a scene's rig has, at the values the scene begins with."""

from __future__ import annotations

from liveview.bench.knobs import Knob
from liveview.bench.lightpath import LightPath
from liveview.bench.scene import Scene


def knobs_of(scene: Scene, light: LightPath) -> list[Knob]:
    """Every knob with its first value and limits.

    ``blade_x_m`` is the edge's position in the lamp's image (0 open), ``blade_z_m`` its distance
    from that image towards the mirror. ``blade_out``, ``lens_capped``, ``auto_exposure``, the
    ``flow_...`` switches and ``spark_now`` are 0 or 1.
    """
    width = light.width_m
    frame_s = 1.0 / scene.sensor.rate_hz
    exposure_s = min(scene.sensor.own_exposure_s, frame_s)
    knobs = [
        Knob("blade_x_m", light.half_cut_m, -width, 2.0 * width),
        Knob("blade_z_m", light.geometry.blade_offset_m, *_reach(light.geometry.blade_offset_m)),
        Knob("blade_angle_rad", 0.0, -0.5, 0.5),
        Knob("blade_out", 0.0, 0.0, 1.0),
        Knob("lamp_brightness", 1.0, 0.0, 4.0),
        Knob("lens_capped", 0.0, 0.0, 1.0),
        Knob("exposure_s", exposure_s, min(1e-6, frame_s), frame_s),
        Knob("gain", scene.sensor.gain, 0.1, 64.0),
        Knob("auto_exposure", float(scene.sensor.auto_exposure), 0.0, 1.0),
        Knob("shake", scene.room.shake, 0.0, 50.0),
        Knob("spark_now", 0.0, 0.0, 1.0),
    ]
    for name in type(scene.flows).model_fields:
        knobs.append(Knob(f"flow_{name}", float(getattr(scene.flows, name).on), 0.0, 1.0))
    return knobs


def _reach(offset_m: float) -> tuple[float, float]:
    """Limits of the axial position: a decimetre either way, more if the scene stands further."""
    reach = max(0.1, 2.0 * abs(offset_m))
    return (-reach, reach)
