"""Contrast frames of the simulated rig, with the rig for the truth beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import Scene, load_scene, with_values
from liveview.model import Light


@dataclass(frozen=True, slots=True)
class RigFrames:
    """``frames`` are (number, time, contrast); NaN outside the disc and where clipped."""

    rig: SimulatedRig
    scene: Scene
    frames: list[tuple[int, float, Light]]

    def place(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Pixels of a place given in metres right of and above the mirror's middle."""
        place = self.rig.place
        return place.cx + x_m * place.px_per_m, place.cy - y_m * place.px_per_m


def rig_frames(
    name: str,
    first: int,
    last: int,
    *,
    seed: int = 1,
    exact: bool = False,
    sensor: dict[str, Any] | None = None,
    **flows: dict[str, Any],
) -> RigFrames:
    """Frames ``first`` .. ``last`` - 1 of a shipped scene, some of its values changed."""
    scene = _with(load_scene(name), sensor or {}, flows)
    quiet = {flow: {"on": False} for flow in scene.flows.model_dump()}
    # The rods of the spark gap stay.
    quiet["spark"] = {"first_s": 1e5}
    still = SimulatedRig(_with(scene, {}, quiet), seed, exact=exact)
    reference = _mean(still, 24)
    level = scene.sensor.dark_level * scene.sensor.white
    rig = SimulatedRig(scene, seed, exact=exact)
    y, x = np.mgrid[: scene.sensor.height, : scene.sensor.width]
    place = rig.place
    inside = np.hypot(x - place.cx, y - place.cy) < place.radius - 1
    frames = []
    pixels = _pixels(scene)
    for number in range(first, last):
        truth = rig.render(number, pixels)
        known = inside & (pixels < 0.995 * scene.sensor.white)
        contrast = (pixels - reference) / np.maximum(reference - level, 1.0)
        frames.append((number, truth.time_s, np.where(known, contrast, np.nan).astype(np.float32)))
    return RigFrames(rig, scene, frames)


def _with(scene: Scene, sensor: dict[str, Any], flows: dict[str, Any]) -> Scene:
    before = scene.flows.model_dump(by_alias=False)
    changed = {flow: {**before[flow], **values} for flow, values in flows.items()}
    return with_values(scene, {"sensor": sensor, "flows": changed}, "test")


def _pixels(scene: Scene) -> np.ndarray:
    kind = np.uint8 if scene.sensor.bits == 8 else np.uint16
    return np.zeros((scene.sensor.height, scene.sensor.width), kind)


def _mean(rig: SimulatedRig, count: int) -> np.ndarray:
    pixels = _pixels(rig.scene)
    total = np.zeros(pixels.shape)
    for number in range(count):
        rig.render(number, pixels)
        total += pixels
    return total / count
