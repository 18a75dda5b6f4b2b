"""Set-ups of the Plan page: the shipped ones, their names, what of one a session takes over."""

from __future__ import annotations

from pathlib import Path

from liveview.settings import Settings
from liveview.shipped import shipped_folder

USED = {
    "rig": None,
    "lamp": None,
    "expect": None,
    "blade": None,
    "camera": (
        "lens_focal_length_m",
        "f_number",
        "sensor_width_m",
        "sensor_height_m",
        "distance_from_blade_m",
    ),
}
"""What "Use this rig" hands over: whole sections, or some of their values. What the camera is and
how it is set stays as it is in the session."""


def shipped_setups() -> list[Path]:
    """The set-ups that come with the program."""
    return sorted(shipped_folder("configs").glob("*.toml"))


def handed_over(session: Settings, paper: Settings) -> Settings:
    """The session's settings with the rig of the paper in them."""
    settings = session
    for section, names in USED.items():
        values = getattr(paper, section).model_dump(by_alias=False)
        if names is not None:
            values = {name: values[name] for name in names}
        settings = settings.replaced(section, **values)
    return settings.replaced("catch", mic_distance_m=paper.catch.mic_distance_m)


def short_name(name: str) -> str:
    """A set-up's name up to its first comma."""
    return name.split(",", maxsplit=1)[0]


def file_name(name: str) -> str:
    """A name for the file of a set-up: ``barn.toml`` of "Barn, 320 mm sphere"."""
    words = "".join(c if c.isalnum() else " " for c in short_name(name).lower()).split()
    return f"{'-'.join(words) or 'set-up'}.toml"
