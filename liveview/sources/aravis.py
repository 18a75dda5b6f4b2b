"""The library that finds industrial cameras, and what it finds.

Aravis is reached by its introspected binding (PyGObject), imported when it is first asked for.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from liveview.errors import InputUnreadable

VERSION = "0.8"

DISTRIBUTION = Path("/usr/lib/python3/dist-packages/gi")
"""Where Debian's python3-gi lies: a virtual environment of the same Python may use it."""

INSTALL = (
    "install Aravis: on Debian 'apt-get install gir1.2-aravis-0.8 python3-gi', "
    "elsewhere the package aravis and 'pip install liveview[genicam]'"
)


@dataclass(frozen=True, slots=True)
class GenicamDevice:
    """A camera that answers on the network or a USB port."""

    identity: str
    vendor: str
    model: str
    serial: str
    place: str = ""
    """Network address or USB port."""

    @property
    def address(self) -> str:
        """What opens it."""
        return f"genicam:{self.identity}"

    @property
    def name(self) -> str:
        """Maker, model and serial number."""
        return " ".join(filter(None, (self.vendor, self.model, self.serial)))


@lru_cache(maxsize=1)
def aravis() -> Any:
    """The library.

    Raises
    ------
    InputUnreadable
        It is not installed; says how to.
    """
    try:
        with warnings.catch_warnings():
            # The binding's importer is of an older make, which Python warns about at each import.
            warnings.simplefilter("ignore", ImportWarning)
            gi = _binding()
            gi.require_version("Aravis", VERSION)
            return importlib.import_module("gi.repository.Aravis")
    except (ImportError, ValueError) as error:
        raise InputUnreadable(
            "industrial cameras need the library Aravis, which is not here", "genicam", INSTALL
        ) from error


def _binding() -> Any:
    """PyGObject: installed beside this program, else the distribution's own."""
    try:
        return importlib.import_module("gi")
    except ImportError:
        init = DISTRIBUTION / "__init__.py"
        if not init.is_file():
            raise
        spec = importlib.util.spec_from_file_location(
            "gi", init, submodule_search_locations=[str(DISTRIBUTION)]
        )
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["gi"] = module
        try:
            spec.loader.exec_module(module)
        except ImportError:
            # It was built for another Python.
            del sys.modules["gi"]
            raise
        return module


def find_genicam() -> tuple[GenicamDevice, ...]:
    """Every camera that answers; takes about a second.

    Raises
    ------
    InputUnreadable
        The library is not installed.
    """
    library = aravis()
    library.update_device_list()
    return tuple(
        GenicamDevice(
            library.get_device_id(i) or "",
            library.get_device_vendor(i) or "",
            library.get_device_model(i) or "",
            library.get_device_serial_nbr(i) or "",
            library.get_device_address(i) or "",
        )
        for i in range(library.get_n_devices())
    )


def match_genicam(wanted: str, devices: tuple[GenicamDevice, ...]) -> GenicamDevice:
    """The camera that is meant: by id, serial number, network address or part of its
    name; the only one if empty.

    Raises
    ------
    InputUnreadable
        None fits, or several do.
    """
    exact = [d for d in devices if wanted and wanted in (d.identity, d.serial, d.place)]
    part = [d for d in devices if wanted.casefold() in f"{d.identity} {d.name}".casefold()]
    fits = exact or part
    if len(fits) == 1:
        return fits[0]
    names = ", ".join(f"'{d.identity}'" for d in fits or devices)
    what = "several industrial cameras fit" if fits else "there is no such industrial camera"
    remedy = f"give one of {names}" if names else "check its power, cable and network address"
    raise InputUnreadable(what, f"genicam:{wanted}", remedy)


def library_error() -> type[Exception]:
    """The library's own error."""
    error: type[Exception] = importlib.import_module("gi.repository.GLib").Error
    return error


def message_of(error: Exception) -> str:
    """The library's words on one line."""
    return " ".join(str(getattr(error, "message", error)).split())
