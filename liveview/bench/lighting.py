"""How much light lamp and room give at each moment, in electrons of one pixel."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.flows.eddies import Wander
from liveview.bench.scene import Scene


class Lighting:
    """Lamp and room of a scene.

    Parameters
    ----------
    scene : Scene
    seed : int
        Of the lamp's slow wander.
    """

    def __init__(self, scene: Scene, seed: int) -> None:
        self._scene = scene
        self._drift = Wander(seed + 61, 0.05, 0.4)

    @property
    def steady(self) -> bool:
        """True for a lamp that neither pulses nor wanders."""
        return not (self._scene.light.ripple or self._scene.light.drift)

    def lamp(self, times: NDArray[np.floating[Any]], exposure_s: float) -> NDArray[np.float64]:
        """Brightness of the lamp about 1, averaged over exposures centred on ``times``."""
        light = self._scene.light
        hz = 2.0 * self._scene.room.mains_hz
        wave = np.sin(2.0 * math.pi * hz * times) * float(np.sinc(hz * exposure_s))
        drift = self._drift.at(times) * light.drift if light.drift else 0.0
        return np.asarray(1.0 + light.ripple * wave + drift)

    def flame(self, time_s: float) -> float:
        """Flicker of a flame's own light about 0.9."""
        return 0.9 + 0.1 * float(self._drift.at(np.array(time_s * 7.0)))

    @property
    def flash_e(self) -> float:
        """Electrons that stand for the open picture's brightest light, whatever the exposure."""
        sensor = self._scene.sensor
        return self._scene.light.open_level * sensor.full_well_e / sensor.gain

    def open_e(self, exposure_s: float) -> float:
        """Electrons of the open picture's brightest part at lamp brightness 1."""
        return self.flash_e * exposure_s / self._scene.sensor.own_exposure_s

    def dark_e(self, exposure_s: float) -> float:
        """Electrons of the dark current."""
        return self._scene.sensor.dark_current_e_s * exposure_s

    def room_e(self, exposure_s: float, middle_s: float) -> float:
        """Electrons that room light and dark current add to every pixel."""
        sensor, room = self._scene.sensor, self._scene.room
        hz = 2.0 * room.mains_hz
        wave = math.sin(2.0 * math.pi * hz * middle_s) * float(np.sinc(hz * exposure_s))
        level = room.light * sensor.full_well_e * exposure_s / sensor.own_exposure_s
        return level * (1.0 + room.ripple * wave) + self.dark_e(exposure_s)
