"""Is there a display that Qt can use? Asked before Qt is, because Qt ends the program if not."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Mapping
from pathlib import Path


def display_problem(environment: Mapping[str, str] = os.environ) -> str | None:
    """Words about why no window can be opened, None when one can.

    Looks at the display named in the environment, asks the X server for an answer and loads Qt's
    own plugin, whose missing libraries are the usual fault.
    """
    if not sys.platform.startswith("linux"):
        return None
    platform = environment.get("QT_QPA_PLATFORM", "")
    if platform.startswith(("offscreen", "minimal", "vnc", "linuxfb", "eglfs")):
        return None
    wayland = environment.get("WAYLAND_DISPLAY", "")
    x_display = environment.get("DISPLAY", "")
    if not x_display and not wayland:
        return "there is no display (neither DISPLAY nor WAYLAND_DISPLAY is set)"
    if wayland and not platform.startswith("xcb"):
        return None
    return _plugin_problem() or _server_problem(x_display)


def _plugin_problem() -> str | None:
    from PyQt6.QtCore import QLibraryInfo

    folder = Path(QLibraryInfo.path(QLibraryInfo.LibraryPath.PluginsPath))
    plugin = folder / "platforms" / "libqxcb.so"
    try:
        ctypes.CDLL(str(plugin))
    except OSError as error:
        return f"a library for windows is missing ({error}); './start' installs it"
    return None


def _server_problem(display: str) -> str | None:
    try:
        xcb = ctypes.CDLL("libxcb.so.1")
    except OSError as error:
        return f"a library for windows is missing ({error}); './start' installs it"
    xcb.xcb_connect.restype = ctypes.c_void_p
    xcb.xcb_connect.argtypes = [ctypes.c_char_p, ctypes.c_void_p]
    xcb.xcb_connection_has_error.argtypes = [ctypes.c_void_p]
    xcb.xcb_disconnect.argtypes = [ctypes.c_void_p]
    connection = xcb.xcb_connect(display.encode(), None)
    fault = xcb.xcb_connection_has_error(connection)
    xcb.xcb_disconnect(connection)
    return f"the display {display} does not answer" if fault else None
