"""What the colours of each view stand for."""

from __future__ import annotations

from PyQt6.QtGui import QColor

from liveview.gui.ring import Legend
from liveview.gui.words import with_unit
from liveview.imaging.palettes import palette
from liveview.model import Reading

GREY = {"plain", "lifted", "arrows"}
"""Views in grey; the others have signed colours."""

STOPS = 33


def legend_for(reading: Reading) -> Legend:
    """The legend of a reading's view and scale."""
    table = palette("grey" if reading.view in GREY else "signed")
    codes = [1 + round(254 * k / (STOPS - 1)) for k in range(STOPS)]
    stops = tuple(QColor(int(table[c, 2]), int(table[c, 1]), int(table[c, 0])) for c in codes)
    if reading.scale is None:
        return Legend(stops, "dark", "light", "bright")
    unit = "sigma" if reading.view == "significance" else reading.unit
    low = with_unit(-reading.scale, unit, sign=True)
    return Legend(stops, low, "0", with_unit(reading.scale, unit, sign=True))
