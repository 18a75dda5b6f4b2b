"""What the colours of each view stand for."""

from __future__ import annotations

from functools import lru_cache

from PyQt6.QtGui import QColor

from liveview.gui.words import with_unit
from liveview.imaging.palettes import palette
from liveview.model import Reading

GREY = {"plain", "lifted", "arrows"}
"""Views in grey; the others have signed colours."""

STOPS = 33


@lru_cache(maxsize=16)
def legend_colours(view: str) -> tuple[QColor, ...]:
    """Colours from the most negative to the most positive value."""
    table = palette("grey" if view in GREY else "signed")
    codes = [1 + round(254 * k / (STOPS - 1)) for k in range(STOPS)]
    return tuple(QColor(int(table[c, 2]), int(table[c, 1]), int(table[c, 0])) for c in codes)


def legend_words(reading: Reading) -> tuple[str, str, str]:
    """Words at the left end, in the middle and at the right end."""
    if reading.scale is None:
        return ("dark", "light", "bright")
    unit = "sigma" if reading.view == "significance" else reading.unit
    low, high = (with_unit(value, unit, sign=True) for value in (-reading.scale, reading.scale))
    return (low, "0", high)
