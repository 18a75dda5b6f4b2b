"""An independent check of flash limits, written from WCAG 2.2 (2.3.1) and ITU-R BT.1702-3.

Cell by cell and without the program's code: it finds local extremes of each cell's luminance,
counts changes of at least a tenth whose darker state is below 0.80, pairs them, and looks for a
ten degree field (341 x 256 of 1024 x 768) of which more than a quarter makes more than three
flashes within the same second.
"""

from __future__ import annotations

import colour
import numpy as np


def changes_of_cell(light: np.ndarray) -> list[int]:
    """Frames at which an opposing change of at least 0.10 with a darker state below 0.80 ends."""
    found: list[int] = []
    extreme, direction = light[0], 0
    lowest = highest = light[0]
    for k, now in enumerate(light):
        if direction == 0:
            lowest, highest = min(lowest, now), max(highest, now)
            extreme = lowest if now > lowest else highest
        elif direction > 0:
            extreme = max(extreme, now)
        else:
            extreme = min(extreme, now)
        step = now - extreme
        opposing = direction == 0 or step * direction < 0
        if opposing and abs(step) >= 0.10 - 1e-6 and min(now, extreme) < 0.80:
            found.append(k)
            extreme, direction = now, (1 if step > 0 else -1)
    return found


def passes_general(pictures: list, rate: float = 60.0, every: int = 3) -> bool:
    """The independent check of the general flash limit.

    Parameters
    ----------
    pictures : list of ndarray, uint8, (rows, columns, 3 or 4)
        Blue, green, red in sRGB, as sent to the screen.
    rate : float
        Pictures a second.
    every : int
        Only each so manieth row and column is looked at.
    """
    linear = colour.models.eotf_sRGB(np.arange(256) / 255.0)
    lum = np.stack(
        [linear[p[::every, ::every, :3]] @ np.array([0.0722, 0.7152, 0.2126]) for p in pictures]
    )
    frames, rows, columns = lum.shape
    too_often = np.zeros((frames, rows, columns), bool)
    for r in range(rows):
        for c in range(columns):
            ends = changes_of_cell(lum[:, r, c])
            for k in ends:
                within = [e for e in ends if k - rate < e <= k]
                if len(within) // 2 > 3:
                    too_often[k : k + int(rate) // 2, r, c] = True
    high, wide = round(rows / 3), round(columns / 3)
    for k in range(frames):
        if not too_often[k].any():
            continue
        for r in range(rows - high + 1):
            for c in range(columns - wide + 1):
                if too_often[k, r : r + high, c : c + wide].mean() > 0.25:
                    return False
    return True
