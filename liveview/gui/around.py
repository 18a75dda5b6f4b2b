"""Room beside the round instrument, and blocks put there."""

from __future__ import annotations

import math

from PyQt6.QtCore import QRect
from PyQt6.QtWidgets import QWidget

from liveview.gui.theme import Look

SIDE_STEPS = 33.0
"""Least room on either side of the instrument."""


def chord(page: QWidget, diameter: float, y: float) -> float:
    """Half the width of an instrument in the page's middle at a height, pixels."""
    off = y - page.height() / 2
    return math.sqrt(max((diameter / 2) ** 2 - off**2, 0.0))


def free_width(page: QWidget, diameter: float, look: Look, top: float, bottom: float) -> float:
    """Room between the page's edge and the instrument from ``top`` to ``bottom``, pixels."""
    nearest = min(max(page.height() / 2, top), bottom)
    return page.width() / 2 - chord(page, diameter, nearest) - look.px(3.5)


def put(widget: QWidget, x: float, y: float, width: float, height: float) -> None:
    """Give a widget its place in the page, rounded to whole pixels."""
    widget.setGeometry(QRect(round(x), round(y), round(width), round(height)))
