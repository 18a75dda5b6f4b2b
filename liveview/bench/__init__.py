"""The simulated rig: scenes, flows, light path, sensor and sound, with the truth beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from liveview.bench.exercise import Exercise, Level, Verdict
    from liveview.bench.rig import FrameTruth, SimulatedRig
    from liveview.bench.scene import Scene, load_scene, scene_names

__all__ = [
    "Exercise",
    "FrameTruth",
    "Level",
    "Scene",
    "SimulatedRig",
    "Verdict",
    "load_scene",
    "scene_names",
]

_HOMES = {"rig": ("FrameTruth", "SimulatedRig"), "exercise": ("Exercise", "Level", "Verdict")}


def __getattr__(name: str) -> object:
    """Scenes are read without importing what renders them."""
    from importlib import import_module

    if name not in __all__:
        raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
    home = next((home for home, names in _HOMES.items() if name in names), "scene")
    return getattr(import_module(f"{__name__}.{home}"), name)
