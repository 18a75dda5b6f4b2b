"""Whether the simulated rig that runs is the one that the settings describe."""

from __future__ import annotations

from pathlib import Path

from liveview.bench.scene import Scene, load_scene, scene_like, scene_names
from liveview.settings import Settings
from liveview.units import length_text

OWN_RIG = "simulated"
"""Address of the simulated rig that is built like the set-up."""


def rig_words(address: str, built: Settings, now: Settings) -> str:
    """How the settings and the simulated rig that runs disagree; empty when they do not.

    Parameters
    ----------
    address : str
        Of the source.
    built : Settings
        Those that the source was opened with.
    now : Settings
        Those in force.
    """
    scene = _scene(address, built)
    if scene is None:
        return ""
    unit = now.screen.length_unit
    told = _differences(now, scene, unit)
    if not told:
        return ""
    mend = "choose it again" if address == OWN_RIG else "choose 'Your rig' as the source"
    return (
        f"the set-up is not the simulated rig ({', '.join(told)}): its numbers do not hold; {mend}"
    )


def _scene(address: str, built: Settings) -> Scene | None:
    """The rig behind an address; None for what is not simulated or is a file of its own."""
    kind, _, name = address.partition(":")
    if kind != OWN_RIG:
        return None
    if not name:
        return scene_like(built)
    return load_scene(name) if name in scene_names() or Path(name).is_file() else None


def _differences(now: Settings, scene: Scene, unit: str) -> list[str]:
    told = []
    if now.rig.kind != scene.rig.kind:
        told.append(f"{now.rig.kind}, not {scene.rig.kind}")
    for what, here, there in (
        ("", now.rig.mirror_diameter_m, scene.rig.mirror_diameter_m),
        ("f ", now.rig.focal_length_m, scene.rig.focal_length_m),
        ("lamp ", now.lamp.width_m, scene.lamp.width_m),
    ):
        if here != there:
            told.append(f"{what}{length_text(here, unit)}, not {length_text(there, unit)}")
    if now.lamp.shape != scene.lamp.shape:
        told.append(f"{now.lamp.shape} lamp, not {scene.lamp.shape}")
    if now.blade.side is not scene.blade.side:
        told.append(f"blade at the {now.blade.side.value}, not the {scene.blade.side.value}")
    return told
