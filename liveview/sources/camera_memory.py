"""What was set for each camera, kept by its identity for the next time it is used."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from liveview.errors import BadRequest, LiveviewError
from liveview.settings import Camera, Settings, file_key, validated

KEPT = (
    *("exposure_s", "gain", "white_balance_k", "focus", "hold", "format", "width", "height"),
    *("rate_hz", "delay_s", "channel", "transfer", "white", "row_time_s"),
)
"""What belongs to a camera. The lens and its distance belong to the rig."""

MOST_CAMERAS = 64


def identity_of(address: str) -> str | None:
    """What a camera is called over plugging and restarting; None where an address is no camera."""
    kind, _, wanted = address.partition(":")
    if kind == "genicam":
        return address
    if kind != "camera":
        return None
    from liveview.sources.devices import find_cameras, match_camera

    try:
        device = match_camera(wanted, find_cameras())
    except LiveviewError:
        return None
    return " ".join(filter(None, (device.ids, device.name))) or address


class CameraMemory:
    """A TOML file with one table for each camera.

    Parameters
    ----------
    path : Path
        Need not exist. A file that cannot be read counts as empty, and ``words`` says so.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.words = ""
        self._known: dict[str, dict[str, Any]] = {}
        self._writable = True
        try:
            self._known = _read(path)
        except (OSError, ValueError, LiveviewError) as error:
            self._writable = False
            self.words = f"settings of cameras are not restored: {path.name} cannot be read"
            self.words += f" ({' '.join(str(error).split())}); mend or remove it"

    def values(self, identity: str) -> dict[str, Any]:
        """What is kept of a camera, by the names in ``settings.Camera``."""
        return dict(self._known.get(identity, {}))

    def restored(self, identity: str, settings: Settings) -> Settings:
        """Settings with what is kept of this camera, where they say nothing else.

        A value that differs from its default was asked for by the user and stays.
        """
        plain = Camera()
        kept = {
            name: value
            for name, value in self.values(identity).items()
            if getattr(settings.camera, name) == getattr(plain, name)
        }
        return settings.replaced("camera", **kept) if kept else settings

    def keep(self, identity: str, camera: Camera) -> str:
        """Keep what differs from the defaults; gives words when it cannot be written."""
        plain = Camera()
        values = {
            name: getattr(camera, name)
            for name in KEPT
            if getattr(camera, name) != getattr(plain, name)
        }
        self._known.pop(identity, None)
        if values:
            self._known[identity] = values
        while len(self._known) > MOST_CAMERAS:
            self._known.pop(next(iter(self._known)))
        return self._write()

    def _write(self) -> str:
        import tomli_w

        if not self._writable:
            return self.words
        data = {
            identity: {file_key(name): value for name, value in values.items()}
            for identity, values in self._known.items()
        }
        partial = self._path.with_name(self._path.name + ".part")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            partial.write_bytes(tomli_w.dumps(data).encode("utf-8"))
            partial.replace(self._path)
        except OSError as error:
            return f"the camera's settings are not kept for next time ({error.strerror})"
        return ""


class CameraSettings:
    """Gives every camera its own settings when the source is changed.

    Parameters
    ----------
    memory : CameraMemory
    base : Camera
        The settings the program was started with: what holds for cameras nothing is kept of.
    """

    def __init__(self, memory: CameraMemory, base: Camera) -> None:
        self._memory = memory
        self._base = base
        self._given: dict[str, Any] = {}

    def begin(
        self, address: str, settings: Settings
    ) -> tuple[Settings, Callable[[Camera], str] | None]:
        """Settings for this address, and what keeps later changes (None where it is no camera).

        What was kept of the camera before, and is still as it was, does not carry over.
        """
        back = {
            name: getattr(self._base, name)
            for name, value in self._given.items()
            if getattr(settings.camera, name) == value
        }
        settings = settings.replaced("camera", **back) if back else settings
        self._given = {}
        identity = identity_of(address)
        if identity is None:
            return settings, None
        self._given = self._memory.values(identity)

        def keep(camera: Camera) -> str:
            words = self._memory.keep(identity, camera)
            self._given = self._memory.values(identity)
            return words

        return self._memory.restored(identity, settings), keep


def _read(path: Path) -> dict[str, dict[str, Any]]:
    """Tables by identity; only keys of ``KEPT``, each validated.

    Raises
    ------
    OSError, ValueError, BadRequest
        It is there and cannot be used.
    """
    if not path.exists():
        return {}
    data = tomllib.loads(path.read_bytes().decode("utf-8"))
    return {identity: _table(identity, table) for identity, table in data.items()}


def _table(identity: str, table: object) -> dict[str, Any]:
    if not isinstance(table, Mapping):
        raise BadRequest(f"'{identity}' is no table", "cameras.toml", "remove it")
    camera = validated({"camera": dict(table)}, f"camera '{identity}'").camera
    names = {file_key(name): name for name in KEPT}
    return {names[key]: getattr(camera, names[key]) for key in table if key in names}
