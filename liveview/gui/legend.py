"""What the colours of each view stand for."""

from __future__ import annotations

from PyQt6.QtGui import QColor

from liveview.gui.ring import Legend
from liveview.gui.words import with_unit
from liveview.imaging.palettes import palette
from liveview.model import Reading

PALETTES = {"signed": "signed", "arrows": "grey", "plain": "grey"}
"""Palette by view; grey for the rest."""

UNSIGNED = {"plain", "trail"}
"""Views without a zero in the middle."""

STOPS = 33


def legend_for(reading: Reading) -> Legend:
    """The legend of a reading's view and scale."""
    table = palette(PALETTES.get(reading.view, "grey"))
    codes = [1 + round(254 * k / (STOPS - 1)) for k in range(STOPS)]
    stops = tuple(QColor(int(table[c, 2]), int(table[c, 1]), int(table[c, 0])) for c in codes)
    if reading.scale is None:
        return Legend(stops, "dark", "light", "bright")
    end = with_unit(reading.scale, reading.unit, sign=True)
    if reading.view in UNSIGNED:
        return Legend(stops, "0", "", end)
    return Legend(stops, with_unit(-reading.scale, reading.unit, sign=True), "0", end)
