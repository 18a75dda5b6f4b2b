"""The one place where OpenCV is imported.

The wheel of OpenCV points Qt at its own plug-ins and fonts, which breaks a PyQt window in the
same process; both variables are taken back here unless the user had set them. One thread:
parallel kernels were measured to be slower when another thread of the program holds a core.
OpenCV's own words on standard error are left out (the program has better ones; set
OPENCV_LOG_LEVEL to read them), and it waits one second for a silent camera instead of ten.
"""

from __future__ import annotations

import os

_QT_VARIABLES = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")
_before = {name: os.environ.get(name) for name in _QT_VARIABLES}

os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
os.environ.setdefault("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", "1")

import cv2  # noqa: E402 - the variables must be noted before the import

for _name, _value in _before.items():
    if _value is None:
        os.environ.pop(_name, None)
    else:
        os.environ[_name] = _value

cv2.setNumThreads(1)
cv2.ocl.setUseOpenCL(False)

__all__ = ["cv2"]
