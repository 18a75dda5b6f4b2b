"""Computes the shipped palettes; run by hand, its output is checked in test_palettes.py.

Source: CAM16-UCS (Li et al. 2017, "Comprehensive color solutions: CAM16, CAT16, and CAM16-UCS",
Color Res. Appl. 42:703) as coded in colour-science. Each half of ``signed`` is a straight line
in that space, so that equal steps of contrast look equally large.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

DARK_LIGHTNESS = 14.0
END_LIGHTNESS = 74.0
HUES_DEG = {"low": 246.0, "high": 62.0}
"""Blue and orange: the pair that stays apart for all common kinds of colour blindness."""


def to_rgb(ucs: np.ndarray) -> np.ndarray:
    """CAM16-UCS (J', a', b') to sRGB 0..1."""
    return np.asarray(colour.XYZ_to_sRGB(colour.CAM16UCS_to_XYZ(ucs)))


def to_ucs(rgb: np.ndarray) -> np.ndarray:
    """sRGB 0..1 to CAM16-UCS; white has J' = 100."""
    return np.asarray(colour.XYZ_to_CAM16UCS(colour.sRGB_to_XYZ(rgb)))


def line(hue_deg: float, chroma: float, steps: int) -> np.ndarray:
    share = np.linspace(0, 1, steps)[:, None]
    hue = np.deg2rad(hue_deg)
    start = np.array([DARK_LIGHTNESS, 0, 0])
    end = np.array([END_LIGHTNESS, chroma * np.cos(hue), chroma * np.sin(hue)])
    return start + share * (end - start)


def widest_chroma(hue_deg: float) -> float:
    best = 0.0
    for chroma in np.arange(2, 60, 0.5):
        rgb = to_rgb(line(hue_deg, chroma, 128))
        if rgb.min() < -0.002 or rgb.max() > 1.002:
            break
        best = float(chroma)
    return best


def signed() -> np.ndarray:
    """uint8 (256, 3) red green blue; 0 black, 1..128 blue to dark, 128..255 dark to orange."""
    chroma = min(widest_chroma(hue) for hue in HUES_DEG.values())
    low = to_rgb(line(HUES_DEG["low"], chroma, 128))[::-1]
    high = to_rgb(line(HUES_DEG["high"], chroma, 128))
    table = np.concatenate([np.zeros((1, 3)), low, high[1:]])
    return np.rint(np.clip(table, 0, 1) * 255).astype(np.uint8)


if __name__ == "__main__":
    target = Path(sys.argv[1])
    np.savetxt(target, signed(), fmt="%d", delimiter=",", header="red,green,blue", comments="")
